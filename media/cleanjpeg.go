package media

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// More JPEG markers, ITU-T T.81 table B.1.
const (
	markerSOF0  = 0xc0
	markerSOF15 = 0xcf
	markerDQT   = 0xdb
	markerDNL   = 0xdc
	markerDRI   = 0xdd
	markerAPP0  = 0xe0
	markerAPP14 = 0xee
)

// CleanJPEG returns a JPEG without loss and with nothing in it but what is needed
// to show it: tables, frame, scans, JFIF's density, Adobe's colour transform, an
// RGB colour profile, and the orientation in an Exif block of its own if it is
// not 1. Everything else goes: other segments, comments, thumbnails, and what
// stands behind the first end marker. The pixels that it decodes to are the
// original's, bit by bit. r and info are a file and what [Inspect] said of it.
//
// The copy is put together while being read, at any place; several goroutines
// may read it if they may read r. It returns [ErrUnsupported] if info is not of a
// JPEG, and the errors of Inspect if the file is not as info says.
func CleanJPEG(r io.ReaderAt, info Info) (*io.SectionReader, error) {
	if info.Kind != JPEG {
		return nil, fmt.Errorf("media.CleanJPEG: %q: %w", info.Kind, ErrUnsupported)
	}
	out, err := cleanJPEG(r, info)
	if err != nil {
		return nil, fmt.Errorf("media.CleanJPEG: %w", err)
	}
	return out.section(), nil
}

func cleanJPEG(r io.ReaderAt, info Info) (*cleanCopy, error) {
	s := &jpegSplit{r: bufio.NewReaderSize(io.NewSectionReader(r, 0, info.Bytes), 64<<10)}
	s.body.original = r
	if err := s.run(); err != nil {
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = ErrTruncated
		}
		return nil, err
	}
	out := &cleanCopy{original: r}
	out.append([]byte{0xff, markerSOI})
	out.append(s.jfif)
	if info.Orientation != 1 {
		out.append(orientationSegment(info.Orientation))
	}
	out.append(s.adobe)
	out.append(profileSegments(info, pixels{rgb: true}))
	for _, p := range s.body.pieces {
		out.appendOriginal(p.from, p.end-p.at)
	}
	out.append([]byte{0xff, markerEOI})
	return out, nil
}

// orientationSegment is an APP1 segment with an Exif block of one tag.
//
// Source: Exif 3.0, 4.5.2 and 4.6.2, TIFF 6.0 section 2.
func orientationSegment(orientation int) []byte {
	return []byte{0xff, markerAPP1, 0, 34, 'E', 'x', 'i', 'f', 0, 0,
		'M', 'M', 0, 42, 0, 0, 0, 8, // header, where the IFD is
		0, 1, // entries
		0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, byte(orientation), 0, 0,
		0, 0, 0, 0} // no other IFD
}

// jpegSplit goes through a JPEG and sorts out what is needed of it.
type jpegSplit struct {
	r           *bufio.Reader
	at          int64 // how far r has been read
	jfif, adobe []byte
	body        cleanCopy // pieces of the original only
}

func (s *jpegSplit) run() error {
	if err := s.skip(2); err != nil {
		return err
	}
	marker, err := s.nextMarker(false)
	for err == nil && marker != markerEOI {
		switch {
		case marker == markerTEM, marker == markerSOI, marker >= markerRST0 && marker <= markerRST7:
			marker, err = s.nextMarker(false)
		default:
			marker, err = s.segment(marker)
		}
	}
	return err
}

// nextMarker reads past the next marker and returns it; in a scan, past the next
// that is none of the scan's own.
func (s *jpegSplit) nextMarker(inScan bool) (byte, error) {
	for {
		if err := s.toMarker(); err != nil {
			return 0, err
		}
		marker, err := s.r.ReadByte()
		if err != nil {
			return 0, err
		}
		switch {
		case marker == 0xff: // a fill byte, T.81 B.1.1.2, or the marker's first
			if err := s.r.UnreadByte(); err != nil {
				return 0, err
			}
			continue
		case marker == 0, inScan && marker >= markerRST0 && marker <= markerRST7:
			s.at++
			continue
		}
		s.at++
		return marker, nil
	}
}

// toMarker skips past the next 0xff.
func (s *jpegSplit) toMarker() error {
	for {
		skipped, err := s.r.ReadSlice(0xff)
		s.at += int64(len(skipped))
		if err != bufio.ErrBufferFull {
			return err
		}
	}
}

func (s *jpegSplit) skip(n int) error {
	skipped, err := s.r.Discard(n)
	s.at += int64(skipped)
	return err
}

// segment reads a segment whose marker has been read, with its scan if it has
// one, keeps what is needed, and returns the next marker.
func (s *jpegSplit) segment(marker byte) (next byte, err error) {
	begin := s.at - 2
	length, err := s.r.Peek(2)
	if err != nil {
		return 0, err
	}
	n := int(binary.BigEndian.Uint16(length))
	if n < 2 {
		return 0, fmt.Errorf("segment %#x shorter than its length field: %w", marker, ErrDamaged)
	}
	if marker == markerAPP0 || marker == markerAPP14 {
		if err := s.application(marker, n); err != nil {
			return 0, err
		}
		return s.nextMarker(false)
	}
	if err := s.skip(n); err != nil {
		return 0, err
	}
	end := s.at
	next, err = s.nextMarker(marker == markerSOS)
	if err != nil {
		return 0, err
	}
	if marker == markerSOS {
		end = s.at - 2
	}
	switch {
	case marker >= markerSOF0 && marker <= markerSOF15,
		marker == markerSOS, marker == markerDQT, marker == markerDNL, marker == markerDRI:
		s.body.appendOriginal(begin, end-begin)
	}
	return next, nil
}

// application keeps the first JFIF header without its thumbnail, and the first
// Adobe header without anything behind it.
//
// Source: ITU-T T.871 section 10.1; ITU-T T.872 section 6.5.3.
func (s *jpegSplit) application(marker byte, n int) error {
	const jfif, adobe = "JFIF\x00", "Adobe"
	const jfifBytes, adobeBytes = 14, 12 // without thumbnail
	data := make([]byte, n)
	if _, err := io.ReadFull(s.r, data); err != nil {
		return err
	}
	s.at += int64(n)
	data = data[2:]
	head := func(n int) []byte { return append([]byte{0xff, marker, 0, byte(n + 2)}, data[:n]...) }
	switch {
	case marker == markerAPP0 && s.jfif == nil && len(data) >= jfifBytes && string(data[:len(jfif)]) == jfif:
		data[12], data[13] = 0, 0
		s.jfif = head(jfifBytes)
	case marker == markerAPP14 && s.adobe == nil && len(data) >= adobeBytes && string(data[:len(adobe)]) == adobe:
		s.adobe = head(adobeBytes)
	}
	return nil
}
