package media

import "fmt"

// cursor reads big-endian numbers; past the end it gives zeros and notes it.
type cursor struct {
	b     []byte
	short bool
}

func (c *cursor) take(n int) []byte {
	if n > len(c.b) {
		c.short, c.b = true, nil
		return nil
	}
	out := c.b[:n]
	c.b = c.b[n:]
	return out
}

func (c *cursor) uint(n int) uint64 {
	var v uint64
	for _, b := range c.take(n) {
		v = v<<8 | uint64(b)
	}
	return v
}

// version reads the version and flags of a full box and returns the version.
func (c *cursor) version() uint64 { return c.uint(4) >> 24 }

func (c *cursor) id(wide bool) uint32 { return uint32(c.uint(c.wide(wide))) }

func (c *cursor) wide(wide bool) int {
	if wide {
		return 4
	}
	return 2
}

func (c *cursor) oneOrTwo(wide bool) int {
	if wide {
		return 2
	}
	return 1
}

func (c *cursor) err() error {
	if c.short {
		return fmt.Errorf("box ends early: %w", ErrDamaged)
	}
	return nil
}
