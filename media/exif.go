package media

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"github.com/rwcarlsen/goexif/exif"
	"github.com/rwcarlsen/goexif/tiff"
)

// Exif is what a camera wrote into a file, as far as it is used: a photo's Exif,
// or a video's tags of the same meaning (Orientation and Digitized then stay
// empty, and the date is in Exif's form, however it was written). Text is as
// stored, without NULs, control characters and surrounding blanks; "" means
// absent. Dates are not read yet; [CaptureTime] does that.
type Exif struct {
	DateTimeOriginal    string // when the picture was taken, by the camera's clock
	OffsetTimeOriginal  string // that clock's distance from UTC
	SubSecTimeOriginal  string // decimal fraction of its second: "042" is 0.042 s
	DateTimeDigitized   string // when it became a file
	OffsetTimeDigitized string
	SubSecTimeDigitized string

	Make, Model string // of the camera
	Orientation int    // as stored; 0 if absent or not a number

	Location *Location // nil if absent, incomplete or impossible
	// SatelliteAt is GPSDateStamp and GPSTimeStamp together, UTC; zero unless
	// both are there and make sense.
	SatelliteAt time.Time
	// VideoClockAt is when a video says it was made, in its mvhd box: UTC by the
	// standard, to the second. Zero for photos, and for clocks that were not set.
	VideoClockAt time.Time
}

// Location is a place in degrees, WGS 84 unless the camera says otherwise:
// north and east positive, Lat within ±90, Lon within ±180.
type Location struct {
	Lat, Lon float64
}

// Placeholder says that the place is exactly 0, 0, which cameras write that
// have not found themselves. It is what the file says, and no place.
func (l Location) Placeholder() bool { return l.Lat == 0 && l.Lon == 0 }

const (
	offsetTimeOriginal  exif.FieldName = "OffsetTimeOriginal"
	offsetTimeDigitized exif.FieldName = "OffsetTimeDigitized"
)

// offsetParser teaches goexif the offset tags of Exif 2.31, which it does not
// know.
type offsetParser struct{}

// Parse implements exif.Parser.
func (offsetParser) Parse(x *exif.Exif) error {
	pointer, err := x.Get(exif.ExifIFDPointer)
	if err != nil {
		return nil // no Exif IFD, no offsets
	}
	at, err := pointer.Int64(0)
	if err != nil {
		return err
	}
	r := bytes.NewReader(x.Raw)
	if _, err := r.Seek(at, 0); err != nil {
		return err
	}
	dir, _, err := tiff.DecodeDir(r, x.Tiff.Order)
	if err != nil {
		return err
	}
	x.LoadTags(dir, map[uint16]exif.FieldName{
		tagOffsetTimeOriginal:  offsetTimeOriginal,
		tagOffsetTimeDigitized: offsetTimeDigitized,
	}, false)
	return nil
}

func init() { exif.RegisterParsers(offsetParser{}) }

// readExif reads a TIFF block as a camera wrote it. A block with nothing
// usable gives an empty Exif; the error is for what should not happen, a
// rebuilt block that goexif cannot read.
func readExif(block []byte) (Exif, error) {
	clean := rebuildTIFF(block)
	if clean == nil {
		return Exif{}, nil
	}
	x, err := exif.Decode(bytes.NewReader(clean))
	if err != nil {
		return Exif{}, fmt.Errorf("media: rebuilt Exif block: %w", err)
	}
	e := Exif{
		DateTimeOriginal:    exifText(x, exif.DateTimeOriginal),
		OffsetTimeOriginal:  exifText(x, offsetTimeOriginal),
		SubSecTimeOriginal:  exifText(x, exif.SubSecTimeOriginal),
		DateTimeDigitized:   exifText(x, exif.DateTimeDigitized),
		OffsetTimeDigitized: exifText(x, offsetTimeDigitized),
		SubSecTimeDigitized: exifText(x, exif.SubSecTimeDigitized),
		Make:                exifText(x, exif.Make),
		Model:               exifText(x, exif.Model),
		Location:            exifLocation(x),
		SatelliteAt:         exifSatelliteTime(x),
	}
	if tag, err := x.Get(exif.Orientation); err == nil {
		if n, err := tag.Int(0); err == nil {
			e.Orientation = n
		}
	}
	return e, nil
}

// exifText returns a text tag, or "" if it is absent.
func exifText(x *exif.Exif, name exif.FieldName) string {
	tag, err := x.Get(name)
	if err != nil {
		return ""
	}
	s, err := tag.StringVal()
	if err != nil {
		return ""
	}
	return cleanText(s)
}

// cleanText takes NULs, control characters and surrounding blanks off a tag's
// text, and makes it UTF-8.
func cleanText(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
	return strings.TrimSpace(s)
}

// exifNumbers returns the quotients of a rational tag. A zero denominator
// anywhere makes the whole tag absent.
func exifNumbers(x *exif.Exif, name exif.FieldName) []float64 {
	tag, err := x.Get(name)
	if err != nil {
		return nil
	}
	out := make([]float64, tag.Count)
	for i := range out {
		n, d, err := tag.Rat2(i)
		if err != nil || d == 0 {
			return nil
		}
		out[i] = float64(n) / float64(d)
	}
	return out
}

// exifDegrees returns degrees, minutes and seconds as degrees.
func exifDegrees(x *exif.Exif, name, ref exif.FieldName, positive, negative string, most float64) (float64, bool) {
	parts := exifNumbers(x, name)
	if len(parts) == 0 {
		return 0, false
	}
	degrees, unit := 0.0, 1.0
	for _, part := range parts {
		if part < 0 {
			return 0, false
		}
		degrees += part * unit
		unit /= 60
	}
	side := strings.ToUpper(exifText(x, ref))
	switch {
	case degrees > most || math.IsNaN(degrees):
		return 0, false
	case strings.HasPrefix(side, positive):
		return degrees, true
	case strings.HasPrefix(side, negative):
		return -degrees, true
	}
	return 0, false // which half of the earth is not said
}

// exifLocation returns nil unless both coordinates are there and possible.
func exifLocation(x *exif.Exif) *Location {
	lat, latOK := exifDegrees(x, exif.GPSLatitude, exif.GPSLatitudeRef, "N", "S", 90)
	lon, lonOK := exifDegrees(x, exif.GPSLongitude, exif.GPSLongitudeRef, "E", "W", 180)
	if !latOK || !lonOK {
		return nil
	}
	return &Location{Lat: lat, Lon: lon}
}

// exifSatelliteTime joins date and time of the satellite fix, to the
// millisecond.
func exifSatelliteTime(x *exif.Exif) time.Time {
	year, month, day, rest, ok := readDay(exifText(x, exif.GPSDateStamp))
	clock := exifNumbers(x, exif.GPSTimeStamp)
	if !ok || strings.TrimSpace(rest) != "" || len(clock) != 3 {
		return time.Time{}
	}
	h, m, s := clock[0], clock[1], clock[2]
	if h < 0 || h >= 24 || m < 0 || m >= 60 || s < 0 || s >= 61 {
		return time.Time{}
	}
	millis := math.Round((h*3600 + m*60 + s) * 1000)
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Add(time.Duration(millis) * time.Millisecond)
}
