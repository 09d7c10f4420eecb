package media

import "time"

// Source says how a capture time is known. The text is fit to be shown and to
// be stored.
type Source string

// The sources, most trusted first. "Digitized" times come from the tag for the
// moment a picture became a file, which for a camera is the same moment. A video's
// own clock says when the file was made, in UTC, which the device knew by its
// own zone; some write their local time there, so it comes after what the camera
// says with an offset.
const (
	SourceCameraOffset       Source = "camera with offset"
	SourceSatellite          Source = "camera clock, offset from satellite time"
	SourceVideoClock         Source = "the video's own clock, UTC"
	SourceShopZone           Source = "camera clock in the shop's zone"
	SourceDigitizedOffset    Source = "digitized, with offset"
	SourceDigitizedSatellite Source = "digitized, offset from satellite time"
	SourceDigitizedShopZone  Source = "digitized, in the shop's zone"
	SourceReceived           Source = "received"
)

// FromClock says whether the time is what the camera's own clock showed, so that
// it is off when that clock is. Satellite time is not, even where the clock gave
// the offset: the offset is what brings the two together.
func (s Source) FromClock() bool {
	switch s {
	case SourceCameraOffset, SourceVideoClock, SourceShopZone, SourceDigitizedOffset, SourceDigitizedShopZone:
		return true
	}
	return false
}

// ClockNote says that a clock reading does not name one instant of the shop's
// zone, because its clocks were changed around then.
type ClockNote string

const (
	// ClockPlain: nothing to note.
	ClockPlain ClockNote = ""
	// ClockTwice: clocks were set back, the reading occurred twice; the first
	// occurrence is taken.
	ClockTwice ClockNote = "this clock time occurred twice that day"
	// ClockSkipped: clocks were set forward, the reading never occurred; it is
	// taken as of a clock not yet set forward.
	ClockSkipped ClockNote = "this clock time was skipped that day"
)

// Capture is a photo's capture time: a claim, with its source.
type Capture struct {
	// At is the instant, UTC; zero if Source is [SourceReceived] and
	// [Capture.OrReceived] was not asked.
	At time.Time
	// OffsetMinutes is how far the camera's clock was ahead of UTC: At plus it
	// is what the clock showed.
	OffsetMinutes int
	Source        Source
	// Clock is a note on the reading; only with the shop's zone.
	Clock ClockNote
}

// CaptureTime chooses the most trusted capture time in e: the camera's date and
// time with its own offset; with the offset that satellite time implies; for a
// video, the moment that the file says it was made, with the offset that zone
// has then; the camera's date and time in zone, the shop's; then the digitized
// date and time likewise; else none, with Source [SourceReceived]. A date that
// cannot be read is passed over, and an offset is only used with its own date.
// zone must not be nil.
//
// Source of the order: DESIGN.md, Capture time. Pure.
func CaptureTime(e Exif, zone *time.Location) Capture {
	type claim struct {
		date, offset, subSec          string
		withOffset, satellite, inZone Source
	}
	claims := []claim{
		{e.DateTimeOriginal, e.OffsetTimeOriginal, e.SubSecTimeOriginal,
			SourceCameraOffset, SourceSatellite, SourceShopZone},
		{e.DateTimeDigitized, e.OffsetTimeDigitized, e.SubSecTimeDigitized,
			SourceDigitizedOffset, SourceDigitizedSatellite, SourceDigitizedShopZone},
	}
	for _, c := range claims {
		reading, ok := readClock(c.date, c.subSec)
		if !ok {
			continue
		}
		if minutes, ok := readOffset(c.offset); ok {
			return captureAt(reading.local, minutes, c.withOffset)
		}
		if reading.hasOffset {
			return captureAt(reading.local, reading.offsetMinutes, c.withOffset)
		}
		if minutes, ok := impliedOffset(reading.local, e.SatelliteAt, e.Location); ok {
			return captureAt(reading.local, minutes, c.satellite)
		}
		if !e.VideoClockAt.IsZero() {
			break
		}
		at, seconds, note := inZone(reading.local, zone)
		return Capture{At: at, OffsetMinutes: seconds / 60, Source: c.inZone, Clock: note}
	}
	if !e.VideoClockAt.IsZero() {
		_, seconds := e.VideoClockAt.In(zone).Zone()
		return Capture{At: e.VideoClockAt, OffsetMinutes: seconds / 60, Source: SourceVideoClock}
	}
	return Capture{Source: SourceReceived}
}

func captureAt(local time.Time, offsetMinutes int, source Source) Capture {
	at := local.Add(-time.Duration(offsetMinutes) * time.Minute)
	return Capture{At: at, OffsetMinutes: offsetMinutes, Source: source}
}

// OrReceived returns c, or, if the file says nothing about its time, the time
// of receipt with the offset that zone has then.
func (c Capture) OrReceived(receivedAt time.Time, zone *time.Location) Capture {
	if c.Source != SourceReceived {
		return c
	}
	_, seconds := receivedAt.In(zone).Zone()
	return Capture{At: receivedAt.UTC(), OffsetMinutes: seconds / 60, Source: SourceReceived}
}

// impliedOffset returns the camera clock's distance from UTC by comparing it
// with the satellites': the difference rounded to 15 minutes, if what rounding
// took off is at most 180 s, the result is an offset in use, and it is within
// 3 h of the sun's time at the place, where that is known. A stale fix, hours
// or days old, fails one of these.
func impliedOffset(local, satelliteAt time.Time, place *Location) (minutes int, ok bool) {
	if satelliteAt.IsZero() {
		return 0, false
	}
	difference := local.Sub(satelliteAt)
	offset := difference.Round(15 * time.Minute)
	minutes = int(offset / time.Minute)
	if (difference-offset).Abs() > 180*time.Second || minutes < minOffsetMinutes || minutes > maxOffsetMinutes {
		return 0, false
	}
	if place != nil && !place.Placeholder() {
		solar := time.Duration(place.Lon / 15 * float64(time.Hour))
		if (offset - solar).Abs() > 3*time.Hour {
			return 0, false
		}
	}
	return minutes, true
}

// inZone finds the instant at which clocks in zone showed local, and their
// offset in seconds then.
func inZone(local time.Time, zone *time.Location) (at time.Time, seconds int, note ClockNote) {
	// The offsets in force a day before and a day after are the only ones
	// possible: no zone changes its clocks twice in two days.
	_, before := local.Add(-24 * time.Hour).In(zone).Zone()
	_, after := local.Add(24 * time.Hour).In(zone).Zone()
	holds := func(offset int) bool {
		_, actual := local.Add(-time.Duration(offset) * time.Second).In(zone).Zone()
		return actual == offset
	}
	seconds = before
	switch {
	case before == after:
	case holds(before) && holds(after):
		note = ClockTwice // clocks went back, so the offset before is the first occurrence's
	case holds(after):
		seconds = after
	case !holds(before):
		note = ClockSkipped
	}
	return local.Add(-time.Duration(seconds) * time.Second), seconds, note
}

// clockTolerance is how far a right clock in a phone and the server's may be
// apart.
const clockTolerance = 2 * time.Minute

// Doubt says in a sentence why the capture time can hardly be right, or "" if
// nothing speaks against it: it is later than the photo's receipt (by more than
// 2 minutes, which clocks may differ), or earlier than the build began. A zero
// buildBegan is not compared with. Nothing is corrected.
func (c Capture) Doubt(receivedAt, buildBegan time.Time) string {
	switch {
	case c.Source == SourceReceived:
		return ""
	case c.At.After(receivedAt.Add(clockTolerance)):
		return "The camera's time is later than the moment the photo arrived."
	case !buildBegan.IsZero() && c.At.Before(buildBegan):
		return "The camera's time is earlier than the start of this build."
	}
	return ""
}
