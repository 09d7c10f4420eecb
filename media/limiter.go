package media

import (
	"context"
	"runtime"

	"golang.org/x/sync/semaphore"
)

// DefaultLimitBytes is the bound of the [Limiter] that [Derive] uses: 256 MiB,
// two 48-megapixel JPEGs at once. Four that wait for each other so leave a process
// below 200 MB (BenchmarkPeak48MP).
const DefaultLimitBytes = 256 << 20

// fixedDeriveBytes is what making derivatives takes beside the decoded image:
// the shrunk ones and their encoding.
const fixedDeriveBytes = 24 << 20

// collectAtBytes is the need from which a photo's memory is collected as soon
// as it is done: an eighth of the default bound.
const collectAtBytes = DefaultLimitBytes / 8

// Limiter bounds the memory of all photos being decoded at once. Each waits
// until its estimated need fits beside the others', in order of arrival. A photo
// that needs more than the whole bound runs alone.
type Limiter struct {
	bytes int64
	room  *semaphore.Weighted
}

// NewLimiter makes a Limiter of so many bytes, which must be above zero.
func NewLimiter(bytes int64) *Limiter {
	return &Limiter{bytes: bytes, room: semaphore.NewWeighted(bytes)}
}

var defaultLimiter = NewLimiter(DefaultLimitBytes)

// acquire waits for room and returns the function that gives it back.
func (l *Limiter) acquire(ctx context.Context, need int64) (release func(), err error) {
	need = min(need, l.bytes)
	if err := l.room.Acquire(ctx, need); err != nil {
		return nil, err
	}
	return func() {
		// What a large photo leaves is collected before the next one takes its
		// place; else both would be resident. Small ones wait for the collector.
		if need >= collectAtBytes {
			runtime.GC()
		}
		l.room.Release(need)
	}, nil
}

// needBytes estimates the memory that [Derive] takes for a file.
func (i Info) needBytes() int64 {
	pixels := int64(i.layout.width) * int64(i.layout.height)
	if i.Kind == HEIC { // what its decoder takes is bounded by itself, in a process of its own
		pixels = int64(i.layout.coded.X) * int64(i.layout.coded.Y)
	}
	need := pixels*i.layout.decodeBytesPerPixel + fixedDeriveBytes
	if i.Kind != JPEG && (i.Kind != HEIC || i.layout.decodeBytesPerPixel > 3) {
		// imaging shrinks across first: RGBA rows of the target's width.
		need += int64(LongEdges[0]) * 4 * int64(max(i.layout.width, i.layout.height))
	}
	return need
}
