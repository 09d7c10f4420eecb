package views

import (
	"encoding/base64"
	"fmt"
	"html/template"
	"slices"
	"strings"
	"time"

	"farbay/journal"
)

// Plate is a build's data plate, piece "plate".
type Plate struct {
	Words
	Nickname    string
	Truck       journal.Truck
	ArrivedOn   journal.Date
	ReadyOn     journal.Date // agreed; zero for none
	DeliveredOn journal.Date // zero until delivered
	StoppedOn   journal.Date // zero unless it ended early
}

// NewPlate takes from a build what its plate shows.
func NewPlate(w Words, b journal.Build) Plate {
	return Plate{Words: w, Nickname: b.Nickname, Truck: b.Truck, ArrivedOn: b.ArrivedOn, ReadyOn: b.ReadyOn, DeliveredOn: b.DeliveredOn, StoppedOn: b.StoppedOn}
}

// Waiting is one thing that waits on the reader, piece "waits": the zinc tab.
type Waiting struct {
	Heading  string // "Both front floor pans"
	Sentence string // what it is: "Change order 4 waits for you since Monday."
	Effect   string // what it changes: Words.Effect, or "$8,400.00 by Friday 17 April"; "" for nothing
	Href     string
	Act      string // "Read it and decide"
	// Belonging is shown instead of the link: it is answered here with one tap.
	Belonging *BelongingForm
}

// PhotoView is a photo as everybody who may see it sees it. It has no file
// name, camera or place: those are for the shop and never come this way.
type PhotoView struct {
	Words
	BuildID journal.BuildID
	ID      journal.PhotoID
	Caption string
	Within  string // "entry=e1" or "stage=s1": the run of photos the viewer goes through; "" for none

	Video         bool
	Length        time.Duration // of a video
	Bare          bool          // a video without a preview
	Width, Height int           // as shown, in pixels; 0 while not known
	Layer         journal.Layer
	Preview       []byte // a tiny GIF of what is shown; empty for none
	Eager         bool   // loads at once: it is the page's first
	Wide          bool   // in a run of tiles: it takes the room of several
	State         journal.PhotoState
	Fault         string // with PhotoFailed, a sentence

	At     time.Time // taken
	Offset int       // minutes east of UTC
	Source string    // how the time is known
	Doubt  string    // why the time is doubtful, a sentence; "" if not
}

// NewPhotoView takes from a photo what may be shown to everybody who may see
// it.
func NewPhotoView(w Words, p journal.Photo, caption, within string) PhotoView {
	width, height := p.Shown()
	return PhotoView{
		Video: p.Video(), Length: time.Duration(p.DurationMS) * time.Millisecond, Bare: p.Video() && p.State == journal.PhotoReady && !p.Pictured(),
		Words: w, BuildID: p.BuildID, ID: p.ID, Caption: caption, Within: within,
		Width: width, Height: height, Layer: p.Layer, Preview: p.Preview, State: p.State, Fault: p.Fault,
		At: p.CapturedAt, Offset: p.CapturedOffset, Source: p.CapturedSource, Doubt: p.CapturedDoubt,
	}
}

// URL returns the address of one of the sizes made of the photo, by its long
// edge, as its layer shows it.
func (p PhotoView) URL(size int) string {
	if view := p.Layer.View(); view != "" {
		return p.PlainURL(size) + "?view=" + view
	}
	return p.PlainURL(size)
}

// PlainURL returns the address of the size without the layer, for the shop.
func (p PhotoView) PlainURL(size int) string {
	return fmt.Sprintf("/builds/%s/photos/%s/%d", p.BuildID, p.ID, size)
}

// Page returns the address of the photo's own page.
func (p PhotoView) Page() string {
	at := fmt.Sprintf("/builds/%s/photos/%s", p.BuildID, p.ID)
	if p.Within != "" {
		at += "?" + p.Within
	}
	return at
}

// Ready reports whether the sizes are there.
func (p PhotoView) Ready() bool { return p.State == journal.PhotoReady && !p.Bare }

// Film says that it is a video, and how long: "Video, 0:42".
func (p PhotoView) Film() string {
	seconds := int(p.Length.Round(time.Second) / time.Second)
	return fmt.Sprintf("Video, %d:%02d", seconds/60, seconds%60)
}

// VideoURL is the address that plays it.
func (p PhotoView) VideoURL() string {
	return fmt.Sprintf("/builds/%s/photos/%s/video", p.BuildID, p.ID)
}

// Failed reports whether none could be made.
func (p PhotoView) Failed() bool { return p.State == journal.PhotoFailed }

// SrcSet returns the sizes with their widths in pixels, for an img's srcset.
// The sizes are named by their long edge; nothing is made larger than it was,
// so a small photo has fewer.
func (p PhotoView) SrcSet() string {
	var set []string
	before := 0
	for _, size := range journal.PhotoSizes {
		width, _ := p.fit(size)
		if width == before {
			break
		}
		set, before = append(set, fmt.Sprintf("%s %dw", p.URL(size), width)), width
	}
	return strings.Join(set, ", ")
}

// TileSizes says how wide the photo stands in a run of tiles, for an img's
// sizes: on a phone over half the page or all of it, on a screen over a third of
// the column or two. Without it a browser takes a file three times too large.
func (p PhotoView) TileSizes() string {
	if p.Wide {
		return "(min-width: 70rem) 39rem, (min-width: 44rem) 66vw, 100vw"
	}
	return "(min-width: 70rem) 20rem, (min-width: 44rem) 33vw, 50vw"
}

// tiled marks which of some photos is wide when they stand in tiles: as in the
// style sheet, the first of an odd number.
func tiled(photos []PhotoView) []PhotoView {
	run := slices.Clone(photos)
	if len(run)%2 == 1 {
		run[0].Wide = true
	}
	return run
}

// fit returns the photo's width and height at a long edge of at most size.
func (p PhotoView) fit(size int) (width, height int) {
	long := max(p.Width, p.Height)
	if long <= 0 {
		return size, size
	}
	if long <= size {
		return p.Width, p.Height
	}
	scale := func(edge int) int { return max((edge*size+long/2)/long, 1) }
	return scale(p.Width), scale(p.Height)
}

// Alt returns what a screen reader says for the photo.
func (p PhotoView) Alt() (string, error) {
	if p.Caption != "" {
		return p.Caption, nil
	}
	day, err := p.DayOf(p.At)
	return "Photo taken on " + day, err
}

// AltMarked is Alt with the words of the marks, for where they are not listed
// beside the photo.
func (p PhotoView) AltMarked() (string, error) {
	alt, err := p.Alt()
	if words := p.MarkWords(); len(words) > 0 {
		alt = strings.TrimSuffix(alt, ".") + ". Marked: " + strings.Join(words, "; ")
	}
	return alt, err
}

// Placeholder is the tiny picture as an address that needs no request; "" for
// none.
func (p PhotoView) Placeholder() template.URL {
	if len(p.Preview) == 0 {
		return ""
	}
	return template.URL("data:image/gif;base64," + base64.StdEncoding.EncodeToString(p.Preview))
}

// When says when the photo was taken, in which zone, and how that is known.
func (p PhotoView) When() (string, error) { return p.Taken(p.At, p.Offset, p.Source) }

// EntryView is one entry of a journal as its readers see it.
type EntryView struct {
	Words
	BuildID    journal.BuildID
	ID         journal.EntryID
	StageID    journal.StageID
	Stage      string // name
	Author     string // name
	Kind       journal.EntryKind
	Text       string
	Photos     []PhotoView // in order
	HappenedAt time.Time
	PostedAt   time.Time
	EditedAt   time.Time // zero if never
	New        bool      // came to the reader since their last visit

	// For the shop's readers; left zero for owners.
	ForShop     bool
	Audience    journal.Audience
	WithdrawnAt time.Time // zero if it stands
}

// URL returns the entry's own page.
func (e EntryView) URL() string { return fmt.Sprintf("/builds/%s/entries/%s", e.BuildID, e.ID) }

// ShopOnly reports whether the mark "shop only" belongs on the entry.
func (e EntryView) ShopOnly() bool { return e.ForShop && e.Audience == journal.ShopOnly }

// Tagged reports whether the entry's kind is worth a tag: progress is the rule
// and has none.
func (e EntryView) Tagged() bool { return e.Kind != journal.KindProgress }

// EntryPhotosShown is how many photos of an entry the journal shows; its own
// page shows all.
const EntryPhotosShown = 7

// Shown returns the photos the journal shows of the entry.
func (e EntryView) Shown() []PhotoView {
	return e.Photos[:min(len(e.Photos), EntryPhotosShown)]
}

// Large returns all photos, the first of which loads at once.
func (e EntryView) Large() []PhotoView {
	photos := slices.Clone(e.Photos)
	if len(photos) > 0 {
		photos[0].Eager = true
	}
	return photos
}

// MorePhotos counts those the journal leaves to the entry's own page.
func (e EntryView) MorePhotos() int { return len(e.Photos) - len(e.Shown()) }

// StageRun is neighbouring entries of one stage.
type StageRun struct {
	BuildID journal.BuildID
	StageID journal.StageID
	Stage   string
	Entries []EntryView
}

// URL returns the stage's page.
func (r StageRun) URL() string { return fmt.Sprintf("/builds/%s/stages/%s", r.BuildID, r.StageID) }

// JournalPiece is some entries, newest first, with the way to the older ones.
type JournalPiece struct {
	Words
	Entries []EntryView
	// NewSince is the end of the reader's last visit; the mark stands before
	// the first new entry. Zero: no mark, on a first visit and on later pieces.
	NewSince time.Time
	// Older is the address of the next piece as a page, "" at the end:
	// "/builds/b1/journal?after=...".
	Older string
}

// Piece names the piece's template.
func (JournalPiece) Piece() string { return "journal-piece" }

// Runs returns the entries in their order, neighbours of one stage together.
// The first photo of the first entry that has one loads at once.
func (j JournalPiece) Runs() []StageRun {
	var runs []StageRun
	first := slices.IndexFunc(j.Entries, func(e EntryView) bool { return len(e.Photos) > 0 })
	for i, e := range j.Entries {
		if i == first {
			e.Photos = slices.Clone(e.Photos)
			e.Photos[0].Eager = true
		}
		if n := len(runs); n == 0 || runs[n-1].StageID != e.StageID {
			runs = append(runs, StageRun{BuildID: e.BuildID, StageID: e.StageID, Stage: e.Stage})
		}
		last := &runs[len(runs)-1]
		last.Entries = append(last.Entries, e)
	}
	return runs
}

// News counts the new entries among these.
func (j JournalPiece) News() int {
	n := 0
	for _, e := range j.Entries {
		if e.New {
			n++
		}
	}
	return n
}

// MarkAt returns the id of the entry before which the mark stands; "" for no
// mark.
func (j JournalPiece) MarkAt() journal.EntryID {
	if j.NewSince.IsZero() {
		return ""
	}
	for _, e := range j.Entries {
		if e.New {
			return e.ID
		}
	}
	return ""
}

var _ = declarePieces(JournalPiece{})
