package media

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"syscall"
	"time"
)

// ErrNoPoster: there is no ffmpeg on this machine to make a poster with.
var ErrNoPoster = errors.New("no ffmpeg to make a poster with")

const (
	// posterAt is where the poster is taken, if the video is so long: the first
	// moments are often of a pocket or a floor.
	posterAt      = time.Second
	posterTimeout = 30 * time.Second
	// posterMemoryKB bounds ffmpeg's address space: a 4K picture of 10 bits takes
	// 25 MB, and a decoder holds 17 of them.
	posterMemoryKB    = 1536 << 10
	maxPosterBytes    = 64 << 20
	maxPosterComplain = 4 << 10
)

// Poster makes a JPEG of one picture of a video, of 1 s after its beginning, or
// of the middle if it is shorter: upright, at full size, with square pixels and
// without metadata. Inspect accepts it, so that [Derive] can make the sizes that
// are shown. r and info are a file and what [Inspect] said of it.
//
// It runs ffmpeg, as found on PATH, as a child with its own process group, for
// at most 30 s, in at most 1.5 GB of address space, reading nothing but this file
// and no network, and kills it when ctx ends. If r is an open file, the child
// reads that; else a copy is made in the folder for temporary files, and removed.
//
// It returns [ErrNoPoster] if there is no ffmpeg, [ErrUnsupported] if info is not
// of a video, [ErrDamaged] with the beginning of its complaint if ffmpeg makes no
// picture, and the errors of r and ctx.
func Poster(ctx context.Context, r io.ReaderAt, info Info) ([]byte, error) {
	if !info.Kind.Video() {
		return nil, fmt.Errorf("media.Poster: %q: %w", info.Kind, ErrUnsupported)
	}
	program, err := exec.LookPath("ffmpeg")
	if err != nil {
		return nil, fmt.Errorf("media.Poster: %w: %w", ErrNoPoster, err)
	}
	out, err := poster(ctx, program, r, info)
	if err != nil {
		return nil, fmt.Errorf("media.Poster: %w", err)
	}
	return out, nil
}

func poster(ctx context.Context, program string, r io.ReaderAt, info Info) (out []byte, err error) {
	ctx, cancel := context.WithTimeout(ctx, posterTimeout)
	defer cancel()
	file, done, err := childFile(ctx, r, info.Bytes)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, done()) }()
	at := min(posterAt, info.Duration/2)
	out, err = runPoster(ctx, program, file, at)
	if err == nil && len(out) == 0 {
		// The pictures end before that: sound may go on longer than they do.
		out, err = runPoster(ctx, program, file, 0)
	}
	if err != nil {
		return nil, err
	}
	if _, err := inspect(bytes.NewReader(out), int64(len(out))); err != nil {
		return nil, fmt.Errorf("ffmpeg's picture: %w", err)
	}
	return out, nil
}

// childFile returns r as a file that a child can be given, and what to do when
// it is no longer needed.
func childFile(ctx context.Context, r io.ReaderAt, size int64) (*os.File, func() error, error) {
	if open, ok := r.(interface {
		SyscallConn() (syscall.RawConn, error)
	}); ok {
		if f, err := duplicate(open.SyscallConn()); err == nil {
			return f, f.Close, nil
		}
	}
	f, err := os.CreateTemp("", "farbay-video-*")
	if err != nil {
		return nil, nil, diskError(err)
	}
	done := func() error { return errors.Join(f.Close(), os.Remove(f.Name())) }
	if _, err := copyLimited(ctx, f, io.NewSectionReader(r, 0, size), size); err != nil {
		return nil, nil, errors.Join(diskError(err), done())
	}
	return f, done, nil
}

// duplicate makes a second descriptor of an open file.
func duplicate(conn syscall.RawConn, err error) (*os.File, error) {
	if err != nil {
		return nil, err
	}
	var f *os.File
	var dupErr error
	err = conn.Control(func(fd uintptr) {
		syscall.ForkLock.RLock()
		defer syscall.ForkLock.RUnlock()
		second, err := syscall.Dup(int(fd))
		if err != nil {
			dupErr = err
			return
		}
		syscall.CloseOnExec(second)
		f = os.NewFile(uintptr(second), "video")
	})
	if err = errors.Join(err, dupErr); err != nil {
		return nil, err
	}
	return f, nil
}

// runPoster has ffmpeg write one picture. No picture and no error: there is none
// from at on.
func runPoster(ctx context.Context, program string, file *os.File, at time.Duration) ([]byte, error) {
	// The shell sets the limits and then becomes ffmpeg. Only the demuxer for
	// these files may open this one, so that no other file can be named in it.
	// The picture's matrix is brought to that of JPEG (JFIF 1.02), all values.
	limits := fmt.Sprintf(`ulimit -v %d && ulimit -t %d && exec "$0" "$@"`, posterMemoryKB, int(posterTimeout/time.Second))
	cmd := exec.CommandContext(ctx, "/bin/sh", "-c", limits, program,
		"-nostdin", "-hide_banner", "-loglevel", "error", "-threads", "1", "-filter_threads", "1",
		"-protocol_whitelist", "file,pipe", "-f", "mov",
		"-ss", strconv.FormatFloat(at.Seconds(), 'f', 3, 64), "-i", "/dev/fd/3",
		"-map", "0:v:0", "-frames:v", "1", "-map_metadata", "-1", "-bitexact",
		"-vf", "scale=w='max(1,round(iw*sar))':h=ih:out_color_matrix=bt601:out_range=full,setsar=1,format=yuvj420p",
		"-c:v", "mjpeg", "-q:v", "2", "-threads", "1", "-f", "image2pipe", "pipe:1")
	cmd.Dir, cmd.Env = "/", []string{}
	cmd.ExtraFiles = []*os.File{file} // descriptor 3
	stdout, stderr := &cappedBuffer{most: maxPosterBytes}, &cappedBuffer{most: maxPosterComplain}
	cmd.Stdout, cmd.Stderr = stdout, stderr
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
	cmd.WaitDelay = time.Second
	err := cmd.Run()
	switch {
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, fmt.Errorf("ffmpeg: %w: %q: %w", err, stderr.kept, ErrDamaged)
	case stdout.cut:
		return nil, fmt.Errorf("ffmpeg's picture has more than %d bytes: %w", maxPosterBytes, ErrDamaged)
	}
	return stdout.kept, nil
}

// cappedBuffer keeps the beginning of what is written to it. It embeds no
// bytes.Buffer: io.Copy would go past Write, by ReadFrom.
type cappedBuffer struct {
	kept []byte
	most int
	cut  bool
}

// Write implements io.Writer; it takes everything.
func (b *cappedBuffer) Write(p []byte) (int, error) {
	room := b.most - len(b.kept)
	b.cut = b.cut || len(p) > room
	b.kept = append(b.kept, p[:min(len(p), room)]...)
	return len(p), nil
}
