package server

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
	"time"
	"unicode"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
)

// Intake takes one photo in: the one way in for uploads, imports and the demo.
type Intake struct {
	Steps    *flow.Steps
	Storage  media.Storage
	MaxBytes int64 // of one photo
	// MaxVideoBytes is of one video; below MaxBytes it counts for nothing.
	MaxVideoBytes int64
}

// most is the most bytes that any file may have.
func (in Intake) most() int64 { return max(in.MaxBytes, in.MaxVideoBytes) }

// accept refuses what is not taken of what Inspect found.
func (in Intake) accept(info media.Info, err error) error {
	switch {
	case err != nil:
		return err
	case info.Kind.Video():
		return nil
	case !info.Decodable():
		return media.ErrUnsupported
	case info.Bytes > in.MaxBytes:
		return errPhotoTooLarge
	}
	return nil
}

// errPhotoTooLarge: a picture of more bytes than one may have, though a video
// may.
var errPhotoTooLarge = errors.New("the photo has more bytes than allowed")

// Taken is a photo that was taken in.
type Taken struct {
	Photo     journal.Photo
	Duplicate bool // the build had the same file already; Photo is that one
}

// Take reads one file to its end, keeps it, reads what its camera says and
// records it with the build. When it returns without an error the original is
// durably stored and recorded, and a job to make its sizes is waiting.
//
// The bytes are never held whole in memory. Errors carry a sentence for the
// sender: [journal.TooLarge], [journal.Invalid] for what is no photo or is
// damaged, [journal.Unavailable] when the disk is full. A file that is refused
// leaves nothing; one that could not be recorded leaves its original until
// [Intake.Sweep].
func (in Intake) Take(ctx context.Context, a flow.Actor, build journal.BuildID, name string, r io.Reader) (Taken, error) {
	head := bufio.NewReader(r)
	begin, err := head.Peek(64)
	if err != nil && !errors.Is(err, io.EOF) {
		return Taken{}, err
	}
	if !media.BeginsVideo(begin) {
		in.MaxVideoBytes = 0 // not more is stored of it than a photo may have
	}
	stored, err := in.Storage.Put(ctx, head, in.most())
	if err != nil {
		return Taken{}, in.refusal(err)
	}
	info, err := in.inspect(ctx, stored)
	if err != nil {
		return Taken{}, in.forget(ctx, stored, err)
	}
	shop, err := in.shop(ctx)
	if err != nil {
		return Taken{}, err
	}
	photo, duplicate, err := in.Steps.RecordPhoto(ctx, a, build, describe(name, stored, info, shop.Location(), in.Steps.Now()))
	return Taken{Photo: photo, Duplicate: duplicate}, err
}

func (in Intake) shop(ctx context.Context) (shop journal.Shop, err error) {
	err = in.Steps.Store.Read(ctx, func(r flow.Reads) error {
		shop, err = r.Shop()
		return err
	})
	return shop, err
}

// inspect says what a stored original is, and refuses what is not taken.
func (in Intake) inspect(ctx context.Context, stored media.Stored) (media.Info, error) {
	f, err := in.Storage.Open(ctx, stored.SHA256)
	if errors.Is(err, media.ErrNotFound) {
		// Another sending of the same bytes has just had them refused.
		return media.Info{}, &journal.Error{Code: journal.Unavailable, Err: err,
			Message: "The same file was being refused from elsewhere at this moment; please send it again to see why."}
	}
	if err != nil {
		return media.Info{}, in.refusal(err)
	}
	defer f.Close()
	info, err := media.Inspect(f, f.Size())
	if err := in.accept(info, err); err != nil {
		return media.Info{}, in.refusal(err)
	}
	return info, nil
}

// forget removes an original that was stored just now and refused for its
// content; the same bytes can only be refused again, so nobody else's record can
// need it. It returns the refusal, or why the original could not be removed.
func (in Intake) forget(ctx context.Context, stored media.Stored, refused error) error {
	if stored.Existed || !hopelessContent(refused) {
		return refused
	}
	if _, err := in.Storage.Remove(ctx, stored.SHA256, time.Now().Add(time.Minute)); err != nil {
		return fmt.Errorf("server: removing an original refused as %q: %w", refused, err)
	}
	return refused
}

// hopelessContent reports whether a refusal is for what a file holds, so that
// trying again cannot help.
func hopelessContent(refused error) bool {
	code := journal.CodeOf(refused)
	return code == journal.Invalid || code == journal.TooLarge
}

// Examine says what [Intake.Take] would record of a file of size bytes, and
// stores nothing: no id, no build. It uses neither Steps nor Storage. A camera
// that tells no offset from UTC is taken to be in zone.
//
// Errors carry the same sentences as Take's; with one, the photo has what was
// found out until then.
func (in Intake) Examine(name string, r io.ReaderAt, size int64, zone *time.Location, received time.Time) (journal.Photo, error) {
	sum := sha256.New()
	if _, err := io.Copy(sum, io.NewSectionReader(r, 0, size)); err != nil {
		return journal.Photo{FileName: safeName(name)}, err
	}
	p := journal.Photo{FileName: safeName(name), SHA256: hex.EncodeToString(sum.Sum(nil)), Bytes: size}
	info, err := media.Inspect(r, size)
	err = in.accept(info, err)
	if info.Kind != "" {
		p = describe(name, media.Stored{SHA256: p.SHA256, Bytes: size}, info, zone, received)
	}
	return p, in.refusal(err)
}

// describe puts together what is known of an original from its own bytes.
func describe(name string, stored media.Stored, info media.Info, zone *time.Location, received time.Time) journal.Photo {
	received = received.UTC().Truncate(time.Millisecond)
	capture := media.CaptureTime(info.Exif, zone)
	// The build's own doubt, a time before the truck arrived, is added where the
	// photo is recorded.
	doubt := capture.Doubt(received, time.Time{})
	if capture.Clock != media.ClockPlain && doubt == "" {
		doubt = "When it was taken is not certain: " + string(capture.Clock) + "."
	}
	capture = capture.OrReceived(received, zone)
	p := journal.Photo{
		SHA256: stored.SHA256, Bytes: stored.Bytes,
		FileName: safeName(name), Kind: info.ContentType(), Width: info.Width, Height: info.Height, Orientation: info.Orientation,
		ReceivedAt: received, CapturedAt: capture.At.UTC().Truncate(time.Millisecond), CapturedOffset: capture.OffsetMinutes,
		CapturedSource: string(capture.Source), CapturedDoubt: doubt, FromClock: capture.Source.FromClock(),
		Camera: cameraOf(info.Exif), DurationMS: int(info.Duration.Milliseconds()),
	}
	if at := info.Exif.Location; at != nil {
		p.Latitude, p.Longitude, p.Located = at.Lat, at.Lon, true
	}
	return p
}

// cameraOf joins make and model, naming the make once.
func cameraOf(e media.Exif) string {
	name := strings.TrimSpace(e.Make + " " + e.Model)
	if e.Make != "" && strings.HasPrefix(strings.ToLower(e.Model), strings.ToLower(e.Make)) {
		name = e.Model
	}
	return cut(name, 120)
}

// safeName is a sender's file name as it is kept for show: without folders,
// control characters and marks that turn the order of writing around, by which
// a name ends otherwise than it seems to (UAX #9, section 2; letters written
// right to left need none of them); at most 120 characters. It never becomes a
// path.
func safeName(name string) string {
	name = path.Base(strings.ReplaceAll(strings.ToValidUTF8(name, "?"), `\`, "/"))
	name = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return -1
		}
		return r
	}, name)
	if name = strings.TrimSpace(name); name == "" || name == "." || name == "/" || name == ".." {
		return "photo"
	}
	return cut(name, 120)
}

// cut shortens text to at most n characters, keeping its end: file names are
// told apart by theirs.
func cut(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n/2]) + "…" + string(r[len(r)-n/2+1:])
}

// refusal turns what can be wrong with a file into a sentence for its sender.
func (in Intake) refusal(err error) error {
	say := func(code journal.Code, text string, args ...any) error {
		return &journal.Error{Code: code, Message: fmt.Sprintf(text, args...), Err: err}
	}
	switch {
	case err == nil:
		return nil
	case errors.Is(err, media.ErrEmpty):
		return say(journal.Invalid, "This file is empty; please choose it again.")
	case errors.Is(err, media.ErrTooLarge):
		return say(journal.TooLarge, "This file has more than %s MB; please send a smaller one.", megabytes(in.most()))
	case errors.Is(err, errPhotoTooLarge):
		return say(journal.TooLarge, "This photo has more than %s MB; please send a smaller one.", megabytes(in.MaxBytes))
	case errors.Is(err, media.ErrTooLong):
		return say(journal.TooLarge, "This video is longer than 2 minutes; please send a shorter one.")
	case errors.Is(err, media.ErrTooManyPixels):
		return say(journal.TooLarge, "This photo has more than %d megapixels; please send a smaller one.", media.MaxPixels/1_000_000)
	case errors.Is(err, media.ErrNotImage):
		return say(journal.Invalid, "This is not a photo; please send a JPEG, PNG, WebP or HEIC file, or a short MP4 or MOV video.")
	case errors.Is(err, media.ErrUnsupported):
		return say(journal.Invalid, "This kind of file is not taken; please send a JPEG, PNG, WebP or HEIC photo, or a short MP4 or MOV video.")
	case errors.Is(err, media.ErrTruncated):
		return say(journal.Invalid, "This photo is cut off: its end is missing. Please send it again.")
	case errors.Is(err, media.ErrDamaged), errors.Is(err, media.ErrTooManyScans):
		return say(journal.Invalid, "This photo is damaged and cannot be read; please send another copy.")
	case errors.Is(err, media.ErrDiskFull):
		return say(journal.Unavailable, "The shop's disk is full, so this photo was not stored. Please keep it and tell the office.")
	}
	return err
}

// Sweep removes originals that no photo refers to, such as those of refused
// files or of a crash between storing and recording. Only those stored before
// the given time are touched, so that uploads under way are left alone. It
// returns how many it removed.
func (in Intake) Sweep(ctx context.Context, storedBefore time.Time) (removed int, err error) {
	err = in.Storage.Each(ctx, func(sha string, _ int64) error {
		var known bool
		err := in.Steps.Store.Read(ctx, func(r flow.Reads) error {
			known, err = r.HasOriginal(sha)
			return err
		})
		if err != nil || known {
			return err
		}
		gone, err := in.Storage.Remove(ctx, sha, storedBefore)
		if gone {
			removed++
		}
		return err
	})
	return removed, err
}

// Derive makes the sizes of one photo under its layer; it is what [journal.JobDerive] does. A
// photo that cannot be decoded ends as failed, with a sentence; other errors
// are returned, to be tried again.
func (in Intake) Derive(ctx context.Context, p journal.Photo) error {
	f, err := in.Storage.Open(ctx, p.SHA256)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := media.Inspect(f, f.Size())
	if err != nil {
		return in.failed(ctx, p, err)
	}
	p.Width, p.Height = info.Width, info.Height
	var pixels io.ReaderAt = f
	if info.Kind.Video() {
		poster, err := media.Poster(ctx, f, info)
		if errors.Is(err, media.ErrNoPoster) {
			return in.Steps.PhotoDerived(ctx, p) // kept and played; without a preview
		}
		if err != nil {
			return in.failed(ctx, p, err)
		}
		pixels = bytes.NewReader(poster)
		if info, err = media.Inspect(pixels, int64(len(poster))); err != nil {
			return in.failed(ctx, p, err)
		}
	}
	err = media.DeriveView(ctx, pixels, info, viewOf(p.Layer), func(d media.Derivative) error {
		p.Tone, p.Hash, p.Preview = d.Average, fmt.Sprintf("%016x", d.Hash), slices.Clone(d.Preview)
		return putSize(ctx, in.Storage, p, d)
	})
	if err != nil {
		return in.failed(ctx, p, err)
	}
	return in.Steps.PhotoDerived(ctx, p)
}

// failed ends a photo whose content is at fault, and returns any other cause.
func (in Intake) failed(ctx context.Context, p journal.Photo, cause error) error {
	refused := in.refusal(cause)
	if !hopelessContent(refused) {
		return cause
	}
	return in.Steps.PhotoFailed(ctx, p, journal.MessageOf(refused))
}

// CaptureKnown reports whether a photo's own file says when it was taken.
func CaptureKnown(p journal.Photo) bool {
	return p.CapturedSource != "" && p.CapturedSource != string(media.SourceReceived)
}

// CaptureZoned reports whether the offset from UTC of a photo's capture time is
// known from its file, and not taken to be the shop's.
func CaptureZoned(p journal.Photo) bool {
	switch media.Source(p.CapturedSource) {
	case media.SourceShopZone, media.SourceDigitizedShopZone:
		return false
	}
	return CaptureKnown(p)
}
