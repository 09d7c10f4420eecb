package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// structural are the tags that say how to play a video, and nothing of who made
// it where and when; by ExifTool's names.
var structural = map[string]bool{}

func init() {
	for name := range strings.FieldsSeq(`
		MajorBrand MinorVersion CompatibleBrands MediaDataSize MediaDataOffset MediaData Free Unknown_free
		MovieHeaderVersion TimeScale Duration PreferredRate PreferredVolume MatrixStructure PreviewTime PreviewDuration
		PosterTime SelectionTime SelectionDuration CurrentTime NextTrackID
		TrackHeaderVersion TrackID TrackDuration TrackLayer TrackVolume ImageWidth ImageHeight Unknown_edts
		MediaHeaderVersion MediaTimeScale MediaDuration MediaLanguageCode HandlerClass HandlerType
		GraphicsMode OpColor Balance CompressorID SourceImageWidth SourceImageHeight XResolution YResolution BitDepth
		AVCConfiguration HEVCConfiguration PixelAspectRatio ColorRepresentation ColorProfiles ColorPrimaries
		TransferCharacteristics MatrixCoefficients VideoFullRangeFlag VideoFrameRate FieldOrder Gamma
		SyncSampleTable CompositionTimeToSample SampleToChunk SampleSizes ChunkOffset ChunkOffset64 TimeToSampleTable
		SampleGroupDescription SampleToGroup IdependentAndDisposableSamples
		AudioFormat AudioChannels AudioBitsPerSample AudioSampleRate ESDescriptor PurchaseFileFormat
		Unknown_hvcC Unknown_vpcC Unknown_esds Unknown_mp4a Unknown_btrt VideoFieldOrder
		BufferSize MaxBitrate AverageBitrate LayoutFlags AudioChannelTypes NumChannelDescriptions`) {
		structural[name] = true
	}
}

// checkCleaned makes the cleaned copy of a video and holds it to what CleanVideo
// promises: length, nothing of words in it, no tag but structural ones, times of
// zero, and each picture and sound decoded to the same bytes.
func checkCleaned(t *testing.T, path string, words []string) []byte {
	t.Helper()
	b := readFile(t, path)
	clean := cleanedVideo(t, b)
	lower := bytes.ToLower(clean)
	before := bytes.ToLower(b)
	for _, word := range words {
		wide := strings.Join(strings.Split(word, ""), "\x00")
		if !bytes.Contains(before, []byte(word)) {
			t.Errorf("%q is not in the original, so its absence says nothing", word)
		}
		if bytes.Contains(lower, []byte(word)) || bytes.Contains(lower, []byte(wide)) {
			t.Errorf("%q is in the cleaned copy", word)
		}
	}
	out := filepath.Join(t.TempDir(), "clean"+filepath.Ext(path))
	writeFile(t, out, clean)
	var private []string
	for key, value := range exifTool(t, []string{out}, "-ee3", "-u")[out] {
		group, name, _ := strings.Cut(key, ":")
		name, _, _ = strings.Cut(name, " ")
		switch {
		case key == "SourceFile", group == "ExifTool", group == "System", group == "File":
		case group == "Composite" && !strings.HasPrefix(name, "GPS"):
		case strings.HasSuffix(name, "Date"):
			if value != "0000:00:00 00:00:00" {
				private = append(private, fmt.Sprintf("%s = %v", key, value))
			}
		case structural[strings.TrimSuffix(name, "_2")]:
		default:
			private = append(private, fmt.Sprintf("%s = %v", key, value))
		}
	}
	slices.Sort(private)
	if len(private) > 0 {
		t.Errorf("ExifTool finds %q", private)
	}
	for _, kind := range []string{"0:v", "0:a?"} {
		sums := func(path string) string {
			return string(run(t, "ffmpeg", "-nostdin", "-v", "error", "-i", path, "-map", kind, "-f", "framemd5", "-"))
		}
		want, got := sums(path), sums(out)
		if want != got {
			t.Errorf("%s is decoded to something else:\n%.600s\nwant\n%.600s", kind, got, want)
		}
		if kind == "0:v" && strings.Count(want, "\n") < 10 {
			t.Errorf("too few pictures compared: %s", want)
		}
	}
	return clean
}

func cleanedVideo(t *testing.T, b []byte) []byte {
	t.Helper()
	info := mustInspect(t, b)
	section, err := CleanVideo(bytes.NewReader(b), info)
	if err != nil {
		t.Fatal(err)
	}
	clean, err := io.ReadAll(section)
	if err != nil {
		t.Fatal(err)
	}
	if len(clean) != len(b) || section.Size() != int64(len(b)) {
		t.Fatalf("%d bytes, Size %d, of %d", len(clean), section.Size(), len(b))
	}
	again := mustInspect(t, clean)
	again.layout, info.layout = layout{}, layout{}
	info.Exif = Exif{}
	if fmt.Sprintf("%+v", again) != fmt.Sprintf("%+v", info) {
		t.Errorf("Inspect says of the copy\n%+v, want\n%+v", again, info)
	}
	return clean
}

// videoTags are what phones and people write into videos.
var videoTags = []string{
	"-Keys:Make=Ostler", "-Keys:Model=Pocket 4", "-Keys:GPSCoordinates=40.5, -105.25, 1600", "-Keys:CreationDate=2025:06:01 14:30:00-06:00",
	"-Keys:Author=Wilhelmina Quarterdeck", "-Keys:Software=Heron 26", "-Keys:Comment=SN-77123-XK",
	"-UserData:Make=Tolland", "-UserData:GPSCoordinates=40.5, -105.25, 1600", "-ItemList:Comment=key under the mat",
	"-XMP:Creator=Wilhelmina Quarterdeck", "-XMP:City=Tern Hollow",
	"-QuickTime:CreateDate=2025:06:01 20:30:00", "-QuickTime:ModifyDate=2025:06:01 20:30:00",
	"-Track1:TrackCreateDate=2025:06:01 20:30:00", "-Track1:MediaCreateDate=2025:06:01 20:30:00",
}

var videoWords = []string{"ostler", "pocket 4", "tolland", "+40.5", "2025-06-01", "quarterdeck", "heron", "sn-77123", "key under", "tern hollow", "http://ns.adobe.com", "com.apple"}

// TestCleanVideo_NothingPrivate: DESIGN.md, Promise 2, for videos of each kind
// and codec, with tags everywhere ExifTool can write them.
func TestCleanVideo_NothingPrivate(t *testing.T) {
	program(t, "exiftool")
	quick := filmArgs("1")
	for name, c := range map[string]struct {
		path  string
		words []string
	}{
		"H.264 in MOV":    {makeVideo(t, "a.mov", quick, h264Args), []string{"x264", "videohandler", "lavc59.37.100 libx264"}},
		"H.265 in MOV":    {makeVideo(t, "b.mov", quick, h265Args, []string{"-tag:v", "hvc1"}), []string{"x265"}},
		"H.265 in MP4":    {makeVideo(t, "c.mp4", quick, h265Args, []string{"-tag:v", "hev1", "-movflags", "+faststart"}), []string{"x265", "soundhandler"}},
		"B pictures":      {makeVideo(t, "d.mp4", quick, []string{"-c:v", "libx264", "-bf", "3", "-pix_fmt", "yuv420p", "-c:a", "aac"}), []string{"x264"}},
		"plain sound":     {makeVideo(t, "e.mov", quick, h264Args, []string{"-c:a", "pcm_s16le", "-ac", "2"}), nil},
		"one sample rate": {makeVideo(t, "f.mov", quick, h264Args, []string{"-c:a", "adpcm_ima_qt"}), nil},
		"VP9":             {makeVideo(t, "g.mp4", quick, []string{"-c:v", "libvpx-vp9", "-deadline", "realtime", "-c:a", "aac"}), nil},
		"turned":          {turnedVideo(t, makeVideo(t, "h.mov", quick, h264Args), "90"), nil},
		"no sound":        {makeVideo(t, "i.mp4", quick, h264Args, []string{"-an"}), nil},
	} {
		t.Run(name, func(t *testing.T) {
			checkCleaned(t, tagVideo(t, c.path, videoTags...), append(slices.Clone(videoWords), c.words...))
		})
	}
}

// TestCleanVideo_OtherTracks: what is neither picture nor sound goes, with its
// samples: a time code, subtitles, and the same as a camera's timed notes.
func TestCleanVideo_OtherTracks(t *testing.T) {
	dir := t.TempDir()
	subtitles := filepath.Join(dir, "words.srt")
	writeFile(t, subtitles, []byte("1\n00:00:00,000 --> 00:00:01,000\nkey under the mat\n"))
	path := makeVideo(t, "film.mov", filmArgs("1"), []string{"-i", subtitles, "-map", "0", "-map", "1", "-map", "2"}, h264Args,
		[]string{"-c:s", "mov_text", "-timecode", "01:02:03:04"})
	clean := checkCleaned(t, path, []string{"key under", "tmcd", "subtitlehandler"})
	if bytes.Count(clean, []byte("trak")) != 2 {
		t.Errorf("%d tracks are left, want pictures and sound", bytes.Count(clean, []byte("trak")))
	}
	notes := bytes.ReplaceAll(readFile(t, path), []byte("mhlrtext"), []byte("mhlrmeta"))
	notes = bytes.ReplaceAll(notes, []byte("text\x00"), []byte("gpmd\x00"))
	path = filepath.Join(dir, "notes.mov")
	writeFile(t, path, notes)
	checkCleaned(t, path, []string{"key under", "gpmd"})
}

// TestCleanVideo_Leftovers: bytes of mdat that no sample uses, and boxes that
// nothing needs, before, between and behind.
func TestCleanVideo_Leftovers(t *testing.T) {
	b := readFile(t, makeVideo(t, "film.mp4", filmArgs("1"), h264Args))
	mdat := bytes.Index(b, []byte("mdat")) - 4
	size := binary.BigEndian.Uint32(b[mdat:])
	end := mdat + int(size)
	secret := []byte("key under the mat, Quarterdeck")
	with := slices.Concat(b[:end], secret, b[end:])
	binary.BigEndian.PutUint32(with[mdat:], size+uint32(len(secret)))
	for _, kind := range []string{"free", "skip", "uuid", "udta", "meta", "zzzz"} {
		with = append(with, box(kind, []byte("0123456789abcdef"), secret)...)
	}
	path := filepath.Join(t.TempDir(), "film.mp4")
	writeFile(t, path, append(with, "mat"...))
	checkCleaned(t, path, []string{"key under", "quarterdeck", "0123456789abcdef", "zzzz"})
}

// TestCleanVideo_ByHand: each place of the film made by hand, in every layout.
func TestCleanVideo_ByHand(t *testing.T) {
	for name, parts := range map[string]filmParts{
		"plain": {}, "wide": {wideMdat: true}, "open": {openMdat: true}, "co64": {co64: true}, "old": {noBrands: true},
	} {
		b := filmOf(parts)
		clean := cleanedVideo(t, b)
		lower := bytes.ToLower(clean)
		for _, word := range []string{"quarterdeck", "qdck", "ostler", "key under", "40.5"} {
			if !bytes.Contains(bytes.ToLower(b), []byte(word)) {
				t.Fatalf("%s: %q is not in the original", name, word)
			}
			if bytes.Contains(lower, []byte(word)) {
				t.Errorf("%s: %q is left", name, word)
			}
		}
		if n := bytes.Count(clean, []byte{0x65, 0x88, 0x84, 0x00, 0x33}); n != 4 {
			t.Errorf("%s: %d pictures are left of 4", name, n)
		}
	}
	// What a track of notes uses is notes, whoever else uses it.
	if clean := cleanedVideo(t, filmOf(filmParts{shared: true})); bytes.Contains(clean, []byte{0x65, 0x88, 0x84, 0x00, 0x33}) {
		t.Error("samples that are notes too are left")
	}
	elsewhere := filmOf(filmParts{elsewhere: true})
	if _, err := CleanVideo(bytes.NewReader(elsewhere), mustInspect(t, elsewhere)); !errors.Is(err, ErrUnsupported) {
		t.Errorf("samples in another file: %v", err)
	}
	motion := bytes.ReplaceAll(filmOf(filmParts{}), []byte("avc1"), []byte("jpeg"))
	if _, err := CleanVideo(bytes.NewReader(motion), mustInspect(t, motion)); !errors.Is(err, ErrUnsupported) {
		t.Errorf("Motion JPEG, each picture of which may have its own Exif: %v", err)
	}
}

// TestCleanVideo_Ranges: any part read by itself is the same part of the whole,
// by ReadAt and over HTTP (RFC 9110 section 14).
func TestCleanVideo_Ranges(t *testing.T) {
	b := readFile(t, tagVideo(t, makeVideo(t, "film.mov", filmArgs("1"), h264Args), videoTags...))
	want := cleanedVideo(t, b)
	section, err := CleanVideo(bytes.NewReader(b), mustInspect(t, b))
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		off := random.Int64N(int64(len(b)))
		p := make([]byte, random.IntN(4096))
		n, err := section.ReadAt(p, off)
		if want := want[off:min(int(off)+len(p), len(want))]; !bytes.Equal(p[:n], want) || err != nil && err != io.EOF {
			t.Fatalf("%d bytes at %d: %d, %v", len(p), off, n, err)
		}
	}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		http.ServeContent(w, r, "film.mov", time.Time{}, section)
	}))
	defer server.Close()
	request, err := http.NewRequestWithContext(t.Context(), http.MethodGet, server.URL, nil)
	if err != nil {
		t.Fatal(err)
	}
	request.Header.Set("Range", "bytes=1000-50999")
	response, err := server.Client().Do(request)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	got, err := io.ReadAll(response.Body)
	if err != nil || response.StatusCode != http.StatusPartialContent || !bytes.Equal(got, want[1000:51000]) {
		t.Errorf("%s, %d bytes, %v", response.Status, len(got), err)
	}
}

// TestClearUserData: what a decoder reads of a unit of messages keeps its length
// and its other messages. Source of the form: ITU-T H.264 7.3.2.3, from memory.
func TestClearUserData(t *testing.T) {
	for name, c := range map[string]struct{ in, want string }{
		"text":                    {"\x05\x04ABCD\x80", "\x05\x04\xff\xff\xff\xff\x80"},
		"another message":         {"\x06\x04ABCD\x80", "\x06\x04ABCD\x80"},
		"one, text, one":          {"\x06\x01A\x05\x02BC\x01\x02DE\x80", "\x06\x01A\x05\x02\xff\xff\x01\x02DE\x80"},
		"zeros kept apart":        {"\x05\x04A\x00\x00\x03\x01\x06\x01B\x80", "\x05\x04\xff\x00\x00\x03\xff\x06\x01B\x80"},
		"longer than 255":         {"\x05\xff\x01" + strings.Repeat("A", 256) + "\x06\x01B\x80", "\x05\xff\x01" + strings.Repeat("\xff", 256) + "\x06\x01B\x80"},
		"text that ends too soon": {"\x05\x09ABCD", "\x05\x09\xff\xff\xff\xff"},
		"nothing":                 {"", ""},
	} {
		b := []byte(c.in)
		changed := clearUserData(b)
		if string(b) != c.want || changed != (c.in != c.want) {
			t.Errorf("%s: %x, changed %v, want %x", name, b, changed, c.want)
		}
	}
}

// TestSpans: adding up and taking away parts of a file.
func TestSpans(t *testing.T) {
	for _, c := range []struct{ all, holes, want []span }{
		{[]span{{0, 10}}, nil, []span{{0, 10}}},
		{[]span{{5, 10}, {0, 5}, {20, 30}}, []span{{8, 22}}, []span{{0, 8}, {22, 30}}},
		{[]span{{0, 10}, {20, 30}}, []span{{0, 100}}, nil},
		{[]span{{0, 10}, {20, 30}}, []span{{10, 20}}, []span{{0, 10}, {20, 30}}},
		{[]span{{0, 100}}, []span{{10, 20}, {30, 40}}, []span{{0, 10}, {20, 30}, {40, 100}}},
		{[]span{{0, 5}, {3, 9}}, []span{{4, 5}}, []span{{0, 4}, {5, 9}}},
	} {
		if got := without(union(slices.Clone(c.all)), union(slices.Clone(c.holes))); !slices.Equal(got, c.want) {
			t.Errorf("%v without %v = %v, want %v", c.all, c.holes, got, c.want)
		}
	}
}
