package journal

import (
	"strings"
	"time"
)

// PhotoState is how far a photo has got after its original was stored.
type PhotoState string

const (
	// PhotoPending: the original is safe; the sizes to show are being made.
	PhotoPending PhotoState = "pending"
	// PhotoReady: all sizes are there.
	PhotoReady PhotoState = "ready"
	// PhotoFailed: no sizes could be made; Fault says why.
	PhotoFailed PhotoState = "failed"
)

// PhotoSizes are the long edges, in pixels, of the sizes made of each photo.
var PhotoSizes = []int{320, 960, 2048}

// Photo is one stored original, a picture or a short video, and what is known of
// it.
type Photo struct {
	ID          PhotoID
	BuildID     BuildID
	SHA256      string // of the original, lower-case hex
	Bytes       int64
	FileName    string // as the sender named it; for the shop only
	Kind        string // content type, e.g. "image/jpeg" or "video/mp4"
	Width       int    // upright
	Height      int    // upright
	Orientation int    // as stored in the file, 1 to 8
	ByID        PersonID
	ReceivedAt  time.Time

	// Capture time is a claim with a source.
	CapturedAt     time.Time // UTC; ReceivedAt when the file claims none
	CapturedOffset int       // minutes east of UTC of the zone it is told in
	CapturedSource string    // how it is known, one of package media's sources
	CapturedDoubt  string    // a sentence why it is doubtful; "" if not

	// ClaimedAt and ClaimedDoubt are CapturedAt and CapturedDoubt as the file has
	// them; they differ while a correction of the camera's clock is in force.
	ClaimedAt    time.Time
	ClaimedDoubt string
	CorrectionID CorrectionID // "" for none
	FromClock    bool         // the claim comes from the camera's own clock

	Camera    string // make and model; for the shop only
	Latitude  float64
	Longitude float64
	Located   bool // whether Latitude and Longitude mean anything

	DurationMS int // of a video, in milliseconds; 0 for a picture

	State   PhotoState
	Fault   string // with PhotoFailed, a sentence
	Tone    string // average colour as "#rrggbb"; "" until ready, and for a video without a poster
	Hash    string // perceptual hash, 16 hexadecimal digits; "" as for Tone
	Preview []byte // a tiny picture to show until a size arrives; empty as for Tone

	// HandedOutAt is when the office let the owner have the original; zero if
	// it did not.
	HandedOutAt time.Time
	HandedOutBy PersonID

	// Layer is what is laid over the original; see [Layer].
	Layer Layer
}

// Video reports whether the file is a video.
func (p Photo) Video() bool { return strings.HasPrefix(p.Kind, "video/") }

// Pictured reports whether there are sizes to show. A video has none when no
// poster could be made of it.
func (p Photo) Pictured() bool { return p.State == PhotoReady && p.Tone != "" }

// Shown is the size in pixels of what is shown: upright, turned and cropped as
// the layer says.
func (p Photo) Shown() (width, height int) { return p.Layer.size(p.Width, p.Height) }
