package server_test

import (
	"context"
	"fmt"
	"net/http"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// BenchmarkOwnerFirstPage measures an owner's first page of a build with 3,000
// photos against one with 30, both in one run: "ratio" is time over time (goal:
// at most 1.2).
//
//	go test -run - -bench OwnerFirstPage -benchtime 200x ./server
func BenchmarkOwnerFirstPage(b *testing.B) {
	s := servertest.New(b)
	second := s.Add(journal.Owner, "Bodil Strand")
	small, large := filled(b, s, "Heron", s.Owner, 30), filled(b, s, "Juniper", second, 3000)
	owners := [2]*servertest.Client{s.As(s.Owner), s.As(second)}
	paths := [2]string{"/builds/" + string(small), "/builds/" + string(large)}
	for i, c := range owners {
		c.Get(paths[i]).Status(http.StatusOK) // both warm
	}
	var taken [2]time.Duration
	for b.Loop() {
		for i, c := range owners {
			began := time.Now()
			c.Get(paths[i])
			taken[i] += time.Since(began)
		}
	}
	b.ReportMetric(float64(taken[1])/float64(taken[0]), "ratio")
	b.ReportMetric(float64(taken[0].Microseconds())/float64(b.N), "us/small")
	b.ReportMetric(float64(taken[1].Microseconds())/float64(b.N), "us/large")
}

// filled makes a build with so many photos in entries of ten, over its first
// five stages.
func filled(b *testing.B, s *servertest.Server, nickname string, owner journal.Person, photos int) journal.BuildID {
	b.Helper()
	ctx, floor := context.Background(), servertest.Actor(s.Floor)
	id, stages := s.Agreed(nickname, owner)
	for i := range photos / 10 {
		var shown []journal.EntryPhoto
		for k := range 10 {
			p, _, err := s.App.Steps().RecordPhoto(ctx, floor, id, journal.Photo{
				SHA256: fmt.Sprintf("%064x", i*10+k), Bytes: 3_000_000, FileName: "IMG.jpg", Kind: "image/jpeg",
				Width: 4032, Height: 3024, Orientation: 1, CapturedAt: servertest.Begin.Add(time.Duration(i*10+k-photos) * time.Minute),
				CapturedSource: "camera with offset",
			})
			if err != nil {
				b.Fatal(err)
			}
			shown = append(shown, journal.EntryPhoto{PhotoID: p.ID})
		}
		_, err := s.App.Steps().PostEntry(ctx, floor, id, flow.NewEntry{
			StageID: stages[i%5].ID, Kind: journal.KindProgress, Audience: journal.OwnerToo, Text: "Ten photos of it.", Photos: shown,
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return id
}
