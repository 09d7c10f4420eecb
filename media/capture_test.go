package media

import (
	"testing"
	"time"
)

func at(tb testing.TB, rfc3339 string) time.Time {
	tb.Helper()
	v, err := time.Parse(time.RFC3339Nano, rfc3339)
	if err != nil {
		tb.Fatal(err)
	}
	return v
}

// TestCaptureTime_OrderOfTrust goes through DESIGN.md, Capture time, clause by
// clause. The shop's zone is Mountain Time, UTC-7, UTC-6 from March to November
// (IANA time zone database, America/Denver).
func TestCaptureTime_OrderOfTrust(t *testing.T) {
	zone := shopZone(t)
	utc := func(s string) time.Time { return at(t, s) }
	denver := &Location{Lat: 39.7, Lon: -105}
	tests := []struct {
		name   string
		exif   Exif
		want   string
		offset int
		source Source
	}{
		{"own offset first", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", OffsetTimeOriginal: "+05:45", SubSecTimeOriginal: "042",
			SatelliteAt: utc("2024-07-04T18:34:56Z"), Location: denver, DateTimeDigitized: "2024:07:05 00:00:00",
		}, "2024-07-04T06:49:56.042Z", 345, SourceCameraOffset},
		{"offset behind the figures", Exif{DateTimeOriginal: "2024:07:04 12:34:56+02:00"},
			"2024-07-04T10:34:56Z", 120, SourceCameraOffset},
		{"satellite time", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T18:34:50Z"), Location: denver,
		}, "2024-07-04T18:34:56Z", -360, SourceSatellite},
		{"satellite time without a place", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T02:49:56Z"),
		}, "2024-07-04T02:49:56Z", 585, SourceSatellite},
		{"satellite time across midnight", Exif{
			DateTimeOriginal: "2024:07:04 23:00:00", SatelliteAt: utc("2024-07-05T05:00:00Z"), Location: denver,
		}, "2024-07-05T05:00:00Z", -360, SourceSatellite},
		{"satellite 180 s apart", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T18:37:56Z"),
		}, "2024-07-04T18:34:56Z", -360, SourceSatellite},
		{"satellite 181 s apart", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T18:37:57Z"),
		}, "2024-07-04T18:34:56Z", -360, SourceShopZone},
		{"satellite a day stale", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-03T18:34:56Z"),
		}, "2024-07-04T18:34:56Z", -360, SourceShopZone},
		{"satellite four hours stale", Exif{
			DateTimeOriginal: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T14:34:56Z"), Location: denver,
		}, "2024-07-04T18:34:56Z", -360, SourceShopZone},
		{"exactly 3 h from the sun", Exif{
			DateTimeOriginal: "2024:07:04 12:00:00", SatelliteAt: utc("2024-07-04T16:00:00Z"), Location: denver,
		}, "2024-07-04T16:00:00Z", -240, SourceSatellite},
		{"satellite at the eastern edge", Exif{
			DateTimeOriginal: "2024:07:04 12:00:00", SatelliteAt: utc("2024-07-03T22:00:00Z"),
		}, "2024-07-03T22:00:00Z", 840, SourceSatellite},
		{"beyond the eastern edge", Exif{
			DateTimeOriginal: "2024:07:04 12:00:00", SatelliteAt: utc("2024-07-03T21:45:00Z"),
		}, "2024-07-04T18:00:00Z", -360, SourceShopZone},
		{"place 0, 0 says nothing", Exif{
			DateTimeOriginal: "2024:07:04 12:00:00", SatelliteAt: utc("2024-07-04T18:00:00Z"), Location: &Location{},
		}, "2024-07-04T18:00:00Z", -360, SourceSatellite},
		{"shop's zone in summer", Exif{DateTimeOriginal: "2024:07:04 12:00:00"},
			"2024-07-04T18:00:00Z", -360, SourceShopZone},
		{"shop's zone in winter", Exif{DateTimeOriginal: "2024:01:04 12:00:00"},
			"2024-01-04T19:00:00Z", -420, SourceShopZone},
		{"blank offset is unknown", Exif{DateTimeOriginal: "2024:01:04 12:00:00", OffsetTimeOriginal: "   :  "},
			"2024-01-04T19:00:00Z", -420, SourceShopZone},
		{"digitized with its own offset", Exif{
			DateTimeOriginal: "0000:00:00 00:00:00", OffsetTimeOriginal: "+09:00",
			DateTimeDigitized: "2023:03:03 03:03:03", OffsetTimeDigitized: "-03:30", SubSecTimeDigitized: "5",
		}, "2023-03-03T06:33:03.5Z", -210, SourceDigitizedOffset},
		{"an offset belongs to its own date", Exif{
			DateTimeDigitized: "2024:01:04 12:00:00", OffsetTimeOriginal: "+09:00",
		}, "2024-01-04T19:00:00Z", -420, SourceDigitizedShopZone},
		{"digitized with satellite time", Exif{
			DateTimeDigitized: "2024:07:04 12:34:56", SatelliteAt: utc("2024-07-04T18:34:50Z"),
		}, "2024-07-04T18:34:56Z", -360, SourceDigitizedSatellite},
		{"original goes before digitized even without offset", Exif{
			DateTimeOriginal: "2024:01:04 12:00:00", DateTimeDigitized: "2024:01:05 12:00:00", OffsetTimeDigitized: "+01:00",
		}, "2024-01-04T19:00:00Z", -420, SourceShopZone},
		{"nothing known", Exif{SatelliteAt: utc("2024-07-04T18:34:50Z")}, "", 0, SourceReceived},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := CaptureTime(tt.exif, zone)
			want := Capture{OffsetMinutes: tt.offset, Source: tt.source}
			if tt.want != "" {
				want.At = at(t, tt.want)
			}
			if !got.At.Equal(want.At) || got.OffsetMinutes != want.OffsetMinutes || got.Source != want.Source || got.Clock != ClockPlain {
				t.Errorf("got %+v, want %+v", got, want)
			}
			if got.At.Location() != time.UTC {
				t.Errorf("At is in %v, want UTC", got.At.Location())
			}
		})
	}
}

// TestCaptureTime_ChangedClocks: in 2024 Mountain Time skipped 02:00 to 03:00 on
// 10 March and had 01:00 to 02:00 twice on 3 November; Lord Howe Island moves by
// 30 minutes (IANA time zone database).
func TestCaptureTime_ChangedClocks(t *testing.T) {
	tests := []struct {
		zone, local, want string
		offset            int
		note              ClockNote
	}{
		{"America/Denver", "2024:03:10 01:59:59", "2024-03-10T08:59:59Z", -420, ClockPlain},
		{"America/Denver", "2024:03:10 02:30:00", "2024-03-10T09:30:00Z", -420, ClockSkipped},
		{"America/Denver", "2024:03:10 03:00:00", "2024-03-10T09:00:00Z", -360, ClockPlain},
		{"America/Denver", "2024:11:03 00:59:59", "2024-11-03T06:59:59Z", -360, ClockPlain},
		{"America/Denver", "2024:11:03 01:30:00", "2024-11-03T07:30:00Z", -360, ClockTwice},
		{"America/Denver", "2024:11:03 02:00:00", "2024-11-03T09:00:00Z", -420, ClockPlain},
		{"Australia/Lord_Howe", "2024:04:07 01:45:00", "2024-04-06T14:45:00Z", 660, ClockTwice},
		{"Australia/Lord_Howe", "2024:10:06 02:15:00", "2024-10-05T15:45:00Z", 630, ClockSkipped},
		{"UTC", "2024:03:10 02:30:00", "2024-03-10T02:30:00Z", 0, ClockPlain},
	}
	for _, tt := range tests {
		zone, err := time.LoadLocation(tt.zone)
		if err != nil {
			t.Fatal(err)
		}
		got := CaptureTime(Exif{DateTimeOriginal: tt.local}, zone)
		if want := at(t, tt.want); !got.At.Equal(want) || got.OffsetMinutes != tt.offset || got.Clock != tt.note {
			t.Errorf("%s in %s = %+v, want %v, offset %d, note %q", tt.local, tt.zone, got, want, tt.offset, tt.note)
		}
	}
}

func TestCapture_OrReceived(t *testing.T) {
	zone := shopZone(t)
	received := at(t, "2024-07-04T20:00:00Z")
	got := CaptureTime(Exif{}, zone).OrReceived(received, zone)
	if !got.At.Equal(received) || got.OffsetMinutes != -360 || got.Source != SourceReceived {
		t.Errorf("got %+v", got)
	}
	known := CaptureTime(Exif{DateTimeOriginal: "2024:01:04 12:00:00"}, zone)
	if again := known.OrReceived(received, zone); again != known {
		t.Errorf("a known time became %+v", again)
	}
}

// TestCapture_Doubt: DESIGN.md, Capture time: "in the future of its receipt, or
// before the build began".
func TestCapture_Doubt(t *testing.T) {
	received, began := at(t, "2024-07-04T20:00:00Z"), at(t, "2024-03-01T07:00:00Z")
	tests := []struct {
		at     string
		source Source
		began  time.Time
		doubt  bool
	}{
		{"2024-07-04T19:59:00Z", SourceShopZone, began, false},
		{"2024-07-04T20:02:00Z", SourceShopZone, began, false}, // clocks differ
		{"2024-07-04T20:02:01Z", SourceShopZone, began, true},
		{"2024-03-01T07:00:00Z", SourceCameraOffset, began, false},
		{"2024-03-01T06:59:59Z", SourceCameraOffset, began, true},
		{"1980-01-01T00:00:00Z", SourceShopZone, began, true},
		{"1980-01-01T00:00:00Z", SourceShopZone, time.Time{}, false},
		{"2024-02-01T00:00:00Z", SourceReceived, began, false},
	}
	for _, tt := range tests {
		c := Capture{At: at(t, tt.at), Source: tt.source}
		if got := c.Doubt(received, tt.began); (got != "") != tt.doubt {
			t.Errorf("%s, %s: doubt %q, want %v", tt.at, tt.source, got, tt.doubt)
		}
	}
}
