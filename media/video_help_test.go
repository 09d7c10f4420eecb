package media

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// Arguments of ffmpeg for a film of so many seconds, 320 x 180 at 30 pictures a
// second, each picture another, and a tone.
func filmArgs(seconds string) []string {
	return []string{"-f", "lavfi", "-i", "testsrc2=s=320x180:r=30:d=" + seconds, "-f", "lavfi", "-i", "sine=d=" + seconds}
}

var h264Args = []string{"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-c:a", "aac"}

// makeVideo has ffmpeg make a file of this name and returns its path.
func makeVideo(tb testing.TB, name string, args ...[]string) string {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), name)
	all := []string{"-nostdin", "-v", "error", "-y"}
	for _, a := range args {
		all = append(all, a...)
	}
	run(tb, "ffmpeg", append(all, path)...)
	return path
}

// turnedVideo is a copy of a video with another display matrix: shown turned by
// so many degrees clockwise.
func turnedVideo(tb testing.TB, path, degrees string) string {
	tb.Helper()
	return makeVideo(tb, "turned"+filepath.Ext(path), []string{"-i", path, "-c", "copy", "-map", "0",
		"-map_metadata", "0", "-metadata:s:v:0", "rotate=" + degrees, "-movflags", "use_metadata_tags"})
}

// tagVideo has ExifTool write tags into a copy of a video and returns its path.
func tagVideo(tb testing.TB, path string, tags ...string) string {
	tb.Helper()
	out := filepath.Join(tb.TempDir(), "tagged"+filepath.Ext(path))
	writeFile(tb, out, readFile(tb, path))
	run(tb, "exiftool", append(append([]string{"-q", "-m", "-overwrite_original", "-charset", "UTF8"}, tags...), out)...)
	return out
}

var h265Args = []string{"-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none", "-pix_fmt", "yuv420p", "-c:a", "aac"}

// filmParts says how a film made by hand differs from a plain one: four samples
// of half a second in two chunks, 64 x 48.
type filmParts struct {
	wideMdat, openMdat, co64, noBrands, noDuration, elsewhere bool

	shared bool // a track of notes says that its samples are the same

	matrix      [4]int32
	sampleTicks int // of the four, in 1/600 s
	sizes       int // said to be in stsz
	chunks      int // said to be in stco
	lastSize    int
	shift       int // added to the second chunk's offset
	handler     string
	coded       int // width and height of the sample entry
}

// filmSample is what each sample holds: in H.264's form, a unit of a picture and
// one of messages with text in it.
func filmSample(text string) []byte {
	message := append([]byte{0x06, userDataUnregistered, byte(len(text))}, text...)
	message = append(message, 0x80)
	picture := []byte{0x65, 0x88, 0x84, 0x00, 0x33}
	return slices.Concat(be32(len(message)), message, be32(len(picture)), picture)
}

// filmGap stands between the two chunks.
const filmGap = "key under the mat"

// filmOf makes a film by hand. Source of its layout: ISO/IEC 14496-12, from
// memory; TestFilmOf_IsRead has ffprobe read it.
func filmOf(p filmParts) []byte {
	sample := filmSample("Quarterdeck 40.5 N")
	chunk := append(bytes.Clone(sample), sample...)
	content := slices.Concat(chunk, []byte(filmGap), chunk)
	var out []byte
	if !p.noBrands {
		out = box("ftyp", []byte("isom"), be32(512), []byte("isommp42"))
	}
	build := func(mdatAt int) []byte {
		offsets := []int{mdatAt, mdatAt + len(chunk) + len(filmGap) + p.shift}
		return filmMoov(p, len(sample), offsets)
	}
	if p.openMdat { // comes last, so what is before must be known
		at := len(out) + len(build(0)) + 8
		out = append(out, build(at)...)
		out = append(out, 0, 0, 0, 0, 'm', 'd', 'a', 't')
		return append(out, content...)
	}
	if p.wideMdat {
		out = append(out, 0, 0, 0, 1, 'm', 'd', 'a', 't')
		out = binary.BigEndian.AppendUint64(out, uint64(16+len(content)))
	} else {
		out = append(out, be32(8+len(content))...)
		out = append(out, "mdat"...)
	}
	at := len(out)
	out = append(out, content...)
	return append(out, build(at)...)
}

func filmMoov(p filmParts, sampleBytes int, offsets []int) []byte {
	or := func(n, other int) int { return cmp.Or(n, other) }
	one := 1 << 16
	matrix := func(m [4]int32) []byte {
		if m == [4]int32{} {
			m = [4]int32{int32(one), 0, 0, int32(one)}
		}
		return slices.Concat(be32(int(m[0])), be32(int(m[1])), be32(0), be32(int(m[2])), be32(int(m[3])), be32(0), be32(0), be32(0), be32(1<<30))
	}
	duration := 1200
	if p.noDuration {
		duration = math.MaxUint32
	}
	times := slices.Concat(be32(3e9), be32(3e9+7))
	mvhd := box("mvhd", be32(0), times, be32(600), be32(duration), be32(one), be16(256), make([]byte, 10), matrix([4]int32{}), make([]byte, 24), be32(2))
	tkhd := box("tkhd", be32(3), times, be32(1), be32(0), be32(duration), make([]byte, 16), matrix(p.matrix), be32(64*one), be32(48*one))
	mdhd := box("mdhd", be32(0), times, be32(600), be32(1200), be16(0x55c4), be16(0))
	hdlr := box("hdlr", be32(0), be32(0), []byte(cmp.Or(p.handler, "vide")), make([]byte, 12), []byte("Quarterdeck's camera\x00"))
	avcC := box("avcC", []byte{1, 66, 0, 10, 0xff, 0xe1, 0, 4, 0x67, 66, 0, 10, 1, 0, 4, 0x68, 0xce, 0x38, 0x80})
	name := append([]byte{19}, "Quarterdeck's codec"...)
	coded := be16(or(p.coded, 64))
	if p.coded == 0 {
		coded = append(coded, be16(48)...)
	} else {
		coded = append(coded, be16(p.coded)...)
	}
	entry := box("avc1", make([]byte, 6), be16(1), make([]byte, 4), []byte("Qdck"), make([]byte, 8), coded,
		be32(72*one), be32(72*one), be32(0), be16(1), name, make([]byte, 32-len(name)), be16(24), []byte{0xff, 0xff}, avcC, box("note", []byte("Quarterdeck")))
	flags := 1
	if p.elsewhere {
		flags = 0
	}
	dinf := box("dinf", box("dref", be32(0), be32(1), box("url ", be32(flags), []byte("file:///Quarterdeck"))))
	stsz := slices.Concat(be32(0), be32(0), be32(or(p.sizes, 4)), be32(sampleBytes), be32(sampleBytes), be32(sampleBytes), be32(or(p.lastSize, sampleBytes)))
	places := box("stco", be32(0), be32(or(p.chunks, 2)), be32(offsets[0]), be32(offsets[1]))
	if p.co64 {
		places = box("co64", be32(0), be32(or(p.chunks, 2)), be32(0), be32(offsets[0]), be32(0), be32(offsets[1]))
	}
	stbl := box("stbl", box("stsd", be32(0), be32(1), entry), box("stts", be32(0), be32(1), be32(4), be32(or(p.sampleTicks, 300))),
		box("stsc", be32(0), be32(1), be32(1), be32(2), be32(1)), box("stsz", stsz), places)
	minf := box("minf", box("vmhd", be32(1), make([]byte, 8)), dinf, stbl)
	trak := box("trak", tkhd, box("mdia", mdhd, hdlr, minf), box("udta", box("\xa9nam", be16(11), be16(0), []byte("Quarterdeck"))))
	if p.shared {
		trak = append(trak, bytes.ReplaceAll(trak, []byte("vide"), []byte("meta"))...)
	}
	return box("moov", mvhd, trak, box("udta", box("\xa9mak", be16(6), be16(0), []byte("Ostler"))))
}

// TestFilmOf_IsRead has ffprobe read the film made by hand, so that what tests
// build on it is a film to others too.
func TestFilmOf_IsRead(t *testing.T) {
	path := filepath.Join(t.TempDir(), "film.mp4")
	writeFile(t, path, filmOf(filmParts{}))
	got := string(run(t, "ffprobe", "-v", "error", "-count_packets", "-show_entries", "stream=codec_name,width,height,nb_read_packets,duration", "-of", "csv=p=0", path))
	if want := "h264,64,48,2.000000,4"; strings.TrimSpace(got) != want {
		t.Errorf("ffprobe reads %q, want %q", got, want)
	}
}

// poll asks until done says so, for at most 10 s, without sleeping.
func poll(t *testing.T, what string, done func() bool) {
	t.Helper()
	deadline := time.After(10 * time.Second)
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for !done() {
		select {
		case <-deadline:
			t.Fatalf("%s: not within 10 s", what)
		case <-tick.C:
		}
	}
}

// waitForFile waits until a file is there, and reads it.
func waitForFile(t *testing.T, path string) (b []byte) {
	t.Helper()
	poll(t, path, func() (there bool) {
		var err error
		b, err = os.ReadFile(path)
		return err == nil
	})
	return b
}

// waitGone waits until a process has ended. Source: proc(5), /proc/pid/stat, where
// the state is Z until the parent asks.
func waitGone(t *testing.T, pid string) {
	t.Helper()
	poll(t, "the end of process "+pid, func() bool {
		b, err := os.ReadFile(filepath.Join("/proc", pid, "stat"))
		if errors.Is(err, os.ErrNotExist) {
			return true
		}
		if err != nil {
			t.Fatal(err)
		}
		_, state, _ := strings.Cut(string(b), ") ")
		return strings.HasPrefix(state, "Z")
	})
}
