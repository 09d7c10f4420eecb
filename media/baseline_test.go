package media

import (
	"bytes"
	"fmt"
	"image"
	"image/jpeg"
	"path/filepath"
	"testing"
)

// planesApart compares two pictures of one type and size, sample by sample.
func planesApart(tb testing.TB, a, b image.Image) (most int, mean float64) {
	tb.Helper()
	if a.Bounds() != b.Bounds() || fmt.Sprintf("%T", a) != fmt.Sprintf("%T", b) {
		tb.Fatalf("%T of %v and %T of %v", a, a.Bounds(), b, b.Bounds())
	}
	of := func(img image.Image) []plane {
		switch img := img.(type) {
		case *image.YCbCr:
			p := planesOf(img)
			return append([]plane{p.luma}, p.chroma...)
		case *image.Gray:
			return []plane{greyPlane(img).luma}
		}
		tb.Fatalf("%T", img)
		return nil
	}
	pa, pb := of(a), of(b)
	sum, n := 0, 0
	for i := range pa {
		if pa[i].width != pb[i].width || pa[i].height != pb[i].height {
			tb.Fatalf("plane %d: %d x %d and %d x %d", i, pa[i].width, pa[i].height, pb[i].width, pb[i].height)
		}
		for y := range pa[i].height {
			for x := range pa[i].width {
				d := int(pa[i].pix[y*pa[i].stride+x]) - int(pb[i].pix[y*pb[i].stride+x])
				d = max(d, -d)
				most, sum, n = max(most, d), sum+d, n+1
			}
		}
	}
	return most, float64(sum) / float64(n)
}

// sampledJPEGs are files of every subsampling, and with restart markers, by
// ImageMagick (and libjpeg in it).
func sampledJPEGs(tb testing.TB) map[string][]byte {
	tb.Helper()
	out := map[string][]byte{}
	source := encodePNG(tb, photo(203, 157))
	for _, factor := range []string{"1x1", "2x1", "1x2", "2x2", "4x1", "4x2"} {
		out[factor] = convert(tb, source, "png", "jpg", "-sampling-factor", factor, "-quality", "90")
	}
	out["grey"] = convert(tb, source, "png", "jpg", "-colorspace", "Gray")
	out["quality 100"] = convert(tb, source, "png", "jpg", "-quality", "100")
	out["quality 5"] = convert(tb, source, "png", "jpg", "-quality", "5")
	out["restarts"] = convert(tb, source, "png", "jpg", "-define", "jpeg:restart-interval=3")
	return out
}

// TestBaseline_AsImageJPEG holds the decoder against image/jpeg, whose transform
// rounds in other places: no sample more than 2 of 255 apart. It must also take
// most files, or it would be for nothing.
func TestBaseline_AsImageJPEG(t *testing.T) {
	if plainly(t) {
		return
	}
	files := sampledJPEGs(t)
	files["one pixel"] = encodeJPEG(t, photo(1, 1))
	files["noise"] = encodeJPEG(t, bigPhoto(300, 200))
	if folder := findCamera(t); folder != "" {
		paths, err := filepath.Glob(filepath.Join(folder, "files", "*.jpg"))
		if err != nil {
			t.Fatal(err)
		}
		for _, path := range paths {
			files[filepath.Base(path)] = readFile(t, path)
		}
	}
	taken := 0
	for name, b := range files {
		ours, err := decodeBaseline(bytes.NewReader(b))
		if err != nil {
			t.Logf("%s is left to image/jpeg", name)
			continue
		}
		taken++
		theirs, err := jpeg.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatalf("%s: image/jpeg refuses it: %v", name, err)
		}
		most, mean := planesApart(t, ours, theirs)
		if most > 2 || mean > 0.05 {
			t.Errorf("%s: up to %d apart, %.4f on average", name, most, mean)
		}
	}
	t.Logf("%d of %d files taken", taken, len(files))
	if taken < len(files)*3/4 {
		t.Errorf("only %d of %d files taken", taken, len(files))
	}
}

// FuzzBaseline: what this decoder takes, image/jpeg takes too and sees alike.
func FuzzBaseline(f *testing.F) {
	for _, b := range seedFiles(f) {
		f.Add(b)
	}
	f.Add(encodeJPEG(f, image.NewGray(image.Rect(0, 0, 9, 7))))
	f.Add(encodeJPEG(f, bigPhoto(40, 30)))
	f.Fuzz(func(t *testing.T, b []byte) {
		config, err := jpeg.DecodeConfig(bytes.NewReader(b))
		if err != nil || config.Width*config.Height > 1<<16 {
			return
		}
		ours, err := decodeBaseline(bytes.NewReader(b))
		if err != nil {
			return
		}
		theirs, err := jpeg.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatalf("image/jpeg refuses it: %v", err)
		}
		if ours.Bounds() != theirs.Bounds() {
			t.Fatalf("%v and %v", ours.Bounds(), theirs.Bounds())
		}
	})
}
