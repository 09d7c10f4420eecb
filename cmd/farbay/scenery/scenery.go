// Package scenery draws the demo's photos: an invented off-road truck on its
// way through an invented workshop, as a phone would have taken and stored it.
//
// Nothing is loaded. Each photo is a small scene of triangles (truck, workshop
// or landscape), drawn by a z-buffer rasteriser with procedural materials, and
// encoded as a JPEG file whose Exif block carries capture time with offset,
// orientation, camera and place. Equal shots give equal bytes on one machine.
package scenery

import (
	"bytes"
	"fmt"
	"image/color"
	"image/jpeg"
	"time"
)

// Body is the shape of a truck's body.
type Body int

// The bodies, all invented.
const (
	ShortBed Body = iota // two doors, short pickup bed
	LongBed              // two doors, long pickup bed
	Wagon                // closed to the tail, spare wheel behind
	OpenTub              // no roof: windscreen frame and roll bar
)

// Truck is one truck, the same through all its photos.
type Truck struct {
	Seed    int64 // decides where it has rusted, and small details
	Body    Body
	Topcoat color.RGBA // the finished colour; before that, faded and rusted
	Accent  color.RGBA // roof, grille and wheels
	Make    string     // on the data plate, for example "Ostler"
	Model   string
	Serial  string
	Year    int
	Miles   int // on the odometer, 0..99,999
}

// State is what the photo shows the truck, or a part of it, to be.
type State int

// The states in the order of a build, then the close-ups and the places.
const (
	RustyWhole State = iota
	TornDown
	BareFrame
	FrameCoated
	TubInPrimer
	Painted
	RollingChassis
	BodyOnFrame
	Finished
	RustedFloorPan
	CrackedBracket
	PartsTray
	ToolboxFind
	OdometerPlate
	PaintMixing
	LinerSprayed
	RoadTest
	DeliveryTrailer
	States // how many there are
)

var stateNames = [States]string{"RustyWhole", "TornDown", "BareFrame", "FrameCoated", "TubInPrimer", "Painted", "RollingChassis", "BodyOnFrame",
	"Finished", "RustedFloorPan", "CrackedBracket", "PartsTray", "ToolboxFind", "OdometerPlate", "PaintMixing", "LinerSprayed", "RoadTest", "DeliveryTrailer"}

// String is the state's name in this package.
func (s State) String() string {
	if s < 0 || s >= States {
		return fmt.Sprintf("State(%d)", int(s))
	}
	return stateNames[s]
}

// View is where the camera stands.
type View int

// The views. For a close-up they turn the camera around its subject.
const (
	SideRight View = iota
	SideLeft
	ThreeQuarterFront
	ThreeQuarterRear
	Front
	Rear
	Detail
	Views // how many there are
)

var viewNames = [Views]string{"SideRight", "SideLeft", "ThreeQuarterFront", "ThreeQuarterRear", "Front", "Rear", "Detail"}

// String is the view's name in this package.
func (v View) String() string {
	if v < 0 || v >= Views {
		return fmt.Sprintf("View(%d)", int(v))
	}
	return viewNames[v]
}

// Shot is one photo to be taken.
type Shot struct {
	Truck   Truck
	State   State
	View    View
	Upright bool      // the phone was held upright: a tall photo, stored turned
	At      time.Time // capture time; its zone's offset goes into the file
	Lat     float64   // degrees, north positive
	Lon     float64   // degrees, east positive
	Number  int       // varies the camera's place and the clutter
}

// Stored size in pixels, whichever way the phone was held.
const (
	WidthPx  = 1280
	HeightPx = 960

	quality = 84 // of the JPEG encoding, 1..100
)

// Exif orientations a phone writes: how the stored rows and columns lie in the
// photo as seen (CIPA DC-008, tag 0x0112).
const (
	orientTopLeft     = 1 // as stored
	orientBottomRight = 3 // turned by half
	orientRightTop    = 6 // shown turned a quarter clockwise
	orientLeftBottom  = 8 // shown turned a quarter counterclockwise
)

// orientation is how the phone was held: mostly one way, now and then the other.
func (s Shot) orientation() int {
	odd := hash(int32(s.Number), int32(s.Truck.Seed), 401)%8 == 0
	switch {
	case s.Upright && odd:
		return orientLeftBottom
	case s.Upright:
		return orientRightTop
	case odd:
		return orientBottomRight
	}
	return orientTopLeft
}

// JPEG is the photo's file: WidthPx x HeightPx pixels as stored,
// with an Exif block whose orientation says how to turn it. It is an error if
// the state, view, body, place or year cannot be drawn or written.
//
// It costs a third of a second of one core, more or less (BenchmarkJPEG), and
// may be called from several goroutines.
func (s Shot) JPEG() ([]byte, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	exif, err := s.exif()
	if err != nil {
		return nil, err
	}
	img, err := s.draw(WidthPx, HeightPx)
	if err != nil {
		return nil, err
	}
	var buf bytes.Buffer
	buf.Grow(1 << 20)
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, fmt.Errorf("scenery.JPEG: %w", err)
	}
	return insertExif(buf.Bytes(), exif)
}

func (s Shot) check() error {
	switch {
	case s.State < 0 || s.State >= States:
		return fmt.Errorf("scenery: there is no state %d", int(s.State))
	case s.View < 0 || s.View >= Views:
		return fmt.Errorf("scenery: there is no view %d", int(s.View))
	case s.Truck.Body < ShortBed || s.Truck.Body > OpenTub:
		return fmt.Errorf("scenery: there is no body %d", int(s.Truck.Body))
	case !(s.Lat >= -90 && s.Lat <= 90) || !(s.Lon >= -180 && s.Lon <= 180):
		return fmt.Errorf("scenery: latitude %g, longitude %g is no place on Earth", s.Lat, s.Lon)
	case s.At.Year() < 1980 || s.At.Year() > 9999:
		return fmt.Errorf("scenery: a photo cannot be taken in the year %d", s.At.Year())
	}
	return nil
}

// FileName is the name a phone would give the file, from its own clock: for
// example IMG_20260414_151209.jpg. Two shots in one second have one name.
func (s Shot) FileName() string {
	return "IMG_" + s.At.Format("20060102_150405") + ".jpg"
}
