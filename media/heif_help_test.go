package media

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/png"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// heifItem is an item of a HEIC that a test puts together.
type heifItem struct {
	kind       string // "hvc1", "grid"
	properties [][]byte
	data       []byte
}

// heicFile makes a HEIC of items, numbered from 1, whose data follow the meta
// box, in the way ISO/IEC 23008-12 and 14496-12 say (from memory). references
// are the boxes of iref.
func heicFile(primary int, items []heifItem, references ...[]byte) []byte {
	var infos, properties, assigned [][]byte
	infos = append(infos, be32(0), be16(len(items)))
	assigned = append(assigned, be32(0), be32(len(items)))
	for i, item := range items {
		hidden := 0
		if i+1 != primary {
			hidden = 1
		}
		infos = append(infos, box("infe", be32(2<<24|hidden), be16(i+1), be16(0), []byte(item.kind+"\x00")))
		assigned = append(assigned, be16(i+1), []byte{byte(len(item.properties))})
		for _, p := range item.properties {
			properties = append(properties, p)
			assigned = append(assigned, []byte{0x80 | byte(len(properties))}) // essential
		}
	}
	head := func(at int) []byte {
		where := [][]byte{be32(0), be16(0x4400), be16(len(items))}
		for i, item := range items {
			where = append(where, be16(i+1), be16(0), be16(1), be32(at), be32(len(item.data)))
			at += len(item.data)
		}
		return append(box("ftyp", []byte("heic"), be32(0), []byte("mif1heic")), box("meta", be32(0),
			box("hdlr", be32(0), be32(0), []byte("pict"), make([]byte, 13)),
			box("pitm", be32(0), be16(primary)),
			box("iinf", infos...),
			box("iref", append([][]byte{be32(0)}, references...)...),
			box("iprp", box("ipco", properties...), box("ipma", assigned...)),
			box("iloc", where...))...)
	}
	var data [][]byte
	for _, item := range items {
		data = append(data, item.data)
	}
	return append(head(len(head(0))+8), box("mdat", data...)...)
}

// coded is a picture coded by heif-enc as an item, with its size and decoder
// configuration as properties.
func coded(tb testing.TB, img image.Image, args ...string) heifItem {
	tb.Helper()
	b := heifEnc(tb, encodePNG(tb, img), args...)
	start, end, err := findMeta(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		tb.Fatal(err)
	}
	m, err := readMeta(b[start:end])
	if err != nil {
		tb.Fatal(err)
	}
	item := heifItem{kind: "hvc1"}
	for _, p := range m.propertiesOf(m.primary) {
		if kind := string(p.kind); kind == "ispe" || kind == "hvcC" {
			item.properties = append(item.properties, box(kind, p.data))
		}
	}
	for _, e := range m.extents[m.primary] {
		item.data = append(item.data, b[e.off:e.off+e.length]...)
	}
	return item
}

// heifEnc encodes a PNG with Debian's heif-enc, at high quality.
func heifEnc(tb testing.TB, pngBytes []byte, args ...string) []byte {
	tb.Helper()
	dir := tb.TempDir()
	in, out := filepath.Join(dir, "in.png"), filepath.Join(dir, "out.heic")
	writeFile(tb, in, pngBytes)
	run(tb, "heif-enc", append(append([]string{"-q", "95"}, args...), in, "-o", out)...)
	return readFile(tb, out)
}

// heifConvert is what Debian's heif-convert, which is not the decoder used here
// but of the same makers, shows of a HEIC.
func heifConvert(tb testing.TB, b []byte) image.Image {
	tb.Helper()
	dir := tb.TempDir()
	in, out := filepath.Join(dir, "in.heic"), filepath.Join(dir, "out.png")
	writeFile(tb, in, b)
	args := []string{"-background", "white", "-flatten", "-strip", "-depth", "8", "PNG32:-"}
	if info := mustInspect(tb, b); max(info.Width, info.Height) > LongEdges[0] { // the size of its largest derivative, and a quicker format
		out = filepath.Join(dir, "out.jpg")
		args = append([]string{"-filter", "Lanczos", "-resize", "2048x2048"}, args...)
	}
	run(tb, "heif-convert", "-q", "98", in, out)
	flat := run(tb, "convert", append([]string{out}, args...)...)
	img, err := png.Decode(bytes.NewReader(flat))
	if err != nil {
		tb.Fatal(err)
	}
	return img
}

// sampleHEICs are real HEIC files found beside the project and in the test data
// of a Go module in the module cache; by name.
func sampleHEICs(tb testing.TB) map[string][]byte {
	tb.Helper()
	var patterns []string
	if folder := findCamera(tb); folder != "" {
		patterns = append(patterns, filepath.Join(folder, "files", "*.[hH][eE][iI][cC]"))
	}
	if out, err := exec.Command("go", "env", "GOMODCACHE").Output(); err == nil {
		patterns = append(patterns, filepath.Join(strings.TrimSpace(string(out)), "github.com/gen2brain/heic@v0.4.5/testdata/*.heic"))
	}
	out := map[string][]byte{}
	for _, pattern := range patterns {
		paths, err := filepath.Glob(pattern)
		if err != nil {
			tb.Fatal(err)
		}
		for _, path := range paths {
			out[filepath.Base(path)] = readFile(tb, path)
		}
	}
	if len(out) == 0 {
		tb.Skip("skipped: no HEIC samples beside the project or in the module cache")
	}
	return out
}

// gridOf makes a grid item of columns by rows tiles (ISO/IEC 23008-12 section
// 6.6.2.3.2, from memory), shown at this size.
func gridOf(columns, rows, width, height int) heifItem {
	data := []byte{0, 1, byte(rows - 1), byte(columns - 1)}
	data = binary.BigEndian.AppendUint32(data, uint32(width))
	data = binary.BigEndian.AppendUint32(data, uint32(height))
	return heifItem{kind: "grid", data: data, properties: [][]byte{box("ispe", be32(0), be32(width), be32(height))}}
}

// madeOf is the reference from an item to the items it is made of.
func madeOf(item int, of ...int) []byte {
	out := [][]byte{be16(item), be16(len(of))}
	for _, n := range of {
		out = append(out, be16(n))
	}
	return box("dimg", out...)
}
