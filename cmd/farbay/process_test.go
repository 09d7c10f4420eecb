package main

import (
	"bytes"
	"errors"
	"io"
	"net"
	"os"
	"os/exec"
	"regexp"
	"sync"
	"testing"
	"time"

	"farbay/media"
)

// tempRoot is a folder for what several tests share, such as the program.
var tempRoot string

func TestMain(m *testing.M) {
	media.RunChild()
	os.Exit(func() int {
		dir, err := os.MkdirTemp("", "farbay-test-")
		if err != nil {
			panic(err)
		}
		defer os.RemoveAll(dir)
		tempRoot = dir
		return m.Run()
	}())
}

// process is a running farbay.
type process struct {
	cmd   *exec.Cmd
	url   string
	log   *safeBuffer
	ended chan struct{} // closed when it has ended
	err   error         // how, once ended
}

// safeBuffer keeps what a process prints.
type safeBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (b *safeBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *safeBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// startServe starts "farbay serve" on the folder and waits until it answers.
func startServe(t testing.TB, binary, dir string) *process {
	t.Helper()
	return startProcess(t, binary, "serve", "--data", dir, "--addr", "127.0.0.1:0")
}

var printedURL = regexp.MustCompile(`http://127\.0\.0\.1:\d+`)

// startProcess starts farbay with a command that serves, and waits until it has
// printed its address and listens there.
func startProcess(t testing.TB, binary string, args ...string) *process {
	t.Helper()
	p := &process{cmd: exec.Command(binary, args...), log: &safeBuffer{}, ended: make(chan struct{})}
	printed, w := io.Pipe()
	p.cmd.Stdout, p.cmd.Stderr = io.MultiWriter(w, p.log), p.log
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		p.err = p.cmd.Wait()
		w.CloseWithError(io.EOF)
		close(p.ended)
	}()
	t.Cleanup(func() {
		if err := p.cmd.Process.Kill(); err != nil && !errors.Is(err, os.ErrProcessDone) {
			t.Error(err)
		}
		<-p.ended
	})
	found := make(chan string, 1)
	go func() {
		var text bytes.Buffer
		chunk := make([]byte, 4096)
		for {
			n, err := printed.Read(chunk)
			text.Write(chunk[:n])
			if at := printedURL.FindString(text.String()); at != "" {
				found <- at
				_, _ = io.Copy(io.Discard, printed) // keep reading, so that the process is not held up
				return
			}
			if err != nil {
				close(found)
				return
			}
		}
	}()
	select {
	case p.url = <-found:
	case <-time.After(time.Minute):
	}
	if p.url == "" {
		t.Fatalf("farbay did not say where it listens:\n%s", p.log.String())
	}
	conn, err := net.DialTimeout("tcp", p.url[len("http://"):], 10*time.Second)
	if err != nil {
		t.Fatalf("farbay does not listen: %v\n%s", err, p.log.String())
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	return p
}
