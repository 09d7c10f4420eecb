package media

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"io"
	"os"
	"os/exec"
	"time"
)

// ErrNoChild: the program does not call [RunChild], so it cannot decode HEIC.
var ErrNoChild = errors.New("this program cannot decode HEIC: it does not call media.RunChild")

// errChildTime: a child was ended because it took too long, on a machine that
// may have been busy. Trying again may work.
var errChildTime = errors.New("decoding the HEIC took too long")

// heifTurn is held by the one HEIC that is decoded: each takes as much memory
// as several JPEGs.
var heifTurn = make(chan struct{}, 1)

// decodeHEIC decodes a photo in a process of its own, so that whatever the
// decoder does costs one photo.
//
// It returns ErrDamaged if the child refused the file, broke, lied, or reached
// its limit of memory or computing; the errors of ctx and r; and another error,
// after which trying again may work, if the child was not started, took too
// long by the clock, or was killed by somebody else.
func decodeHEIC(ctx context.Context, r io.ReaderAt, info Info) (picture, error) {
	if !childReady.Load() {
		return nil, ErrNoChild
	}
	select {
	case heifTurn <- struct{}{}:
		defer func() { <-heifTurn }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	program, err := os.Executable()
	if err != nil {
		return nil, err
	}
	pixels := int64(info.layout.coded.X) * int64(info.layout.coded.Y)
	limited, cancel := context.WithTimeoutCause(ctx, wallLimit(pixels), errChildTime)
	defer cancel()
	child := exec.CommandContext(limited, program)
	raw, err := runHEIFChild(limited, child, r, info)
	if err != nil {
		return nil, err
	}
	return raw.picture(info)
}

// rawHEIC is what a child handed over.
type rawHEIC struct {
	head   childHead
	planes [][]byte
	alpha  []byte
}

// runHEIFChild gives child the file, and takes what it answers if it ended
// well.
func runHEIFChild(ctx context.Context, child *exec.Cmd, r io.ReaderAt, info Info) (*rawHEIC, error) {
	src := &source{ctx: ctx, r: r, size: info.Bytes}
	child.Stdin = src.reader()
	child.Env = append(child.Env, childVariable+"=heic")
	for _, name := range []string{"HOME", "XDG_CACHE_HOME", "LocalAppData", "SystemRoot"} { // where its cache is
		if value, ok := os.LookupEnv(name); ok {
			child.Env = append(child.Env, name+"="+value)
		}
	}
	child.WaitDelay = 5 * time.Second
	said := &firstWords{}
	child.Stderr = said
	out, err := child.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := child.Start(); err != nil {
		return nil, err
	}
	raw, readErr := readChild(out, info.layout.coded)
	if readErr != nil {
		// It may go on writing, or wait: nothing it says counts any more.
		if err := child.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
			readErr = errors.Join(readErr, err)
		}
	}
	waitErr := child.Wait()
	switch {
	case ctx.Err() != nil:
		return nil, context.Cause(ctx)
	case src.err != nil:
		return nil, src.err
	case readErr == nil && waitErr == nil:
		return raw, nil
	case killedByOther(child.ProcessState, readErr, cpuLimit(int64(info.layout.coded.X)*int64(info.layout.coded.Y))):
		return nil, fmt.Errorf("the process decoding the HEIC was killed: %w", waitErr)
	}
	return nil, fmt.Errorf("HEIC: %w: %v, %v: %s", ErrDamaged, readErr, waitErr, said.text)
}

// readChild reads all that a child writes.
func readChild(r io.Reader, coded image.Point) (*rawHEIC, error) {
	head, err := readChildHead(r, [2]int{coded.X, coded.Y})
	if err != nil {
		return nil, err
	}
	raw := &rawHEIC{head: head}
	read := func(rows [2]int) ([]byte, error) {
		b := make([]byte, rows[0]*rows[1])
		_, err := io.ReadFull(r, b)
		return b, err
	}
	for _, rows := range head.rows() {
		plane, err := read(rows)
		if err != nil {
			return nil, err
		}
		raw.planes = append(raw.planes, plane)
	}
	if head.alpha == alphaPlane {
		if raw.alpha, err = read([2]int{head.width, head.height}); err != nil {
			return nil, err
		}
	}
	end, err := io.ReadAll(io.LimitReader(r, int64(len(childTrailer))+1))
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(end, []byte(childTrailer)) {
		return nil, errors.New("no end after the pixels")
	}
	return raw, nil
}

// endedEarly says that reading a child's answer failed only because it stopped.
func endedEarly(err error) bool {
	return err == nil || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF)
}

// firstWords keeps the first of what is written, to be told.
type firstWords struct{ text []byte }

// Write implements io.Writer and never fails.
func (t *firstWords) Write(p []byte) (int, error) {
	const most = 2000
	t.text = append(t.text, p[:min(len(p), most-len(t.text))]...)
	return len(p), nil
}

// picture makes the shown part of what was decoded ready to be shrunk.
func (raw *rawHEIC) picture(info Info) (out picture, err error) {
	whole := image.Rect(0, 0, raw.head.width, raw.head.height)
	err = guard(func() {
		switch {
		case raw.head.form == heifRGB && raw.head.alpha == alphaPremultiplied:
			out = pixels{&image.RGBA{Pix: raw.planes[0], Stride: 4 * whole.Dx(), Rect: whole}, true}
		case raw.head.form == heifRGB:
			out = pixels{&image.NRGBA{Pix: raw.planes[0], Stride: 4 * whole.Dx(), Rect: whole}, true}
		case raw.head.form == heifGrey:
			out = raw.grey(whole, info)
		default:
			out = raw.ycbcr(whole, info)
		}
		if info.layout.crop != whole {
			out = cropped(out, info.layout.crop)
		}
	})
	return out, err
}

func (raw *rawHEIC) grey(whole image.Rectangle, info Info) picture {
	img := &image.Gray{Pix: raw.planes[0], Stride: whole.Dx(), Rect: whole}
	if info.layout.colour.limited {
		widenLuma(img.Pix)
	}
	greyToSRGB(img.Pix, info.layout.icc)
	if raw.alpha == nil {
		return greyPlane(img)
	}
	clear := image.NewNRGBA(whole)
	for i, v := range img.Pix {
		copy(clear.Pix[4*i:], []uint8{v, v, v, raw.alpha[i]})
	}
	return pixels{clear, false}
}

func (raw *rawHEIC) ycbcr(whole image.Rectangle, info Info) picture {
	ratio := [...]image.YCbCrSubsampleRatio{
		heif420: image.YCbCrSubsampleRatio420, heif422: image.YCbCrSubsampleRatio422, heif444: image.YCbCrSubsampleRatio444,
	}[raw.head.chroma]
	img := &image.YCbCr{
		Y: raw.planes[0], Cb: raw.planes[1], Cr: raw.planes[2], SubsampleRatio: ratio,
		YStride: whole.Dx(), CStride: raw.head.rows()[1][0], Rect: whole,
	}
	toJFIF(img, info.layout.colour)
	if raw.alpha == nil {
		return planesOf(img)
	}
	return pixels{nrgba8(&image.NYCbCrA{YCbCr: *img, A: raw.alpha, AStride: whole.Dx()}), true}
}
