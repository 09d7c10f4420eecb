package servertest

import (
	"bytes"
	"context"
	"testing"

	"farbay/media"
)

// Photos of different seeds are not taken for shots of one burst.
func TestJPEG_looksLikeNoOther(t *testing.T) {
	var hashes []uint64
	for seed := range 150 {
		file := bytes.NewReader(JPEG(t, seed))
		info, err := media.Inspect(file, file.Size())
		if err != nil {
			t.Fatal(err)
		}
		var hash uint64
		if err := media.Derive(context.Background(), file, info, func(d media.Derivative) error { hash = d.Hash; return nil }); err != nil {
			t.Fatal(err)
		}
		for before, other := range hashes {
			if media.Alike(hash, other) {
				t.Errorf("the photos of seeds %d and %d are alike", before, seed)
			}
		}
		hashes = append(hashes, hash)
	}
}
