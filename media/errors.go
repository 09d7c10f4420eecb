package media

import (
	"errors"
	"fmt"
	"syscall"
)

// What can be wrong with a file or with the place it is kept. Callers compare
// with errors.Is; the text is for logs.
var (
	// ErrEmpty: the file has no bytes.
	ErrEmpty = errors.New("the file is empty")
	// ErrTooLarge: more bytes than the caller allowed.
	ErrTooLarge = errors.New("the file has more bytes than allowed")
	// ErrNotImage: the first bytes are those of no image format known here.
	ErrNotImage = errors.New("the file is not an image")
	// ErrUnsupported: an image, but of a kind that is not taken (GIF, TIFF,
	// BMP, AVIF, an animation) or not decoded (12-bit JPEG).
	ErrUnsupported = errors.New("this kind of image is not taken")
	// ErrTruncated: the file ends before its image does.
	ErrTruncated = errors.New("the file is cut off")
	// ErrDamaged: the bytes break the rules of their own format.
	ErrDamaged = errors.New("the file is damaged")
	// ErrTooManyPixels: width times height is over [MaxPixels], or
	// [MaxHEICPixels] in a HEIC.
	ErrTooManyPixels = errors.New("the image has more pixels than allowed")
	// ErrTooManyScans: a JPEG with more scans than [MaxScans].
	ErrTooManyScans = errors.New("the JPEG has more scans than allowed")

	// ErrBadView: a [View] that turns by other than quarters or shows nothing of
	// the photo.
	ErrBadView = errors.New("not a view of a photo")
	// ErrNotFound: nothing is stored under this name.
	ErrNotFound = errors.New("not stored")
	// ErrBadName: not a SHA-256 in 64 lower-case hexadecimal digits, not a long
	// edge above zero, or not the name of a variant.
	ErrBadName = errors.New("not the name of a stored file")
	// ErrCorrupt: what is stored no longer has the bytes it is named after.
	ErrCorrupt = errors.New("the stored file no longer matches its hash")
	// ErrDiskFull: no room left, or the quota is used up. Trying again after
	// making room works.
	ErrDiskFull = errors.New("the disk is full")
)

// diskError marks errors of a full disk or quota as [ErrDiskFull] and keeps
// the cause.
func diskError(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return fmt.Errorf("%w: %w", ErrDiskFull, err)
	}
	return err
}
