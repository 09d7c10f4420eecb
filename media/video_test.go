package media

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"
)

// TestInspect_Video compares with what ExifTool reads: size, turn, length and
// codecs, of both kinds, turned each way.
func TestInspect_Video(t *testing.T) {
	program(t, "exiftool")
	mov := makeVideo(t, "film.mov", filmArgs("2"), h264Args)
	mp4 := makeVideo(t, "film.mp4", filmArgs("2"), h264Args, []string{"-movflags", "+faststart"})
	silent := makeVideo(t, "film.m4v", filmArgs("1"), h264Args, []string{"-an"})
	hevc := makeVideo(t, "hevc.mp4", filmArgs("1"), h265Args, []string{"-tag:v", "hvc1"})
	wide := makeVideo(t, "wide.mp4", filmArgs("1"), h264Args, []string{"-vf", "setsar=4/3"})
	paths := []string{mov, mp4, silent, hevc, wide}
	for _, degrees := range []string{"90", "180", "270"} {
		paths = append(paths, turnedVideo(t, mov, degrees), turnedVideo(t, mp4, degrees))
	}
	read := exifTool(t, paths)
	for _, path := range paths {
		info := mustInspect(t, readFile(t, path))
		tags := read[path]
		w, h := int(tags["Track1:ImageWidth"].(float64)), int(tags["Track1:ImageHeight"].(float64))
		// ExifTool's turn is clockwise; Exif 3.0, 4.6.5.1.6: 6 is a quarter so.
		want := map[float64]int{0: 1, 90: 6, 180: 3, 270: 8}[tags["Composite:Rotation"].(float64)]
		if info.Orientation != want {
			t.Errorf("%s: Orientation = %d, ExifTool reads a turn of %v", path, info.Orientation, tags["Composite:Rotation"])
		}
		if want >= 5 {
			w, h = h, w
		}
		if info.Width != w || info.Height != h {
			t.Errorf("%s: %d x %d, ExifTool reads %d x %d", path, info.Width, info.Height, w, h)
		}
		kind := map[any]Kind{"video/quicktime": MOV, "video/mp4": MP4, "video/x-m4v": MP4}[tags["File:MIMEType"]]
		if info.Kind != kind || !info.Kind.Video() || info.Decodable() {
			t.Errorf("%s: Kind = %v, ExifTool reads %v", path, info.Kind, tags["File:MIMEType"])
		}
		if d := tags["QuickTime:Duration"].(float64); math.Abs(info.Duration.Seconds()-d) > 1e-3 {
			t.Errorf("%s: Duration = %v, ExifTool reads %v s", path, info.Duration, d)
		}
		sound, _ := tags["Track2:AudioFormat"].(string)
		if info.VideoCodec != tags["Track1:CompressorID"] || info.AudioCodec != sound {
			t.Errorf("%s: codecs %q and %q, ExifTool reads %v and %q", path, info.VideoCodec, info.AudioCodec, tags["Track1:CompressorID"], sound)
		}
	}
}

// TestInspect_VideoTags has ExifTool write what phones do, in both places, and
// ffmpeg what Android phones do.
func TestInspect_VideoTags(t *testing.T) {
	program(t, "exiftool")
	mov := makeVideo(t, "film.mov", filmArgs("0.2"), h264Args)
	mp4 := makeVideo(t, "film.mp4", filmArgs("0.2"), h264Args)
	android := makeVideo(t, "android.mp4", filmArgs("0.2"), h264Args, []string{"-movflags", "use_metadata_tags",
		"-metadata", "com.android.manufacturer=Calder", "-metadata", "com.android.model=Mast 2"})
	bare := makeVideo(t, "bare.mov", filmArgs("0.2"), h264Args, []string{"-movflags", "use_metadata_tags",
		"-metadata", "com.apple.quicktime.creationdate=2025-06-01T14:30:00"})
	denver := shopZone(t)
	for _, c := range []struct {
		name, path   string
		tags         []string
		make, model  string
		date, offset string
		subSec       string
		place        *Location
		source       Source
		at           string
	}{
		{"keys", mov, []string{"-Keys:Make=Ostler", "-Keys:Model=Pocket 4", "-Keys:GPSCoordinates=40.5, -105.25, 1600", "-Keys:CreationDate=2025:06:01 14:30:00-06:00"},
			"Ostler", "Pocket 4", "2025:06:01 14:30:00", "-06:00", "", &Location{40.5, -105.25}, SourceCameraOffset, "2025-06-01T20:30:00Z"},
		{"keys in MP4", mp4, []string{"-Keys:Make=Ostler", "-Keys:Model=Pocket 4", "-Keys:GPSCoordinates=-33.8688, 151.2093, 5", "-Keys:CreationDate=2025:06:01 14:30:00+05:45", "-QuickTime:CreateDate=2025:06:02 01:00:00"},
			"Ostler", "Pocket 4", "2025:06:01 14:30:00", "+05:45", "", &Location{-33.8688, 151.2093}, SourceCameraOffset, "2025-06-01T08:45:00Z"},
		{"user data", mov, []string{"-UserData:Make=Tolland", "-UserData:Model=Pier", "-UserData:GPSCoordinates=40.5, -105.25, 1600", "-QuickTime:CreateDate=2025:06:01 20:30:00"},
			"Tolland", "Pier", "", "", "", &Location{40.5, -105.25}, SourceVideoClock, "2025-06-01T20:30:00Z"},
		{"keys before user data", mp4, []string{"-Keys:Make=Ostler", "-UserData:Make=Tolland"},
			"Ostler", "", "", "", "", nil, SourceReceived, ""},
		{"another script", mov, []string{"-Keys:Make=Øster", "-Keys:Model=ライト 2"}, "Øster", "ライト 2", "", "", "", nil, SourceReceived, ""},
		{"fraction", mov, []string{"-Keys:CreationDate=2025:06:01 14:30:00.250Z"}, "", "", "2025:06:01 14:30:00", "+00:00", "25", nil, SourceCameraOffset, "2025-06-01T14:30:00.25Z"},
		{"no offset, no clock", bare, nil, "", "", "2025:06:01 14:30:00", "", "", nil, SourceShopZone, "2025-06-01T20:30:00Z"},
		{"clock before 1990", mov, []string{"-QuickTime:CreateDate=1989:12:31 23:59:59"}, "", "", "", "", "", nil, SourceReceived, ""},
		{"clock of 1990", mov, []string{"-QuickTime:CreateDate=1990:01:01 00:00:00"}, "", "", "", "", "", nil, SourceVideoClock, "1990-01-01T00:00:00Z"},
		{"Android", android, nil, "Calder", "Mast 2", "", "", "", nil, SourceReceived, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := c.path
			if len(c.tags) > 0 {
				path = tagVideo(t, path, c.tags...)
			}
			e := mustInspect(t, readFile(t, path)).Exif
			got := fmt.Sprintf("%q", []string{e.Make, e.Model, e.DateTimeOriginal, e.OffsetTimeOriginal, e.SubSecTimeOriginal})
			if want := fmt.Sprintf("%q", []string{c.make, c.model, c.date, c.offset, c.subSec}); got != want {
				t.Errorf("got %s, want %s", got, want)
			}
			if c.place == nil {
				checkLocation(t, e.Location, nil, nil)
			} else {
				checkLocation(t, e.Location, &c.place.Lat, &c.place.Lon)
			}
			capture := CaptureTime(e, denver)
			if capture.Source != c.source || c.at != "" && !capture.At.Equal(at(t, c.at)) {
				t.Errorf("%+v, want %s, %s", capture, c.source, c.at)
			}
		})
	}
}

// TestCaptureTime_VideoClock: the offset that is shown is the zone's at that
// moment; the clock gives way to the camera's offset and satellites, and to
// nothing else.
func TestCaptureTime_VideoClock(t *testing.T) {
	clock := at(t, "2025-01-15T20:30:00Z")
	got := CaptureTime(Exif{VideoClockAt: clock}, shopZone(t))
	if !got.At.Equal(clock) || got.OffsetMinutes != -420 || got.Source != SourceVideoClock || !got.Source.FromClock() {
		t.Errorf("got %+v", got)
	}
	e := Exif{VideoClockAt: clock, DateTimeOriginal: "2025:01:15 10:00:00"}
	if got := CaptureTime(e, shopZone(t)); !got.At.Equal(clock) || got.Source != SourceVideoClock {
		t.Errorf("a date without offset came first: %+v", got)
	}
	e.SatelliteAt = at(t, "2025-01-15T17:00:10Z")
	if got := CaptureTime(e, shopZone(t)); got.Source != SourceSatellite {
		t.Errorf("satellites did not come first: %+v", got)
	}
}

func TestInspect_VideoRefused(t *testing.T) {
	short := makeVideo(t, "film.mp4", filmArgs("0.2"), h264Args)
	whole := readFile(t, short)
	slow := func(seconds string) []byte {
		return readFile(t, makeVideo(t, "long.mp4", []string{"-f", "lavfi", "-i", "color=s=32x32:r=1:d=" + seconds}, h264Args))
	}
	fragments := makeVideo(t, "parts.mp4", filmArgs("0.2"), h264Args, []string{"-movflags", "frag_keyframe+empty_moov"})
	sound := makeVideo(t, "sound.m4a", []string{"-f", "lavfi", "-i", "sine=d=0.2", "-c:a", "aac"})
	front := readFile(t, makeVideo(t, "front.mp4", filmArgs("0.2"), h264Args, []string{"-movflags", "+faststart"}))
	for _, c := range []struct {
		name string
		b    []byte
		want error
	}{
		{"two minutes", slow("120"), nil},
		{"a second more", slow("121"), ErrTooLong},
		{"in fragments", readFile(t, fragments), ErrUnsupported},
		{"sound only", readFile(t, sound), ErrUnsupported},
		{"no moov yet", whole[:len(whole)-2000], ErrTruncated},
		{"tables first, pictures cut", front[:len(front)-1], ErrTruncated},
		{"four bytes more", append(bytes.Clone(whole), 0, 0, 0, 0), nil},
		{"all of it", whole, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			info, err := inspectBytes(c.b)
			if !errors.Is(err, c.want) || c.want == nil && err != nil {
				t.Errorf("err = %v, want %v", err, c.want)
			}
			if !info.Kind.Video() {
				t.Errorf("Kind = %q", info.Kind)
			}
		})
	}
	// Wherever it is cut, it is not taken.
	for n := 64; n < len(whole); n += len(whole) / 97 {
		if _, err := inspectBytes(whole[:n]); !errors.Is(err, ErrTruncated) {
			t.Errorf("cut to %d of %d bytes: %v", n, len(whole), err)
		}
	}
}

// TestReadISO6709: one place in the three forms, and what is no place. Source:
// ISO 6709 annex H, its examples from memory.
func TestReadISO6709(t *testing.T) {
	for _, c := range []struct {
		text     string
		lat, lon float64
		ok       bool
	}{
		{"+40.20361-075.00417/", 40.20361, -75.00417, true},
		{"+4012.22-07500.25/", 40 + 12.22/60, -(75 + 0.25/60), true},
		{"+401213.1-0750015.1/", 40 + 12.0/60 + 13.1/3600, -(75 + 15.1/3600), true},
		{"+40-075CRSWGS_84/", 40, -75, true},
		{"+35.658632+139.745411+150.000/", 35.658632, 139.745411, true},
		{"-90+180/", -90, 180, true},
		{"+00.0000+000.0000/", 0, 0, true},
		{"+90.1+000/", 0, 0, false},
		{"+40.0-180.5/", 0, 0, false},
		{"+4060-07500/", 0, 0, false}, // 60 minutes
		{"+401-0750/", 0, 0, false},   // neither degrees nor minutes
		{"40.2-75.0", 0, 0, false},
		{"+40.2", 0, 0, false},
		{"", 0, 0, false},
	} {
		got := readISO6709(c.text)
		if (got != nil) != c.ok || got != nil && (math.Abs(got.Lat-c.lat) > 1e-9 || math.Abs(got.Lon-c.lon) > 1e-9) {
			t.Errorf("%q: %v, want %v, %v, %v", c.text, got, c.lat, c.lon, c.ok)
		}
	}
}

// TestInspect_VideoByHand: what no writer here makes: wide and open-ended boxes,
// no brand, mirrored pictures, lengths that lie.
func TestInspect_VideoByHand(t *testing.T) {
	base := filmParts{}
	for _, c := range []struct {
		name  string
		parts filmParts
		want  error
		check func(Info) bool
	}{
		{"plain", base, nil, func(i Info) bool {
			return i.Kind == MP4 && i.Width == 64 && i.Height == 48 && i.Duration == 2*time.Second && i.VideoCodec == "avc1"
		}},
		{"box of 64-bit size", filmParts{wideMdat: true}, nil, nil},
		{"box up to the end", filmParts{openMdat: true}, nil, nil},
		{"64-bit offsets", filmParts{co64: true}, nil, nil},
		{"no brands", filmParts{noBrands: true}, nil, func(i Info) bool { return i.Kind == MOV }},
		{"mirrored", filmParts{matrix: [4]int32{-1 << 16, 0, 0, 1 << 16}}, nil, func(i Info) bool { return i.Orientation == 2 }},
		{"no length", filmParts{noDuration: true}, nil, func(i Info) bool { return i.Duration == 2*time.Second }},
		{"length that lies", filmParts{sampleTicks: 600 * 1000}, ErrTooLong, nil},
		{"more sizes than bytes", filmParts{sizes: math.MaxInt32}, ErrDamaged, nil},
		{"more chunks than bytes", filmParts{chunks: math.MaxInt32}, ErrDamaged, nil},
		{"a sample past the end", filmParts{lastSize: 1 << 30}, ErrTruncated, nil},
		{"chunk past the end", filmParts{shift: 1 << 30}, ErrTruncated, nil},
		{"no pictures", filmParts{handler: "meta"}, ErrUnsupported, nil},
		{"too many pixels", filmParts{coded: 60000}, ErrTooManyPixels, nil},
		{"data in another file", filmParts{elsewhere: true}, nil, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			info, err := inspectBytes(filmOf(c.parts))
			if !errors.Is(err, c.want) || c.want == nil && err != nil {
				t.Fatalf("err = %v, want %v", err, c.want)
			}
			if c.check != nil && !c.check(info) {
				t.Errorf("got %+v", info)
			}
		})
	}
}

// TestInspect_VideoSniff: what a file is called by its first bytes.
func TestInspect_VideoSniff(t *testing.T) {
	for brands, want := range map[string]Kind{
		"qt  \x00\x00\x02\x00qt  ":             MOV,
		"mp42\x00\x00\x00\x00isommp42":         MP4,
		"isom\x00\x00\x02\x00isomiso2avc1mp41": MP4,
		"3gp4\x00\x00\x00\x003gp4":             MP4,
		"mp42\x00\x00\x00\x00qt  mp42":         MP4,
		"abcd\x00\x00\x00\x00qt  ":             MOV,
		"heic\x00\x00\x00\x00mif1heic":         HEIC,
		"crx \x00\x00\x00\x01crx isom":         "", // a raw photo, in boxes
	} {
		b := box("ftyp", []byte(brands))
		got, err := sniff(b)
		if got != want {
			t.Errorf("%q: %q, %v, want %q", brands, got, err, want)
		}
	}
}
