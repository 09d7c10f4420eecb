package store

import (
	"context"
	"fmt"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

// longBuild adds to the yard's Heron a journal of n photos, six to an entry:
// every third entry is for the shop only.
func longBuild(t testing.TB, s *Store, n int) {
	t.Helper()
	write(t, s, func(tx flow.Tx) error {
		for i := 0; i < n; i += 6 {
			id := fmt.Sprintf("long%05d", i)
			e := journal.Entry{
				ID: journal.EntryID(id), BuildID: heron, StageID: teardown, AuthorID: jory, Kind: journal.KindProgress,
				Audience: journal.OwnerToo, Text: "Day " + id, HappenedAt: noon.Add(time.Duration(i) * time.Hour), PostedAt: noon, SharedAt: noon,
			}
			if i%18 == 0 {
				e.Audience, e.SharedAt = journal.ShopOnly, time.Time{}
			}
			if i%5 == 0 {
				e.StageID = frame
			}
			for j := i; j < min(i+6, n); j++ {
				p := photo(heron, j+1000)
				p.CapturedAt = e.HappenedAt.Add(time.Duration(j%6) * time.Minute)
				if err := tx.AddPhoto(p); err != nil {
					return err
				}
				e.Photos = append(e.Photos, journal.EntryPhoto{PhotoID: p.ID, Caption: "Photo"})
			}
			if err := tx.AddEntry(e); err != nil {
				return err
			}
		}
		return nil
	})
}

// BenchmarkQuestions compares the questions behind a build's pages for a build
// of 30 photos and one of 3,000.
func BenchmarkQuestions(b *testing.B) {
	ctx := context.Background()
	for _, n := range []int{30, 3000} {
		s := yard(b)
		longBuild(b, s, n)
		for _, q := range []struct {
			name string
			ask  func(flow.Reads) error
		}{
			{"Entries", func(r flow.Reads) error {
				_, err := r.Entries(heron, flow.EntryQuery{Limit: 5})
				return err
			}},
			{"EntryBeside", func(r flow.Reads) error {
				_, err := r.EntryBeside(heron, flow.EntryCursor{At: noon.AddDate(50, 0, 0)}, false, false)
				return err
			}},
			{"StagePhotos", func(r flow.Reads) error {
				_, err := r.StagePhotos(heron, teardown, false, 12)
				return err
			}},
			{"CountStagePhotos", func(r flow.Reads) error {
				_, err := r.CountStagePhotos(heron, teardown, false)
				return err
			}},
			{"CountPhotos", func(r flow.Reads) error {
				_, err := r.CountPhotos(heron, false)
				return err
			}},
			{"CountPhotosStaff", func(r flow.Reads) error {
				_, err := r.CountPhotos(heron, true)
				return err
			}},
			{"LoosePhotos", func(r flow.Reads) error {
				_, err := r.LoosePhotos(heron, jory)
				return err
			}},
			{"PhotoShared", func(r flow.Reads) error {
				_, err := r.PhotoShared(heron, photo(heron, 1020).ID)
				return err
			}},
			{"CountShared", func(r flow.Reads) error {
				_, err := r.CountShared(heron, noon.Add(-time.Hour))
				return err
			}},
			{"LastNews", func(r flow.Reads) error {
				_, err := r.LastNews(heron)
				return err
			}},
		} {
			b.Run(fmt.Sprintf("%s/%d", q.name, n), func(b *testing.B) {
				for b.Loop() {
					if err := s.Read(ctx, q.ask); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
