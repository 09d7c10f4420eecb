package server

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"net/url"

	"farbay/journal"
)

// readParts reads a multipart form as it arrives. It returns its text fields,
// at most most bytes of them, and hands each file to file, which reads as much
// of it as it wants. The text fields become the request's PostForm, so that a
// page about a failure can show what was typed.
//
// Errors: those of file, [journal.TooLarge], and [journal.Invalid] when the
// request broke off or is no multipart form; the fields read until then are
// returned with them.
func readParts(r *http.Request, most int64, file func(*multipart.Part) error) (url.Values, error) {
	values := url.Values{}
	r.PostForm = values
	body := cleanHeads(r)
	parts, err := r.MultipartReader()
	if err != nil {
		return values, &journal.Error{Code: journal.Invalid, Err: err, Message: "What was sent could not be read; please choose the photos again."}
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) && body != nil && body.ended {
			return values, nil
		}
		if err != nil {
			return values, brokenOff(err)
		}
		if isFile(part) {
			if err := file(part); err != nil {
				return values, err
			}
			continue
		}
		text, err := io.ReadAll(io.LimitReader(part, most+1))
		if err != nil {
			return values, brokenOff(err)
		}
		if most -= int64(len(text)); most < 0 {
			return values, journal.Errorf(journal.TooLarge, "The text sent with the photos is too long; please send it in smaller parts.")
		}
		values.Add(part.FormName(), string(text))
	}
}

// isFile tells a part with a file from a text field. A field of no readable
// name is a file whose name cannot be read either: no field of ours is nameless.
// An empty file field, as browsers send it when nothing was chosen, has a name
// and no file name, and counts as text.
func isFile(part *multipart.Part) bool { return part.FileName() != "" || part.FormName() == "" }

// brokenOff is the failure of a request whose body could not be read to its
// end.
func brokenOff(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return &journal.Error{Code: journal.TooLarge, Err: err, Message: "These photos together are more than one sending takes. Those that arrived are safe; please send the others in another one."}
	}
	if errors.Is(err, context.Canceled) {
		return err
	}
	var malformed textproto.ProtocolError
	if errors.As(err, &malformed) {
		return &journal.Error{Code: journal.Invalid, Err: err, Message: "What was sent could not be read to its end. Photos before that are safe; please choose the others again."}
	}
	return &journal.Error{Code: journal.Invalid, Err: err, Message: "The connection broke off. Photos that had arrived are safe; please send the others again."}
}

// headCleaner passes a multipart body on with each control character in the
// heads of its parts as "?". Browsers send those of a file's name as they are,
// and the standard library refuses the whole form for one. What is inside the
// parts passes unchanged.
//
// It also sees whether the form came to its end, as the standard library takes
// one that was cut off inside a head for whole.
type headCleaner struct {
	io.ReadCloser
	delimiter []byte // line end, two hyphens, boundary (RFC 2046, 5.1.1)
	matched   int    // how much of delimiter the bytes so far end with
	inHead    bool
	lines     int  // ended in this head; the first is the delimiter's
	blank     bool // the line so far has only blanks
	ended     bool // the last delimiter, with two more hyphens, has begun
}

// cleanHeads puts a headCleaner around the body of a multipart request and
// returns it; nil if the request is none.
func cleanHeads(r *http.Request) *headCleaner {
	_, params, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || params["boundary"] == "" || r.Body == nil {
		return nil // whoever reads the form says what is wrong
	}
	// The first delimiter has no line end before it.
	h := &headCleaner{ReadCloser: r.Body, delimiter: []byte("\r\n--" + params["boundary"]), matched: 2}
	r.Body = h
	return h
}

// Read implements [io.Reader].
func (h *headCleaner) Read(b []byte) (int, error) {
	n, err := h.ReadCloser.Read(b)
	for i := 0; i < n; i++ {
		if !h.inHead && h.matched == 0 { // most of a file: on to the next line end
			next := bytes.IndexByte(b[i:n], '\r')
			if next < 0 {
				break
			}
			i += next
		}
		b[i] = h.pass(b[i])
	}
	return n, err
}

// pass returns the byte to pass on for c, which comes next.
func (h *headCleaner) pass(c byte) byte {
	switch {
	case h.inHead:
		return h.passHead(c)
	case h.matched < len(h.delimiter):
		if c == h.delimiter[h.matched] {
			h.matched++
		} else if h.matched = 0; c == '\r' { // which is only at the delimiter's begin
			h.matched = 1
		}
		return c
	}
	// The delimiter is whole. Followed by anything else it is a longer word, and
	// part of the content, as in package mime/multipart.
	h.matched = 0
	if bytes.IndexByte([]byte(" \t\r\n-"), c) < 0 {
		return c
	}
	h.ended = h.ended || c == '-'
	h.inHead, h.lines, h.blank = true, 0, true
	return h.passHead(c)
}

// passHead ends the head with the first blank line.
func (h *headCleaner) passHead(c byte) byte {
	switch {
	case c == '\n':
		h.inHead = h.lines == 0 || !h.blank
		h.lines, h.blank = h.lines+1, true
	case c == ' ', c == '\t', c == '\r':
	default:
		h.blank = false
		if c < ' ' || c == 0x7f {
			return '?'
		}
	}
	return c
}
