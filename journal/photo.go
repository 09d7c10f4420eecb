package journal

import "time"

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

// Photo is one stored original and what is known of it.
type Photo struct {
	ID          PhotoID
	BuildID     BuildID
	SHA256      string // of the original, lower-case hex
	Bytes       int64
	FileName    string // as the sender named it; for the shop only
	Kind        string // content type, e.g. "image/jpeg"
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

	Camera    string // make and model; for the shop only
	Latitude  float64
	Longitude float64
	Located   bool // whether Latitude and Longitude mean anything

	State PhotoState
	Fault string // with PhotoFailed, a sentence
	Tone  string // average colour as "#rrggbb"; "" until ready
}
