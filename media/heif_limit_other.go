//go:build !unix

package media

import (
	"os"
	"time"
)

// limitMemory does nothing: the decoder's own bound and the parent's clock
// remain.
func limitMemory(uint64) error { return nil }

// limitTime does nothing: the parent's clock remains.
func limitTime(time.Duration) error { return nil }

// ownAlone says no: who can write to a folder is not asked here.
func ownAlone(string) bool { return false }

// killedByOther says no: how a process ended is not told apart here.
func killedByOther(*os.ProcessState, error, time.Duration) bool { return false }
