//go:build unix

package media

import (
	"fmt"
	"io/fs"
	"os"
	"syscall"
	"time"
)

// limitMemory bounds the data this process may have, by the kernel. RLIMIT_DATA
// counts what is writable, on Linux since 4.7; RLIMIT_AS would also count the
// address space that Go only reserves. No core is written: it would hold the
// photo.
func limitMemory(bytes uint64) error {
	if err := setLimit(syscall.RLIMIT_DATA, bytes); err != nil {
		return fmt.Errorf("limit memory: %w", err)
	}
	if err := setLimit(syscall.RLIMIT_CORE, 0); err != nil {
		return fmt.Errorf("limit core: %w", err)
	}
	return nil
}

// limitTime ends this process, by the kernel, when it has computed so long. The
// limit that could be survived is the same as the one that cannot: Go ignores
// SIGXCPU.
func limitTime(d time.Duration) error {
	if err := setLimit(syscall.RLIMIT_CPU, uint64((d+time.Second-1)/time.Second)); err != nil {
		return fmt.Errorf("limit time: %w", err)
	}
	return nil
}

func setLimit(which int, n uint64) error {
	var now syscall.Rlimit
	if err := syscall.Getrlimit(which, &now); err != nil {
		return err
	}
	if now.Max < n {
		n = now.Max // what stands already is stricter
	}
	return syscall.Setrlimit(which, &syscall.Rlimit{Cur: n, Max: n})
}

// ownAlone says that dir is a folder of this user that nobody else can write to.
func ownAlone(dir string) bool {
	info, err := os.Lstat(dir)
	if err != nil || !info.IsDir() || info.Mode()&(fs.ModeSymlink|0o022) != 0 {
		return false
	}
	stat, ok := info.Sys().(*syscall.Stat_t)
	return ok && int(stat.Uid) == os.Getuid()
}

// killedByOther says that a child that failed was killed neither by its limit
// of computing time nor by us after it had said something wrong: then it is no
// fault of the file.
func killedByOther(state *os.ProcessState, readErr error, limit time.Duration) bool {
	status, ok := state.Sys().(syscall.WaitStatus)
	if !ok || !status.Signaled() || status.Signal() != syscall.SIGKILL && status.Signal() != syscall.SIGTERM {
		return false
	}
	return endedEarly(readErr) && state.UserTime()+state.SystemTime() < limit-time.Second
}
