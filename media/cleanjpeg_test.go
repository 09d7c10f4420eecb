package media

import (
	"bytes"
	"compress/zlib"
	"context"
	"errors"
	"image"
	"io"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// cleanedJPEG makes the clean copy of a JPEG and holds it to what CleanJPEG
// promises: the same pixels, size and turn, nothing behind the end, no other
// profile than the original's, and the same again from the copy.
func cleanedJPEG(t *testing.T, b []byte) []byte {
	t.Helper()
	info := mustInspect(t, b)
	section, err := CleanJPEG(bytes.NewReader(b), info)
	if err != nil {
		t.Fatal(err)
	}
	clean, err := io.ReadAll(section)
	if err != nil || int64(len(clean)) != section.Size() {
		t.Fatalf("%d bytes of %d, %v", len(clean), section.Size(), err)
	}
	again := mustInspect(t, clean)
	if again.Width != info.Width || again.Height != info.Height || again.Orientation != info.Orientation {
		t.Errorf("the copy is %d x %d, turned %d, of %d x %d, turned %d", again.Width, again.Height, again.Orientation, info.Width, info.Height, info.Orientation)
	}
	want := Exif{}
	if info.Orientation != 1 {
		want.Orientation = info.Orientation
	}
	if again.Exif != want {
		t.Errorf("the copy says %+v", again.Exif)
	}
	if !bytes.HasSuffix(clean, []byte{0xff, markerEOI}) {
		t.Errorf("the copy ends in %x", clean[len(clean)-2:])
	}
	if !reflect.DeepEqual(decodeJPEG(t, clean), decodeJPEG(t, b)) {
		t.Error("the copy has other pixels")
	}
	twice, err := CleanJPEG(bytes.NewReader(clean), again)
	if err != nil {
		t.Fatal(err)
	}
	if second, err := io.ReadAll(twice); err != nil || !bytes.Equal(second, clean) {
		t.Errorf("the copy's copy differs, %v", err)
	}
	var full bytes.Buffer
	if err := FullSize(t.Context(), bytes.NewReader(b), info, &full); err != nil || !bytes.Equal(full.Bytes(), clean) {
		t.Errorf("FullSize writes something else, %v", err)
	}
	return clean
}

// onlyToShow says whether a tag of ExifTool's is about how to show a JPEG.
func onlyToShow(key string, value any) bool {
	group, name, _ := strings.Cut(key, ":")
	switch {
	case key == "SourceFile", group == "ExifTool", group == "System", group == "Composite", strings.HasPrefix(group, "ICC"):
		return true
	case group == "File":
		return name != "Comment" && name != "ExifByteOrder" || value == "MM"
	case group == "JFIF", group == "Adobe":
		return !strings.Contains(name, "Thumbnail") && !strings.Contains(name, "Image")
	}
	return key == "IFD0:Orientation"
}

// checkToShow has ExifTool look for anything else in clean JPEGs.
func checkToShow(t *testing.T, paths []string) {
	t.Helper()
	for path, tags := range exifTool(t, paths, "-u", "-ee") {
		var more []string
		for key, value := range tags {
			if !onlyToShow(key, value) {
				more = append(more, key)
			}
		}
		slices.Sort(more)
		if len(more) > 0 {
			t.Errorf("%s: ExifTool finds %q", filepath.Base(path), more)
		}
	}
}

// TestCleanJPEG_Samples: the "private" strings of truth.json, cameras, dates, in
// clean copies of real photos with maker notes, IPTC, XMP, thumbnails, previews.
func TestCleanJPEG_Samples(t *testing.T) {
	if plainly(t) {
		return
	}
	folder, rows := truth(t)
	program(t, "exiftool")
	dir := t.TempDir()
	var paths []string
	for _, row := range rows {
		name := filepath.Base(row.File)
		b := readFile(t, filepath.Join(folder, row.File))
		if row.FileType != "JPEG" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			clean := cleanedJPEG(t, b)
			words := []string{"http://ns.adobe.com", "photoshop 3.0", "mpf\x00", "jfxx\x00"}
			for _, private := range row.Private {
				_, value, ok := strings.Cut(private, "=")
				if !ok {
					t.Fatalf("truth.json: private %q has no value", private)
				}
				words = append(words, value)
			}
			for _, word := range []string{text(row.DateTimeOriginal), text(row.Model)} {
				if len(word) > 4 { // shorter ones occur by chance
					words = append(words, word)
				}
			}
			lower := bytes.ToLower(clean)
			for _, word := range words {
				wide := strings.Join(strings.Split(word, ""), "\x00")
				if bytes.Contains(lower, []byte(strings.ToLower(word))) || bytes.Contains(lower, []byte(strings.ToLower(wide))) {
					t.Errorf("%q is in it", word)
				}
			}
			path := filepath.Join(dir, name)
			writeFile(t, path, clean)
			paths = append(paths, path)
		})
	}
	if len(paths) < 30 {
		t.Fatalf("%d JPEGs only", len(paths))
	}
	checkToShow(t, paths)
}

// TestCleanJPEG_Written: what ExifTool writes, in each orientation, with a
// comment, and pictures behind the end; baseline, progressive with data between
// scans, restart markers, and fill bytes.
func TestCleanJPEG_Written(t *testing.T) {
	program(t, "exiftool")
	plain := encodeJPEG(t, photo(61, 40))
	note := []byte("\xff\xfe\x00\x0dQuarterdeck")
	progressive := convert(t, encodePNG(t, photo(61, 40)), "png", "jpg", "-interlace", "JPEG", "-quality", "80")
	scan := bytes.LastIndex(progressive, []byte{0xff, markerSOS})
	between := slices.Concat(progressive[:scan], note, []byte{0xff, 0xff, 0xff}, progressive[scan:])
	restarts := convert(t, encodePNG(t, photo(61, 40)), "png", "jpg", "-define", "jpeg:restart-interval=2", "-sampling-factor", "2x2")
	inks := convert(t, encodePNG(t, photo(61, 40)), "png", "jpg", "-colorspace", "CMYK")
	grey := convert(t, encodePNG(t, photo(61, 40)), "png", "jpg", "-colorspace", "Gray")
	tags := append(append([]string{"-Comment=Quarterdeck", "-IPTC:City=Tern Hollow"}, phoneTags...), privateTags...)
	var files []tagged
	for name, b := range map[string][]byte{"plain": plain, "between": between, "restarts": restarts, "inks": inks, "grey": grey,
		"profile": segmentAt(plain, profileSegments(Info{layout: layout{icc: profileFor("RGB ", 70000)}}, pixels{rgb: true}))} {
		files = append(files, tagged{name, "jpg", b, tags})
	}
	for orientation := range 9 {
		files = append(files, tagged{string(rune('0' + orientation)), "jpg", plain, append(slices.Clone(tags), "-Orientation#="+string(rune('0'+orientation)))})
	}
	dir := t.TempDir()
	var paths []string
	for name, path := range writeTags(t, files...) {
		b := readFile(t, path)
		if !bytes.Contains(bytes.ToLower(b), []byte("quarterdeck")) {
			t.Fatalf("%s: the original does not hold what is looked for", name)
		}
		b = append(append(b, plain...), "key under the mat"...) // as MPF has further pictures
		clean := cleanedJPEG(t, b)
		for _, word := range privateWords {
			// Six bytes "Exif\0\0" are before the orientation.
			if word != "exif\x00" && bytes.Contains(bytes.ToLower(clean), []byte(word)) {
				t.Errorf("%s: %q is in it", name, word)
			}
		}
		if name == "profile" && !bytes.Equal(mustInspect(t, clean).layout.icc, mustInspect(t, b).layout.icc) {
			t.Error("the profile is another")
		}
		out := filepath.Join(dir, name+".jpg")
		writeFile(t, out, clean)
		paths = append(paths, out)
	}
	checkToShow(t, paths)
}

// TestCleanJPEG_JFIFThumbnail: a thumbnail within the JFIF header (ITU-T T.871
// section 10.1) goes, the density stays.
func TestCleanJPEG_JFIFThumbnail(t *testing.T) {
	thumbnail := bytes.Repeat([]byte("Quarterdeck!"), 4) // 4 x 4 pixels
	header := append([]byte("\xff\xe0\x00\x40JFIF\x00\x01\x02\x01\x00\x48\x00\x48\x04\x04"), thumbnail...)
	b := segmentAt(encodeJPEG(t, photo(61, 40)), header)
	clean := cleanedJPEG(t, b)
	if bytes.Contains(clean, []byte("Quarterdeck")) {
		t.Error("the thumbnail is left")
	}
	if !bytes.HasPrefix(clean, []byte("\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x02\x01\x00\x48\x00\x48\x00\x00")) {
		t.Errorf("the header is %x", clean[:20])
	}
}

func TestCleanJPEG_Refused(t *testing.T) {
	if _, err := CleanJPEG(bytes.NewReader(nil), Info{Kind: PNG}); !errors.Is(err, ErrUnsupported) {
		t.Errorf("PNG: %v", err)
	}
	b := encodeJPEG(t, photo(61, 40))
	info := mustInspect(t, b)
	for n := range len(b) - 1 {
		if _, err := CleanJPEG(bytes.NewReader(b[:n]), info); !errors.Is(err, ErrTruncated) {
			t.Fatalf("cut to %d bytes since: %v", n, err)
		}
	}
}

// TestFullSize: other kinds become JPEGs of full size, upright, near to what
// ImageMagick decodes, with nothing private and their RGB profile.
func TestFullSize(t *testing.T) {
	program(t, "exiftool")
	tags := append(append([]string{}, phoneTags...), privateTags...)
	var files []tagged
	for ext, base := range bases(t) {
		files = append(files, tagged{ext, ext, base, append(slices.Clone(tags), "-Orientation#=1")}, tagged{ext + "6", ext, base, tags})
	}
	check := privacyCheck{dir: t.TempDir(), seen: map[string]bool{}}
	for name, path := range writeTags(t, files...) {
		if strings.HasPrefix(name, "jpg") {
			continue
		}
		b := readFile(t, path)
		info := mustInspect(t, b)
		var out bytes.Buffer
		if err := FullSize(t.Context(), bytes.NewReader(b), info, &out); err != nil {
			t.Fatal(err)
		}
		check.add(t, name, Derivative{JPEG: out.Bytes()}, privateWords)
		got := mustInspect(t, out.Bytes())
		if got.Width != info.Width || got.Height != info.Height || got.Orientation != 1 || got.Exif != (Exif{}) {
			t.Errorf("%s: %+v", name, got)
		}
		want := decodeJPEG(t, convert(t, b, filepath.Ext(path)[1:], "jpg", append(turnArgs[info.Orientation], "-quality", "100")...))
		if d := meanDifference(t, decodeJPEG(t, out.Bytes()), want); d > 4 {
			t.Errorf("%s: %.2f of 255 from ImageMagick's", name, d)
		}
	}
	check.exifTool(t)
	clear := image.NewNRGBA(image.Rect(0, 0, 8, 8)) // all transparent
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write(profileFor("RGB ", 100)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	b := withChunk(encodePNG(t, clear), "iCCP", append([]byte("icc\x00\x00"), packed.Bytes()...))
	var out bytes.Buffer
	if err := FullSize(t.Context(), bytes.NewReader(b), mustInspect(t, b), &out); err != nil {
		t.Fatal(err)
	}
	if r, _, _, _ := decodeJPEG(t, out.Bytes()).At(4, 4).RGBA(); r != 0xffff {
		t.Errorf("transparency is %x, want white", r)
	}
	if !bytes.Equal(extractProfile(t, out.Bytes()), mustInspect(t, b).layout.icc) {
		t.Error("the profile is another")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := FullSize(ended, bytes.NewReader(b), mustInspect(t, b), io.Discard); !errors.Is(err, context.Canceled) {
		t.Errorf("ended: %v", err)
	}
	if err := FullSize(t.Context(), bytes.NewReader(b), Info{Kind: MP4}, io.Discard); !errors.Is(err, ErrUnsupported) {
		t.Errorf("video: %v", err)
	}
}

// TestFullSize_HEIC: a phone's photo at full size, with the colours that the
// derivative has, and nothing of its Exif.
func TestFullSize_HEIC(t *testing.T) {
	if plainly(t) {
		return
	}
	if testing.Short() {
		t.Skip("skipped: decoding takes seconds")
	}
	folder := cameraFolder(t)
	program(t, "exiftool")
	b := readFile(t, filepath.Join(folder, "files", "offset__IMG_2927.HEIC"))
	info := mustInspect(t, b)
	var out bytes.Buffer
	if err := FullSize(t.Context(), bytes.NewReader(b), info, &out); err != nil {
		t.Fatal(err)
	}
	got := mustInspect(t, out.Bytes())
	if got.Width != info.Width || got.Height != info.Height || got.Orientation != 1 || got.Exif != (Exif{}) {
		t.Errorf("%+v of %+v", got, info)
	}
	full, shown := meanColour(decodeJPEG(t, out.Bytes())), meanColour(decodeJPEG(t, deriveAll(t, b)[320].JPEG))
	for i := range full {
		if d := full[i] - shown[i]; d < -2 || d > 2 {
			t.Errorf("mean colour %v, the derivative's is %v", full, shown)
		}
	}
	check := privacyCheck{dir: t.TempDir(), seen: map[string]bool{}}
	check.add(t, "heic", Derivative{JPEG: out.Bytes()}, []string{info.Exif.Model, info.Exif.DateTimeOriginal, "exif\x00"})
	check.exifTool(t)
}

// turnArgs has ImageMagick turn upright what it decodes.
var turnArgs = map[int][]string{1: nil, 6: {"-rotate", "90"}}

// FuzzCleanJPEG: what Inspect takes can be cleaned, and Inspect takes the copy.
func FuzzCleanJPEG(f *testing.F) {
	for _, b := range seedFiles(f) {
		if bytes.HasPrefix(b, []byte("\xff\xd8")) {
			f.Add(b)
		}
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		info, err := inspectBytes(b)
		if err != nil || info.Kind != JPEG {
			return
		}
		section, err := CleanJPEG(bytes.NewReader(b), info)
		if err != nil {
			t.Fatal(err)
		}
		clean, err := io.ReadAll(section)
		if err != nil {
			t.Fatal(err)
		}
		again, err := inspectBytes(clean)
		if err != nil {
			t.Fatalf("the copy: %v", err)
		}
		if again.Width != info.Width || again.Height != info.Height || again.Orientation != info.Orientation {
			t.Errorf("%+v of %+v", again, info)
		}
	})
}
