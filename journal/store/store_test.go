package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

// The yard: the people and builds most tests start from.
const (
	pat  journal.PersonID = "pat"  // office
	jory journal.PersonID = "jory" // floor
	ada  journal.PersonID = "ada"  // owns Heron
	ben  journal.PersonID = "ben"  // owns Juniper

	heron   journal.BuildID = "heron"
	juniper journal.BuildID = "juniper"

	teardown journal.StageID = "teardown" // of Heron
	frame    journal.StageID = "frame"    // of Heron
	tearJun  journal.StageID = "tear-jun" // of Juniper
)

var noon = time.Date(2026, 4, 14, 18, 0, 0, 123456789, time.UTC)

func open(t testing.TB) *Store {
	t.Helper()
	s, err := Open(filepath.Join(t.TempDir(), "farbay.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// yard opens a database with two builds, three stages and four people.
func yard(t testing.TB) *Store {
	t.Helper()
	s := open(t)
	write(t, s, addYard)
	return s
}

func addYard(tx flow.Tx) error {
	for _, p := range []journal.Person{
		{ID: pat, Name: "Pat Moor", Role: journal.Office},
		{ID: jory, Name: "Jory Pike", Role: journal.Floor},
		{ID: ada, Name: "Ada Finch", Role: journal.Owner},
		{ID: ben, Name: "ben marsh", Role: journal.Owner},
	} {
		p.Email, p.CreatedAt = string(p.ID)+"@example.org", noon
		if err := tx.AddPerson(p); err != nil {
			return err
		}
	}
	for _, b := range []journal.Build{
		{ID: heron, Nickname: "Heron", Truck: journal.Truck{Make: "Ostler", Unit: "miles"}},
		{ID: juniper, Nickname: "Juniper", Truck: journal.Truck{Make: "Calder", Unit: "km"}},
	} {
		b.State, b.CreatedAt = journal.Agreed, noon
		if err := tx.AddBuild(b); err != nil {
			return err
		}
	}
	for i, s := range []journal.Stage{
		{ID: teardown, BuildID: heron, Name: "Teardown"},
		{ID: frame, BuildID: heron, Name: "Frame"},
		{ID: tearJun, BuildID: juniper, Name: "Teardown"},
	} {
		s.Position, s.State, s.PlannedDays = i+1, journal.UnderWay, 5
		if err := tx.AddStage(s); err != nil {
			return err
		}
	}
	return nil
}

// photo is the nth photo of a build, from Jory's phone.
func photo(build journal.BuildID, n int) journal.Photo {
	sum := sha256.Sum256(fmt.Appendf(nil, "photo %d", n))
	at := noon.Add(time.Duration(n) * time.Minute)
	return journal.Photo{
		ID: journal.PhotoID(fmt.Sprintf("%s-photo%d", build, n)), BuildID: build, SHA256: hex.EncodeToString(sum[:]), Bytes: 1000,
		Kind: "image/jpeg", ByID: jory, ReceivedAt: at, CapturedAt: at, CapturedSource: "camera", State: journal.PhotoPending,
	}
}

func write(t testing.TB, s *Store, f func(flow.Tx) error) {
	t.Helper()
	if err := s.Write(context.Background(), f); err != nil {
		t.Fatal(err)
	}
}

func read(t testing.TB, s *Store, f func(flow.Reads) error) {
	t.Helper()
	if err := s.Read(context.Background(), f); err != nil {
		t.Fatal(err)
	}
}

// get asks one question in a transaction of its own.
func get[T any](t testing.TB, s *Store, ask func(flow.Reads) (T, error)) T {
	t.Helper()
	var v T
	read(t, s, func(r flow.Reads) (err error) {
		v, err = ask(r)
		return err
	})
	return v
}

// refused asserts that f, in a transaction that is then undone, fails with the
// code, and with a sentence unless it is a fault of the program.
func refused(t testing.TB, s *Store, want journal.Code, f func(flow.Tx) error) {
	t.Helper()
	undone := errors.New("undone")
	var got error
	err := s.Write(context.Background(), func(tx flow.Tx) error {
		got = f(tx)
		return undone
	})
	if !errors.Is(err, undone) {
		t.Errorf("Write: got %v, want what f returned", err)
	}
	if journal.CodeOf(got) != want {
		t.Errorf("got %q (%v), want %q", journal.CodeOf(got), got, want)
	}
	if want != journal.Internal && want != "" && journal.MessageOf(got) == "" {
		t.Errorf("%v has no sentence for the reader", got)
	}
}

// hours is n hours after noon.
func hours(n int) time.Time { return noon.Add(time.Duration(n) * time.Hour) }
