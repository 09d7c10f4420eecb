package main

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
)

// batchFile is one file of a folder or ZIP to be imported.
type batchFile struct {
	name string // path within the folder or ZIP, with slashes
	size int64  // as the folder or ZIP says
	// open gives its content as a file on disk, for as long as it is not closed.
	// At most limit+1 bytes of a packed one are unpacked, however much it holds:
	// enough to see that it is too large.
	open func(limit int64) (*openFile, error)
}

// openFile is a file on disk, removed when closed if it was unpacked.
type openFile struct {
	*os.File
	size    int64
	discard bool
}

// Close closes the file.
func (f *openFile) Close() error {
	err := f.File.Close()
	if f.discard {
		err = errors.Join(err, os.Remove(f.Name()))
	}
	return err
}

// batch is what is to be imported.
type batch struct {
	name  string // of the folder or ZIP
	files []batchFile
	bytes int64
	close func() error
}

// openBatch lists the files of a folder, with those below it, or of a ZIP, in
// the order of their paths. Names that begin with a dot, "__MACOSX" and
// "Thumbs.db" are what systems leave beside photos and are passed over, and so
// are links. The caller closes the batch.
func openBatch(ctx context.Context, place string) (*batch, error) {
	info, err := os.Stat(place)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", place, err)
	}
	if info.IsDir() {
		return openFolder(ctx, place)
	}
	return openZIP(place)
}

func passedOver(name string) bool {
	for part := range strings.SplitSeq(name, "/") {
		if strings.HasPrefix(part, ".") || part == "__MACOSX" || part == "Thumbs.db" {
			return true
		}
	}
	return false
}

func openFolder(ctx context.Context, place string) (*batch, error) {
	b := &batch{name: filepath.Base(place), close: func() error { return nil }}
	err := filepath.WalkDir(place, func(at string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		rel, err := filepath.Rel(place, at)
		if err != nil {
			return err
		}
		name := filepath.ToSlash(rel)
		switch {
		case name != "." && passedOver(name):
			if entry.IsDir() {
				return fs.SkipDir
			}
			return nil
		case !entry.Type().IsRegular():
			return nil
		}
		info, err := entry.Info()
		if err != nil {
			return err
		}
		b.add(batchFile{name: name, size: info.Size(), open: func(int64) (*openFile, error) {
			f, err := os.Open(at)
			if err != nil {
				return nil, err
			}
			info, err := f.Stat()
			if err != nil {
				return nil, errors.Join(err, f.Close())
			}
			return &openFile{File: f, size: info.Size()}, nil
		}})
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("the folder %s cannot be read: %w", place, err)
	}
	return b, nil
}

func openZIP(place string) (*batch, error) {
	packed, err := zip.OpenReader(place)
	if errors.Is(err, zip.ErrFormat) {
		return nil, fmt.Errorf("%s is neither a folder nor a ZIP file", place)
	}
	if err != nil {
		return nil, fmt.Errorf("the ZIP file %s cannot be read: %w", place, err)
	}
	b := &batch{name: strings.TrimSuffix(filepath.Base(place), filepath.Ext(place)), close: packed.Close}
	for _, file := range packed.File {
		// From the ZIP's own root, so that no name leads out of it.
		name := path.Clean("/" + strings.ReplaceAll(strings.ToValidUTF8(file.Name, "?"), `\`, "/"))[1:]
		if file.FileInfo().Mode().IsRegular() && !passedOver(name) {
			b.add(batchFile{name: name, size: int64(min(file.UncompressedSize64, 1<<62)), open: func(limit int64) (*openFile, error) { return unpack(file, limit) }})
		}
	}
	return b, nil
}

func (b *batch) add(f batchFile) {
	b.files = append(b.files, f)
	b.bytes += f.size
}

// unpack writes a packed file to a temporary one.
func unpack(file *zip.File, limit int64) (_ *openFile, err error) {
	from, err := file.Open()
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, from.Close()) }()
	to, err := os.CreateTemp("", "farbay-import-")
	if err != nil {
		return nil, err
	}
	f := &openFile{File: to, discard: true}
	if f.size, err = io.Copy(to, io.LimitReader(from, limit+1)); err == nil {
		_, err = to.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}
