package media

import (
	"bytes"
	"context"
	"errors"
	"image"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// quarters is ffmpeg's source of a picture with another colour in each quarter,
// red beside lime over blue beside white, lying on its side.
var quarters = []string{"-f", "lavfi", "-i", "color=red:s=320x180:r=30:d=2,format=gbrp," +
	"drawbox=x=160:y=0:w=160:h=90:color=lime:t=fill,drawbox=x=0:y=90:w=160:h=90:color=blue:t=fill," +
	"drawbox=x=160:y=90:w=160:h=90:color=white:t=fill,scale=out_color_matrix=bt709:out_range=tv,format=yuv420p"}

var bt709 = []string{"-c:v", "libx264", "-qp", "1", "-colorspace", "bt709", "-color_primaries", "bt709", "-color_trc", "bt709"}

// TestPoster: each quarter of the poster has its colour where a player shows it,
// by the orientation that Inspect reads and the numbers of Exif 3.0, 4.6.5.1.6;
// a matrix of BT.709 read as JPEG's BT.601 would make lime 40 of 255 darker.
func TestPoster(t *testing.T) {
	stored := [4][3]uint8{{255, 0, 0}, {0, 255, 0}, {0, 0, 255}, {255, 255, 255}}
	film := makeVideo(t, "quarters.mp4", quarters, bt709)
	for _, c := range []struct {
		path  string
		shown [4]int // which of the stored quarters is top left, top right, bottom left, bottom right
		turn  int
	}{
		{film, [4]int{0, 1, 2, 3}, 1},
		{turnedVideo(t, film, "90"), [4]int{1, 3, 0, 2}, 8},
		{turnedVideo(t, film, "180"), [4]int{3, 2, 1, 0}, 3},
		{turnedVideo(t, film, "270"), [4]int{2, 0, 3, 1}, 6},
	} {
		f := openVideo(t, c.path)
		info := mustInspect(t, readFile(t, c.path))
		if info.Orientation != c.turn {
			t.Errorf("Orientation = %d, want %d", info.Orientation, c.turn)
		}
		for name, b := range map[string][]byte{"file": mustPoster(t, f, info), "bytes": mustPoster(t, onlyReaderAt{f}, info)} {
			still := mustInspect(t, b)
			if still.Kind != JPEG || still.Width != info.Width || still.Height != info.Height || still.Orientation != 1 || still.Exif != (Exif{}) {
				t.Errorf("%s: %+v, of %d x %d", name, still, info.Width, info.Height)
			}
			img := decodeJPEG(t, b)
			for i, at := range []image.Point{{1, 1}, {3, 1}, {1, 3}, {3, 3}} {
				r, g, bl, _ := img.At(at.X*info.Width/4, at.Y*info.Height/4).RGBA()
				want := stored[c.shown[i]]
				if d := max(apart(uint8(r>>8), want[0]), apart(uint8(g>>8), want[1]), apart(uint8(bl>>8), want[2])); d > 6 {
					t.Errorf("%s, orientation %d, quarter %d: %d %d %d, want %v", name, info.Orientation, i, r>>8, g>>8, bl>>8, want)
				}
			}
			deriveAll(t, b)
		}
	}
}

// onlyReaderAt hides that a file is one.
type onlyReaderAt struct{ f *os.File }

// ReadAt implements io.ReaderAt.
func (r onlyReaderAt) ReadAt(p []byte, off int64) (int, error) { return r.f.ReadAt(p, off) }

func openVideo(t *testing.T, path string) *os.File {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := f.Close(); err != nil {
			t.Error(err)
		}
	})
	return f
}

func mustPoster(t *testing.T, r interface {
	ReadAt([]byte, int64) (int, error)
}, info Info) []byte {
	t.Helper()
	b, err := Poster(t.Context(), r, info)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// TestPoster_When: 1 s after the beginning, where the film is another colour
// before and after; its middle if it is shorter; its beginning where only sound
// goes on.
func TestPoster_When(t *testing.T) {
	scenes := func(first, second string) []string {
		return []string{"-f", "lavfi", "-i", "color=blue:s=64x64:r=30:d=" + first, "-f", "lavfi", "-i", "color=red:s=64x64:r=30:d=" + second,
			"-filter_complex", "[0][1]concat=n=2:v=1:a=0,format=yuv420p", "-c:v", "libx264"}
	}
	for name, path := range map[string]string{
		"one second": makeVideo(t, "long.mp4", scenes("0.8", "5")),
		"middle":     makeVideo(t, "short.mp4", scenes("0.3", "0.5")),
		"sound": makeVideo(t, "sound.mp4", []string{"-f", "lavfi", "-i", "color=red:s=64x64:r=30:d=0.2", "-f", "lavfi", "-i", "sine=d=5",
			"-c:v", "libx264", "-pix_fmt", "yuv420p"}),
	} {
		info := mustInspect(t, readFile(t, path))
		r, _, b, _ := decodeJPEG(t, mustPoster(t, openVideo(t, path), info)).At(32, 32).RGBA()
		if r < 0xe000 || b > 0x2000 {
			t.Errorf("%s: %x red, %x blue", name, r, b)
		}
	}
}

// TestPoster_NothingPrivate: no tag of the video gets into the poster.
func TestPoster_NothingPrivate(t *testing.T) {
	program(t, "exiftool")
	path := tagVideo(t, makeVideo(t, "film.mov", filmArgs("1"), h264Args), videoTags...)
	b := mustPoster(t, openVideo(t, path), mustInspect(t, readFile(t, path)))
	check := privacyCheck{dir: t.TempDir(), seen: map[string]bool{}}
	check.add(t, "poster", Derivative{JPEG: b}, append(videoWords, "lavc", "lavf"))
	for _, tags := range exifTool(t, check.paths, "-u") {
		for key := range tags {
			if group, _, _ := strings.Cut(key, ":"); group == "QuickTime" || group == "IFD0" || group == "GPS" || strings.HasPrefix(group, "XMP") {
				t.Errorf("ExifTool finds %q", key)
			}
		}
	}
}

func TestPoster_Fails(t *testing.T) {
	program(t, "ffmpeg")
	b := filmOf(filmParts{}) // no decoder makes a picture of it
	info := mustInspect(t, b)
	if _, err := Poster(t.Context(), bytes.NewReader(b), info); !errors.Is(err, ErrDamaged) {
		t.Errorf("pictures of nothing: %v", err)
	}
	if _, err := Poster(t.Context(), bytes.NewReader(b), Info{Kind: JPEG}); !errors.Is(err, ErrUnsupported) {
		t.Errorf("no video: %v", err)
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Poster(ended, bytes.NewReader(b), info); !errors.Is(err, context.Canceled) {
		t.Errorf("ended: %v", err)
	}
	t.Setenv("PATH", t.TempDir())
	if _, err := Poster(t.Context(), bytes.NewReader(b), info); !errors.Is(err, ErrNoPoster) {
		t.Errorf("no ffmpeg: %v", err)
	}
}

// TestPoster_Killed: a child that hangs is killed, with what it has started,
// when ctx ends; and one that writes without end is cut off.
func TestPoster_Killed(t *testing.T) {
	dir := t.TempDir()
	script := func(text string) {
		if err := os.WriteFile(filepath.Join(dir, "ffmpeg"), []byte("#!/bin/sh\n"+text), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	t.Setenv("PATH", dir)
	b := filmOf(filmParts{})
	info := mustInspect(t, b)

	started := filepath.Join(dir, "started")
	script("(while :; do :; done) &\necho $! >" + started + ".new\n/bin/mv " + started + ".new " + started + "\nwait\n")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	ended := make(chan error, 1)
	go func() {
		_, err := Poster(ctx, bytes.NewReader(b), info)
		ended <- err
	}()
	pid := strings.TrimSpace(string(waitForFile(t, started)))
	cancel()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("err = %v", err)
		}
	case <-time.After(10 * time.Second):
		t.Fatal("still running 10 s after ctx ended")
	}
	waitGone(t, pid)

	script("while :; do echo 0123456789012345678901234567890123456789012345678901234567890123456789 >&2; echo x; n=x$n; [ ${#n} -gt 2000 ] && exit 1; done\n")
	_, err := Poster(t.Context(), bytes.NewReader(b), info)
	if !errors.Is(err, ErrDamaged) || len(err.Error()) > maxPosterComplain*5 {
		t.Errorf("err of %d bytes", len(err.Error()))
	}

	script("echo a picture\nexit 1\n")
	out, err := runPoster(t.Context(), filepath.Join(dir, "ffmpeg"), openVideo(t, filepath.Join(dir, "ffmpeg")), 0)
	if err == nil {
		t.Errorf("a child that fails: %q", out)
	}
}

// TestPoster_Limits: the child runs within its limits and knows nothing of the
// server's environment.
func TestPoster_Limits(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "ffmpeg")
	if err := os.WriteFile(path, []byte("#!/bin/sh\nulimit -v\nulimit -t\necho \"[$FARBAY_SECRET]\"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("FARBAY_SECRET", "hunter2")
	out, err := runPoster(t.Context(), path, openVideo(t, path), 0)
	if err != nil || string(out) != "1572864\n30\n[]\n" {
		t.Errorf("the child says %q, %v", out, err)
	}
}
