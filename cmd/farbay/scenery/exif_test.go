package scenery

import (
	"encoding/json"
	"image/color"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func sampleTruck() Truck {
	return Truck{Seed: 4, Body: ShortBed, Topcoat: color.RGBA{0x2f, 0x5d, 0x50, 255}, Accent: color.RGBA{0xe6, 0xe0, 0xcf, 255},
		Make: "Ostler", Model: "Fenman", Serial: "OF7-10442", Year: 1971, Miles: 84213}
}

func sampleShot() Shot {
	return Shot{Truck: sampleTruck(), State: Finished, View: ThreeQuarterFront, Number: 1,
		At:  time.Date(2026, 4, 14, 22, 12, 9, 345e6, time.FixedZone("", -7*3600)),
		Lat: 39.0875, Lon: -108.561111}
}

// TestExif_AgreesWithExifTool reads the file back with ExifTool (Debian
// package libimage-exiftool-perl), a reader that knows nothing of this writer.
func TestExif_AgreesWithExifTool(t *testing.T) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		if os.Getenv("FARBAY_TEST_ALL") != "" {
			t.Fatal("exiftool is not installed")
		}
		t.Skip("exiftool is not installed: the Exif block is not checked against it")
	}
	half := sampleShot()
	half.Upright = true
	half.At = time.Date(2026, 1, 1, 3, 4, 5, 0, time.FixedZone("", 5*3600+1800))
	half.Lat, half.Lon = -33.25, 151.2
	for _, c := range []struct {
		name, reason string
		shot         Shot
		want         map[string]any
	}{
		{"west and north", "local time and UTC fall on different days", sampleShot(), map[string]any{
			"DateTimeOriginal": "2026:04:14 22:12:09", "CreateDate": "2026:04:14 22:12:09", "ModifyDate": "2026:04:14 22:12:09",
			"OffsetTime": "-07:00", "OffsetTimeOriginal": "-07:00", "OffsetTimeDigitized": "-07:00", "SubSecTimeOriginal": "345",
			"GPSDateStamp": "2026:04:15", "GPSTimeStamp": "05:12:09", "GPSLatitudeRef": "N", "GPSLongitudeRef": "W",
			"GPSLatitude": 39.0875, "GPSLongitude": 108.561111,
			"Orientation": float64(sampleShot().orientation()), "ExifVersion": "0232", "Make": "Larkfield", "Model": "Larkfield P5",
			"ExifImageWidth": float64(WidthPx), "ExifImageHeight": float64(HeightPx), "ImageWidth": float64(WidthPx), "ImageHeight": float64(HeightPx)}},
		{"east and south", "half an hour's offset; UTC is in the year before", half, map[string]any{
			"DateTimeOriginal": "2026:01:01 03:04:05", "OffsetTimeOriginal": "+05:30", "SubSecTimeOriginal": "000",
			"GPSDateStamp": "2025:12:31", "GPSTimeStamp": "21:34:05", "GPSLatitudeRef": "S", "GPSLongitudeRef": "E",
			"GPSLatitude": 33.25, "GPSLongitude": 151.2, "Orientation": float64(half.orientation()),
			// Stored lying down although the phone was held upright.
			"ImageWidth": float64(WidthPx), "ImageHeight": float64(HeightPx)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			file, err := c.shot.JPEG()
			if err != nil {
				t.Fatal(err)
			}
			path := filepath.Join(t.TempDir(), c.shot.FileName())
			if err := os.WriteFile(path, file, 0o600); err != nil {
				t.Fatal(err)
			}
			out, err := exec.Command(tool, "-json", "-n", "-EXIF:all", "-File:ImageWidth", "-File:ImageHeight", path).Output()
			if err != nil {
				t.Fatal(err)
			}
			var got []map[string]any
			if err := json.Unmarshal(out, &got); err != nil {
				t.Fatal(err)
			}
			for tag, want := range c.want {
				if g := loose(got[0][tag]); !near(g, loose(want)) {
					t.Errorf("%s: ExifTool reads %v, want %v (%s)", tag, g, want, c.reason)
				}
			}
			out, err = exec.Command(tool, "-validate", "-warning", "-a", "-error", path).CombinedOutput()
			if err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			if !strings.Contains(string(out), ": OK") || strings.Contains(string(out), "Warning") {
				t.Errorf("ExifTool -validate says: %s", out)
			}
		})
	}
}

// loose makes a number of what ExifTool's JSON writes without quotes when it
// looks like one ("345", "0232").
func loose(v any) any {
	if s, ok := v.(string); ok {
		var f float64
		if json.Unmarshal([]byte(strings.TrimLeft(s, "0")), &f) == nil {
			return f
		}
		if s != "" && strings.Trim(s, "0") == "" {
			return 0.0
		}
	}
	return v
}

// near allows a place to be off by half of the hundredth of a second written.
func near(a, b any) bool {
	x, ok1 := a.(float64)
	y, ok2 := b.(float64)
	if ok1 && ok2 {
		d := x - y
		return d < 2e-6 && d > -2e-6
	}
	return cmp.Equal(a, b)
}

// TestExif_WrongBodyIsRefused: a zone offset with seconds has no Exif form
// (CIPA DC-008-2019, OffsetTime is "±HH:MM").
func TestExif_WrongBodyIsRefused(t *testing.T) {
	s := sampleShot()
	s.At = s.At.In(time.FixedZone("", 3600+7))
	if _, err := s.JPEG(); err == nil {
		t.Error("an offset of 1 h 7 s was written as if it were whole minutes")
	}
	for name, edit := range map[string]func(*Shot){
		"state":     func(s *Shot) { s.State = States },
		"view":      func(s *Shot) { s.View = -1 },
		"body":      func(s *Shot) { s.Truck.Body = 9 },
		"latitude":  func(s *Shot) { s.Lat = 91 },
		"longitude": func(s *Shot) { s.Lon = -181 },
		"year":      func(s *Shot) { s.At = time.Time{} },
	} {
		s := sampleShot()
		edit(&s)
		if _, err := s.JPEG(); err == nil {
			t.Errorf("a shot with a wrong %s was drawn", name)
		}
	}
}

func TestFileName_IsThePhonesClock(t *testing.T) {
	if got, want := sampleShot().FileName(), "IMG_20260414_221209.jpg"; got != want {
		t.Errorf("FileName = %q, want %q", got, want)
	}
}
