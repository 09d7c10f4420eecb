package server_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server/servertest"
)

// An original that no photo refers to, as a crash between storing and recording
// leaves it, is cleared after a day; one that a photo refers to stays however
// old it is, and so does one that may be on its way to its record.
func TestSweep_ClearsForgottenOriginals(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	var build journal.BuildID
	var photo journal.Photo
	var forgotten, underWay string
	t.Run("before", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		build, _ = s.Agreed("Heron", s.Owner)
		photo = s.Photo(build, 1)
		for seed, sha := range map[int]*string{2: &forgotten, 3: &underWay} {
			stored, err := s.App.Storage().Put(context.Background(), bytes.NewReader(servertest.JPEG(t, seed)), 1<<20)
			if err != nil {
				t.Fatal(err)
			}
			*sha = stored.SHA256
		}
	})
	for _, sha := range []string{photo.SHA256, forgotten} {
		old := time.Now().Add(-25 * time.Hour)
		if err := os.Chtimes(filepath.Join(dir, "media", "originals", sha[:2], sha), old, old); err != nil {
			t.Fatal(err)
		}
	}
	s := servertest.Start(t, dir, clock)
	has := func(sha string) bool {
		there, err := s.App.Storage().Has(context.Background(), sha)
		if err != nil {
			t.Fatal(err)
		}
		return there
	}
	tick, limit := time.NewTicker(10*time.Millisecond), time.After(time.Minute)
	defer tick.Stop()
	for has(forgotten) {
		select {
		case <-tick.C:
		case <-limit:
			t.Fatal("the forgotten original is still there")
		}
	}
	if !has(photo.SHA256) || !has(underWay) {
		t.Errorf("the photo's original is there: %t; the new one: %t", has(photo.SHA256), has(underWay))
	}
}
