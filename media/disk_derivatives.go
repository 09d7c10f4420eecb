package media

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"path/filepath"
	"strconv"
)

// derivativePath is the file of a derivative; variant is "" for the plain one. A
// variant's name begins with a letter, so that none is taken for a long edge.
func (d *Disk) derivativePath(sha, variant string, longEdge int) string {
	if variant != "" {
		variant += "-"
	}
	return filepath.Join(d.dir, derivativesDir, sha[:2], sha+"-"+variant+strconv.Itoa(longEdge)+".jpg")
}

// PutDerivative implements [Storage].
func (d *Disk) PutDerivative(ctx context.Context, sha string, longEdge int, data []byte) error {
	if err := d.putDerivative(ctx, sha, "", longEdge, data); err != nil {
		return fmt.Errorf("media.Disk.PutDerivative: %w", err)
	}
	return nil
}

// PutVariant implements [Storage].
func (d *Disk) PutVariant(ctx context.Context, sha, variant string, longEdge int, data []byte) error {
	if !ValidVariant(variant) {
		return fmt.Errorf("media.Disk.PutVariant: %q: %w", variant, ErrBadName)
	}
	if err := d.putDerivative(ctx, sha, variant, longEdge, data); err != nil {
		return fmt.Errorf("media.Disk.PutVariant: %w", err)
	}
	return nil
}

func (d *Disk) putDerivative(ctx context.Context, sha, variant string, longEdge int, data []byte) error {
	if !ValidName(sha) || longEdge < 1 {
		return fmt.Errorf("%q, %d px: %w", sha, longEdge, ErrBadName)
	}
	if len(data) == 0 {
		return ErrEmpty
	}
	name, _, err := d.receive(ctx, bytes.NewReader(data), sha256.New(), int64(len(data)))
	target := d.derivativePath(sha, variant, longEdge)
	if err == nil {
		err = d.ready(filepath.Dir(target))
	}
	if err == nil {
		err = d.files.Chmod(name, derivativeMode)
	}
	if err == nil {
		err = d.files.Rename(name, target)
	}
	if err == nil {
		err = d.files.SyncDir(filepath.Dir(target))
	}
	if err != nil {
		return d.discard(name, err)
	}
	return nil
}

// OpenDerivative implements [Storage].
func (d *Disk) OpenDerivative(ctx context.Context, sha string, longEdge int) (File, error) {
	f, err := d.openDerivative(ctx, sha, "", longEdge)
	if err != nil {
		return nil, fmt.Errorf("media.Disk.OpenDerivative: %w", err)
	}
	return f, nil
}

// OpenVariant implements [Storage].
func (d *Disk) OpenVariant(ctx context.Context, sha, variant string, longEdge int) (File, error) {
	if !ValidVariant(variant) {
		return nil, fmt.Errorf("media.Disk.OpenVariant: %q: %w", variant, ErrBadName)
	}
	f, err := d.openDerivative(ctx, sha, variant, longEdge)
	if err != nil {
		return nil, fmt.Errorf("media.Disk.OpenVariant: %w", err)
	}
	return f, nil
}

func (d *Disk) openDerivative(ctx context.Context, sha, variant string, longEdge int) (File, error) {
	if !ValidName(sha) || longEdge < 1 {
		return nil, fmt.Errorf("%q, %d px: %w", sha, longEdge, ErrBadName)
	}
	return openFile(ctx, d.derivativePath(sha, variant, longEdge))
}
