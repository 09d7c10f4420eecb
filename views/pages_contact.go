package views

import (
	"fmt"

	"farbay/journal"
)

// ContactSheet is all photos of a stage, small, in the order of capture; for
// owners and shop, and to be printed.
type ContactSheet struct {
	Frame
	StageID journal.StageID
	Stage   string // name
	Photos  []ContactPhoto
	Bytes   int64 // of all originals
}

// Template names the page's template.
func (ContactSheet) Template() string { return "owner/contact" }

// StageURL returns the stage's page.
func (s ContactSheet) StageURL() string { return s.Build.URL() + "/stages/" + string(s.StageID) }

// Set returns the ways to save all of them.
func (s ContactSheet) Set() PhotoSet {
	return PhotoSet{At: s.StageURL(), Photos: len(s.Photos), Bytes: s.Bytes}
}

// Days says from when to when they were taken.
func (s ContactSheet) Days() (string, error) {
	if len(s.Photos) == 0 {
		return "", nil
	}
	first, err := s.DayOf(s.Photos[0].At)
	if err != nil {
		return "", err
	}
	last, err := s.DayOf(s.Photos[len(s.Photos)-1].At)
	if first == last {
		return first, err
	}
	return first + " to " + last, err
}

// ContactPhoto is one photo of a contact sheet with its number.
type ContactPhoto struct {
	PhotoView
	Number int // 1, 2, 3 ...
}

// contactEager is how many photos load at once: the first rows of a wide
// window.
const contactEager = 12

// Lazy reports whether the photo loads only when it comes near.
func (p ContactPhoto) Lazy() bool { return p.Number > contactEager }

// Clock returns the time of day at the shop when it was taken.
func (p ContactPhoto) Clock() string { return clock(p.At.In(p.Zone)) }

// PhotoSet is the ways to all photos of a stage at once, piece "photo-set".
type PhotoSet struct {
	At     string // the stage's address
	Photos int
	Bytes  int64 // of their originals, which is about what saving them takes
}

// Size returns the bytes roughly: "340 MB", "1.2 GB", "under 1 MB".
func (s PhotoSet) Size() string {
	switch mb := (s.Bytes + 500_000) / 1_000_000; {
	case s.Bytes < 1_000_000:
		return "under 1" + nbsp + "MB"
	case mb < 1000:
		return fmt.Sprintf("%d%sMB", mb, nbsp)
	default:
		return fmt.Sprintf("%d.%d%sGB", mb/1000, mb%1000/100, nbsp)
	}
}

var _ = declare(ContactSheet{})
