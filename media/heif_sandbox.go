package media

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/rand"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
)

// heifWASM is libheif with libde265, see heif/README.md.
//
//go:embed heif/heif.wasm.gz
var heifWASM []byte

// Numbers of libheif's heif_colorspace and heif_chroma (libheif/heif.h 1.18).
const (
	heifYCbCr = 0
	heifRGB   = 1
	heifGrey  = 2

	heif420 = 1
	heif422 = 2
	heif444 = 3
)

// heifDecoder runs the decoder in memory of its own, which it cannot leave.
type heifDecoder struct {
	module                 api.Module
	malloc, free, decodeFn api.Function
}

// newHEIFDecoder starts a decoder that takes at most so many bytes. It is for a
// process that ends when it is done: nothing is closed.
func newHEIFDecoder(ctx context.Context, bytesMax int64) (*heifDecoder, error) {
	zipped, err := gzip.NewReader(bytes.NewReader(heifWASM))
	if err != nil {
		return nil, err
	}
	code, err := io.ReadAll(zipped)
	if err != nil {
		return nil, err
	}
	const page = 64 << 10
	config := wazero.NewRuntimeConfig().
		WithMemoryLimitPages(uint32((bytesMax + page - 1) / page)).
		WithMemoryCapacityFromMax(true) // or it is copied whenever it grows
	if cache := compiledCache(); cache != nil {
		config = config.WithCompilationCache(cache)
	}
	runtime := wazero.NewRuntimeWithConfig(ctx, config)
	if _, err := wasi_snapshot_preview1.Instantiate(ctx, runtime); err != nil {
		return nil, err
	}
	// No files, no arguments, no environment, no clock: only what it is given.
	module, err := runtime.InstantiateWithConfig(ctx, code, wazero.NewModuleConfig().WithStartFunctions("_initialize").WithStderr(os.Stderr))
	if err != nil {
		return nil, err
	}
	d := &heifDecoder{module, module.ExportedFunction("malloc"), module.ExportedFunction("free"), module.ExportedFunction("decode")}
	if d.malloc == nil || d.free == nil || d.decodeFn == nil {
		return nil, errors.New("the decoder lacks a function")
	}
	return d, nil
}

// compiledCache keeps the decoder's machine code in the user's cache folder,
// which saves more than a second of each decoding; nil if there is no such
// folder that only this user can write to: what lies there is run.
func compiledCache() wazero.CompilationCache {
	base, err := os.UserCacheDir()
	if err != nil {
		return nil
	}
	dir := filepath.Join(base, "farbay", "heic-decoder")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil
	}
	for _, d := range []string{base, filepath.Dir(dir), dir} {
		if !ownAlone(d) {
			return nil
		}
	}
	cache, err := wazero.NewCompilationCacheWithDir(dir)
	if err != nil {
		return nil
	}
	return cache
}

// heifImage is a decoded image that lies in the decoder's memory until its next
// decode.
type heifImage struct {
	form, chroma  uint32
	width, height int
	premultiplied bool
	// deep is how many bits grey has over 8, which the decoder leaves it; its
	// samples then take two bytes, little-endian.
	deep   int
	pix    []byte
	planes []heifPlane
}

type heifPlane struct{ start, stride int }

// decode decodes the primary image of a file, which has so many bits of luma.
func (d *heifDecoder) decode(ctx context.Context, file []byte, depth int) (*heifImage, error) {
	in, err := d.put(ctx, file)
	if err != nil {
		return nil, err
	}
	defer d.free.Call(ctx, in)
	const numbers = 5
	answers, err := d.put(ctx, make([]byte, 4*numbers))
	if err != nil {
		return nil, err
	}
	ask := func(sizeOnly, out uint64) ([numbers]uint32, error) {
		var n [numbers]uint32
		result, err := d.decodeFn.Call(ctx, in, uint64(len(file)), sizeOnly, answers, answers+4, answers+8, answers+12, answers+16, out)
		if err != nil {
			return n, err
		}
		if len(result) != 1 || uint32(result[0]) == 0 {
			return n, errors.New("the decoder refuses the file")
		}
		for i := range n {
			var ok bool
			if n[i], ok = d.module.Memory().ReadUint32Le(uint32(answers) + uint32(4*i)); !ok {
				return n, errors.New("an answer outside the decoder's memory")
			}
		}
		return n, nil
	}
	n, err := ask(1, 0)
	if err != nil {
		return nil, err
	}
	if n[0] == 0 || n[1] == 0 || uint64(n[0])*uint64(n[1]) > MaxHEICPixels {
		return nil, fmt.Errorf("an image of %d x %d", n[0], n[1])
	}
	image := &heifImage{width: int(n[0]), height: int(n[1]), form: n[2], chroma: n[3], premultiplied: n[4] == 1}
	if image.form == heifGrey {
		image.deep = depth - 8
	}
	size, err := image.place()
	if err != nil {
		return nil, err
	}
	// The decoder copies whole planes at the distances it has, unasked. A mark at
	// the end shows whether it wrote as much as was expected: less, and the mark
	// is whole; more, and what stands behind is not.
	const mark = 64
	pattern := make([]byte, mark)
	if _, err := rand.Read(pattern); err != nil {
		return nil, err
	}
	out, err := d.malloced(ctx, size+mark/2)
	if err != nil {
		return nil, err
	}
	defer d.free.Call(ctx, out)
	at := uint32(out) + uint32(size) - mark/2
	if !d.module.Memory().Write(at, pattern) {
		return nil, errors.New("no room for the pixels")
	}
	if again, err := ask(0, out); err != nil {
		return nil, err
	} else if again != n {
		return nil, fmt.Errorf("announced as %v, decoded as %v", n, again)
	}
	pix, ok := d.module.Memory().Read(uint32(out), uint32(size+mark/2))
	if !ok {
		return nil, errors.New("pixels outside the decoder's memory")
	}
	if bytes.Equal(pix[size-mark/2:size], pattern[:mark/2]) || !bytes.Equal(pix[size:], pattern[mark/2:]) {
		return nil, errors.New("the coded image is not as large as the file says")
	}
	image.pix = pix[:size]
	return image, nil
}

// place says where decode will put the planes, and how many bytes they take.
//
// Source: libheif 1.18 pixelimage.cc, ImagePlane::alloc: planes are at least 64
// pixels wide, of an even number, and rows a multiple of 16 bytes.
func (i *heifImage) place() (size int, err error) {
	stride := func(width, bytes int) int { return (max(64, (width+1)&^1)*bytes + 15) &^ 15 }
	add := func(width, height, bytes int) {
		s := stride(width, bytes)
		i.planes = append(i.planes, heifPlane{size, s})
		size += s * height
	}
	switch {
	case i.form == heifGrey && i.deep > 0:
		add(i.width, i.height, 2)
	case i.form == heifGrey:
		add(i.width, i.height, 1)
	case i.form == heifRGB:
		add(i.width, i.height, 4)
	case i.form == heifYCbCr && i.chroma >= heif420 && i.chroma <= heif444:
		for _, plane := range (childHead{form: heifYCbCr, chroma: i.chroma, width: i.width, height: i.height}).rows() {
			add(plane[0], plane[1], 1)
		}
	default:
		return 0, fmt.Errorf("colours of form %d, %d", i.form, i.chroma)
	}
	return size, nil
}

// writeRows writes the first planes, so many bytes of so many rows of each.
func (i *heifImage) writeRows(w io.Writer, rows [][2]int) error {
	for n, r := range rows {
		p := i.planes[n]
		var packed []byte
		for y := range r[1] {
			row := i.pix[p.start+y*p.stride:][:p.stride]
			for x := 0; i.deep > 0 && x < r[0]; x++ { // to 8 bits, to nearest, in place
				v := int(row[2*x]) + int(row[2*x+1])<<8
				row[x] = uint8(min(255, (v+1<<(i.deep-1))>>i.deep))
			}
			packed = append(packed, row[:r[0]]...)
			if len(packed) >= 1<<16 || y == r[1]-1 {
				if _, err := w.Write(packed); err != nil {
					return err
				}
				packed = packed[:0]
			}
		}
	}
	return nil
}

// put copies b into the decoder's memory.
func (d *heifDecoder) put(ctx context.Context, b []byte) (uint64, error) {
	at, err := d.malloced(ctx, len(b))
	if err != nil {
		return 0, err
	}
	if !d.module.Memory().Write(uint32(at), b) {
		return 0, errors.New("no room for the file")
	}
	return at, nil
}

func (d *heifDecoder) malloced(ctx context.Context, n int) (uint64, error) {
	result, err := d.malloc.Call(ctx, uint64(n))
	if err != nil {
		return 0, err
	}
	if len(result) != 1 || uint32(result[0]) == 0 {
		return 0, fmt.Errorf("no room for %d bytes", n)
	}
	return uint64(uint32(result[0])), nil
}
