package media

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"runtime/metrics"
	"testing"
	"time"
)

// mutations is how often each camera sample is mutated: 10,000 times (issue
// 3), with -short 200 and under the race detector 100 times.
func mutations() int {
	switch {
	case raceSlowdown > 1:
		return 100
	case testing.Short():
		return 200
	}
	return 10_000
}

// mutant changes a file in place and puts it back.
type mutant struct {
	b    []byte
	rng  *rand.Rand
	undo []struct {
		at  int
		old byte
	}
}

// mutate makes one to eight changes, most of them where structure is: in the
// first or the last kilobytes.
func (m *mutant) mutate() {
	for range 1 + m.rng.IntN(8) {
		at := m.rng.IntN(len(m.b))
		switch m.rng.IntN(4) {
		case 0, 1:
			at = m.rng.IntN(min(len(m.b), 2<<10))
		case 2:
			at = m.rng.IntN(min(len(m.b), 64<<10))
		case 3:
			if m.rng.IntN(2) == 0 {
				at = len(m.b) - 1 - m.rng.IntN(min(len(m.b), 4<<10))
			}
		}
		switch m.rng.IntN(5) {
		case 0:
			m.set(at, m.b[at]^1<<m.rng.IntN(8))
		case 1:
			m.set(at, byte(m.rng.Uint32()))
		case 2: // the ends of a number's range, of 1 to 4 bytes
			v := []byte{0, 0xff, 0x7f, 0x80}[m.rng.IntN(4)]
			for i := range 1 + m.rng.IntN(4) {
				m.set(at+i, v)
			}
		case 3: // what is elsewhere in the file
			from := m.rng.IntN(len(m.b))
			for i := range min(1+m.rng.IntN(16), len(m.b)-from) {
				m.set(at+i, m.b[from+i])
			}
		case 4: // one more, one less
			m.set(at, m.b[at]+1-byte(2*m.rng.IntN(2)))
		}
	}
}

func (m *mutant) set(at int, v byte) {
	if at >= len(m.b) {
		return
	}
	m.undo = append(m.undo, struct {
		at  int
		old byte
	}{at, m.b[at]})
	m.b[at] = v
}

func (m *mutant) restore() {
	for i := len(m.undo) - 1; i >= 0; i-- {
		m.b[m.undo[i].at] = m.undo[i].old
	}
	m.undo = m.undo[:0]
}

// allocatedBytes is all that this process has allocated so far; unlike
// runtime.ReadMemStats it does not stop the world.
func allocatedBytes() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// TestMutations: whatever becomes of a camera's file, no panic, no Inspect over
// 2 s of processor time, none over 64 MB allocated, nor does reading the Exif
// block alone.
func TestMutations(t *testing.T) {
	folder := cameraFolder(t)
	paths, err := filepath.Glob(filepath.Join(folder, "*", "*.*"))
	if err != nil || len(paths) < 50 {
		t.Fatalf("%d samples, %v", len(paths), err)
	}
	rounds := mutations()
	t.Logf("%d samples, %d mutations of each file and of each Exif block", len(paths), rounds)
	for number, path := range paths {
		name := filepath.Base(path)
		b := readFile(t, path)
		info := mustInspect(t, b)
		if !bytes.Equal(b, readFile(t, path)) {
			t.Fatalf("%s: Inspect changed it", name)
		}
		mutateRounds(t, name, b, uint64(number), rounds, func(b []byte) {
			size := len(b)
			if b[size/2]&7 == 0 { // cut off as well, by what chance put there
				size = 1 + int(b[size/3])*size/256
			}
			_, _ = inspectBytes(b[:size]) // refused or not: it is to end, and in bounds
		})
		if block := info.layout.exif; block != nil {
			mutateRounds(t, name+" Exif", block, uint64(number)+1000, rounds, func(b []byte) {
				if _, err := readExif(b); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			})
		}
	}
}

// mutateRounds runs try on so many mutations of b. A hang of a minute ends the
// tests with the mutation's number, from which it can be made again.
func mutateRounds(t *testing.T, name string, b []byte, seed uint64, rounds int, try func([]byte)) {
	t.Helper()
	m := &mutant{b: b, rng: rand.New(rand.NewPCG(seed, 3))}
	round := 0
	const hang = time.Minute * raceSlowdown
	watchdog := time.AfterFunc(hang, func() { panic(fmt.Sprintf("%s, mutation %d of seed %d, hangs", name, round, seed)) })
	defer watchdog.Stop()
	defer func() {
		if p := recover(); p != nil {
			t.Errorf("%s, mutation %d of seed %d: panic: %v", name, round, seed, p)
		}
	}()
	for ; round < rounds; round++ {
		m.mutate()
		allocated, begin := allocatedBytes(), processorTime(t)
		watchdog.Reset(hang)
		try(b)
		if took := processorTime(t) - begin; took > 2*time.Second*raceSlowdown {
			t.Errorf("%s, mutation %d of seed %d: %v", name, round, seed, took)
		}
		if mb := (allocatedBytes() - allocated) >> 20; mb > 64 {
			t.Errorf("%s, mutation %d of seed %d: %d MB allocated", name, round, seed, mb)
		}
		m.restore()
	}
}
