package media

import (
	"cmp"
	"fmt"
	"io"
	"slices"
)

// piece is a part of a cleaned copy: bytes made here, or bytes of the original.
type piece struct {
	at, end int64  // in the copy
	from    int64  // in the original, where data is nil
	data    []byte // of the piece's length
}

// cleanCopy is a file put together from pieces on the fly. What no piece covers
// reads as zeros.
type cleanCopy struct {
	original io.ReaderAt
	pieces   []piece // in order, none empty, none over another
	size     int64
}

// section is the copy as what http.ServeContent takes.
func (c *cleanCopy) section() *io.SectionReader { return io.NewSectionReader(c, 0, c.size) }

// ReadAt implements io.ReaderAt. Several goroutines may use it if they may use
// the original's.
func (c *cleanCopy) ReadAt(p []byte, off int64) (int, error) {
	if off < 0 {
		return 0, fmt.Errorf("media: read at %d", off)
	}
	if off >= c.size {
		return 0, io.EOF
	}
	var end error
	if int64(len(p)) > c.size-off {
		p, end = p[:c.size-off], io.EOF
	}
	clear(p)
	i, _ := slices.BinarySearchFunc(c.pieces, off, func(b piece, off int64) int {
		return cmp.Compare(b.end, off+1)
	})
	last := off + int64(len(p))
	for ; i < len(c.pieces) && c.pieces[i].at < last; i++ {
		b := c.pieces[i]
		begin, stop := max(b.at, off), min(b.end, last)
		part := p[begin-off : stop-off]
		if b.data != nil {
			copy(part, b.data[begin-b.at:])
			continue
		}
		n, err := c.original.ReadAt(part, b.from+begin-b.at)
		if n < len(part) {
			if err == io.EOF {
				err = ErrTruncated
			}
			return int(begin-off) + n, fmt.Errorf("media: cleaned copy at %d: %w", begin+int64(n), err)
		}
	}
	return len(p), end
}

// append puts data behind the last piece.
func (c *cleanCopy) append(data []byte) {
	if len(data) > 0 {
		c.pieces = append(c.pieces, piece{at: c.size, end: c.size + int64(len(data)), data: data})
		c.size += int64(len(data))
	}
}

// appendOriginal puts n bytes of the original behind the last piece.
func (c *cleanCopy) appendOriginal(from, n int64) {
	if n == 0 {
		return
	}
	if k := len(c.pieces); k > 0 && c.pieces[k-1].data == nil && c.pieces[k-1].from+c.size-c.pieces[k-1].at == from {
		c.pieces[k-1].end += n
	} else {
		c.pieces = append(c.pieces, piece{at: c.size, end: c.size + n, from: from})
	}
	c.size += n
}
