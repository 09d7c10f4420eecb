package media

import (
	"encoding/json"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// truthRow is a row of truth.json beside the camera samples: what ExifTool
// 12.57 prints of the Exif block, and the capture time that DESIGN.md's rule
// derives from it.
type truthRow struct {
	File                string
	FileType            string
	DateTimeOriginal    *string
	OffsetTimeOriginal  *string
	SubSecTimeOriginal  *string
	DateTimeDigitized   *string
	OffsetTimeDigitized *string
	Orientation         *int
	Make, Model         *string
	GPSLatitude         *float64
	GPSLongitude        *float64
	GPSDateStamp        *string
	GPSTimeStamp        *string
	ImageWidth          int
	ImageHeight         int
	ICCProfile          *string
	Derived             struct {
		CaptureLocal  *string `json:"capture_local"`
		CaptureSource *string `json:"capture_source"`
		Offset        *string
		OffsetSource  *string `json:"offset_source"`
	}
	Categories []string
	Private    []string
}

func truth(tb testing.TB) (folder string, rows []truthRow) {
	tb.Helper()
	folder = cameraFolder(tb)
	if err := json.Unmarshal(readFile(tb, filepath.Join(folder, "truth.json")), &rows); err != nil {
		tb.Fatal(err)
	}
	if len(rows) < 40 {
		tb.Fatalf("truth.json has %d rows only", len(rows))
	}
	return folder, rows
}

func text(s *string) string {
	if s == nil {
		return ""
	}
	return strings.TrimSpace(*s)
}

// shopZone is a zone with daylight saving that none of the samples names.
func shopZone(tb testing.TB) *time.Location {
	tb.Helper()
	zone, err := time.LoadLocation("America/Denver")
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

func TestInspect_CameraSamples(t *testing.T) {
	folder, rows := truth(t)
	for _, row := range rows {
		t.Run(filepath.Base(row.File), func(t *testing.T) {
			info := mustInspect(t, readFile(t, filepath.Join(folder, row.File)))
			e := info.Exif
			for _, c := range []struct{ name, got, want string }{
				{"DateTimeOriginal", e.DateTimeOriginal, text(row.DateTimeOriginal)},
				{"OffsetTimeOriginal", e.OffsetTimeOriginal, text(row.OffsetTimeOriginal)},
				{"SubSecTimeOriginal", e.SubSecTimeOriginal, text(row.SubSecTimeOriginal)},
				{"DateTimeDigitized", e.DateTimeDigitized, text(row.DateTimeDigitized)},
				{"OffsetTimeDigitized", e.OffsetTimeDigitized, text(row.OffsetTimeDigitized)},
				{"Make", e.Make, text(row.Make)},
				{"Model", e.Model, text(row.Model)},
				{"Kind", strings.ToUpper(string(info.Kind)), strings.TrimPrefix(row.FileType, "Extended ")},
			} {
				if c.got != c.want {
					t.Errorf("%s = %q, want %q", c.name, c.got, c.want)
				}
			}
			stored := 0
			if row.Orientation != nil {
				stored = *row.Orientation
			}
			if e.Orientation != stored {
				t.Errorf("Orientation = %d, want %d", e.Orientation, stored)
			}
			w, h := row.ImageWidth, row.ImageHeight
			if stored >= 5 {
				w, h = h, w
			}
			if info.Width != w || info.Height != h {
				t.Errorf("upright %d x %d, want %d x %d", info.Width, info.Height, w, h)
			}
			if info.HasICC != (row.ICCProfile != nil) {
				t.Errorf("HasICC = %v, want %v", info.HasICC, row.ICCProfile)
			}
			checkLocation(t, e.Location, row.GPSLatitude, row.GPSLongitude)
			checkSatellite(t, e.SatelliteAt, row)
		})
	}
}

func checkLocation(t *testing.T, got *Location, lat, lon *float64) {
	t.Helper()
	switch {
	case got == nil && lat == nil && lon == nil:
	case got == nil || lat == nil || lon == nil:
		t.Errorf("Location = %v, want %v, %v", got, lat, lon)
	case math.Abs(got.Lat-*lat) > 1e-9 || math.Abs(got.Lon-*lon) > 1e-9:
		t.Errorf("Location = %v, want %v, %v", *got, *lat, *lon)
	}
}

func checkSatellite(t *testing.T, got time.Time, row truthRow) {
	t.Helper()
	want := time.Time{}
	if row.GPSDateStamp != nil && row.GPSTimeStamp != nil {
		var err error
		if want, err = time.Parse("2006:01:02 15:04:05", *row.GPSDateStamp+" "+*row.GPSTimeStamp); err != nil {
			t.Fatal(err)
		}
	}
	if !got.Equal(want) {
		t.Errorf("SatelliteAt = %v, want %v", got, want)
	}
}

func TestCaptureTime_CameraSamples(t *testing.T) {
	folder, rows := truth(t)
	zone := shopZone(t)
	for _, row := range rows {
		t.Run(filepath.Base(row.File), func(t *testing.T) {
			info := mustInspect(t, readFile(t, filepath.Join(folder, row.File)))
			got := CaptureTime(info.Exif, zone)
			d := row.Derived
			source := map[[2]string]Source{
				{"", ""}: SourceReceived,
				{"DateTimeOriginal", "OffsetTimeOriginal"}:   SourceCameraOffset,
				{"DateTimeOriginal", "GPS"}:                  SourceSatellite,
				{"DateTimeOriginal", ""}:                     SourceShopZone,
				{"DateTimeDigitized", "OffsetTimeDigitized"}: SourceDigitizedOffset,
				{"DateTimeDigitized", "GPS"}:                 SourceDigitizedSatellite,
				{"DateTimeDigitized", ""}:                    SourceDigitizedShopZone,
			}[[2]string{text(d.CaptureSource), text(d.OffsetSource)}]
			if got.Source != source {
				t.Errorf("Source = %q, want %q", got.Source, source)
			}
			checkCapture(t, got, text(d.CaptureLocal), text(d.Offset), text(row.SubSecTimeOriginal), zone)
		})
	}
}

// checkCapture compares with a local time as the camera wrote it, its offset
// ("" for the zone's) and fraction.
func checkCapture(t *testing.T, got Capture, local, offset, subSec string, zone *time.Location) {
	t.Helper()
	if local == "" {
		if got.Source != SourceReceived || !got.At.IsZero() {
			t.Errorf("got %+v, want nothing known", got)
		}
		return
	}
	layout, value := "2006:01:02 15:04:05", local
	if subSec != "" {
		layout, value = layout+".999999999", value+"."+subSec
	}
	var want time.Time
	var err error
	if offset == "" {
		want, err = time.ParseInLocation(layout, value, zone)
	} else {
		want, err = time.Parse(layout+"-07:00", value+offset)
	}
	if err != nil {
		t.Fatal(err)
	}
	if !got.At.Equal(want) {
		t.Errorf("At = %v, want %v", got.At, want)
	}
	if _, seconds := want.Zone(); got.OffsetMinutes*60 != seconds {
		t.Errorf("OffsetMinutes = %d, want %d s", got.OffsetMinutes, seconds)
	}
}

// hostileRow is a row of hostile.json: what a correct reader gives. A key that
// is not there is not asked for; null asks for absence.
type hostileRow struct {
	File, Why string
	Want      map[string]any
}

func TestInspect_HostileSamples(t *testing.T) {
	folder := cameraFolder(t)
	var rows []hostileRow
	if err := json.Unmarshal(readFile(t, filepath.Join(folder, "hostile.json")), &rows); err != nil {
		t.Fatal(err)
	}
	if len(rows) < 12 {
		t.Fatalf("hostile.json has %d rows only", len(rows))
	}
	zone := shopZone(t)
	for _, row := range rows {
		t.Run(filepath.Base(row.File), func(t *testing.T) {
			b := readFile(t, filepath.Join(folder, row.File))
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			begin := processorTime(t)
			info := mustInspect(t, b)
			took := processorTime(t) - begin
			runtime.ReadMemStats(&after)
			want := func(key string) (string, bool) {
				v, asked := row.Want[key]
				s, _ := v.(string)
				return s, asked
			}
			if n := row.Want["Orientation"].(float64); info.Orientation != int(n) {
				t.Errorf("%s: Orientation = %d, want %v", row.Why, info.Orientation, n)
			}
			capture := CaptureTime(info.Exif, zone)
			if local, asked := want("capture_local"); asked {
				offset, _ := want("offset")
				subSec, _ := want("subsec")
				checkCapture(t, capture, local, offset, subSec, zone)
				if hasOffset := capture.Source == SourceCameraOffset || capture.Source == SourceDigitizedOffset; hasOffset != (offset != "") {
					t.Errorf("%s: Source = %q with offset %q", row.Why, capture.Source, offset)
				}
			}
			if _, asked := row.Want["GPSLatitude"]; asked {
				number := func(key string) *float64 {
					if n, ok := row.Want[key].(float64); ok {
						return &n
					}
					return nil
				}
				checkLocation(t, info.Exif.Location, number("GPSLatitude"), number("GPSLongitude"))
			}
			if most, ok := row.Want["max_seconds"].(float64); ok && took.Seconds() > most*raceSlowdown {
				t.Errorf("%s: took %v", row.Why, took)
			}
			if most, ok := row.Want["max_alloc_mb"].(float64); ok {
				if mb := float64(after.TotalAlloc-before.TotalAlloc) / (1 << 20); mb > most {
					t.Errorf("%s: allocated %.1f MB", row.Why, mb)
				}
			}
		})
	}
}
