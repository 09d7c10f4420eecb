package store

import (
	"fmt"
	"slices"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
)

// addEntries adds the entries, and each photo they show if it is not there yet.
func addEntries(t testing.TB, s *Store, entries ...journal.Entry) {
	t.Helper()
	write(t, s, func(tx flow.Tx) error {
		for _, e := range entries {
			for _, ep := range e.Photos {
				var n int
				if _, err := fmt.Sscanf(string(ep.PhotoID), string(e.BuildID)+"-photo%d", &n); err != nil {
					return err
				}
				if _, err := tx.Photo(e.BuildID, ep.PhotoID); err == nil {
					continue
				}
				if err := tx.AddPhoto(photo(e.BuildID, n)); err != nil {
					return err
				}
			}
			if err := tx.AddEntry(e); err != nil {
				return err
			}
		}
		return nil
	})
}

// pid is the id of Heron's nth photo.
func pid(n int) journal.PhotoID { return photo(heron, n).ID }

// saveEntry changes an entry as an edit does.
func saveEntry(t testing.TB, s *Store, id journal.EntryID, change func(*journal.Entry)) {
	t.Helper()
	write(t, s, func(tx flow.Tx) error {
		e, err := tx.Entry(heron, id)
		if err != nil {
			return err
		}
		was := journal.EntryEdit{EntryID: id, Version: e.Version, Kind: e.Kind, Audience: e.Audience, StageID: e.StageID, Text: e.Text, Photos: e.Photos, ByID: pat, At: noon}
		change(&e)
		return tx.SaveEntry(e, was)
	})
}

func withdraw(e *journal.Entry) { e.WithdrawnAt, e.WithdrawnWhy = hours(100), "wrong truck" }

func TestEntries_Pages(t *testing.T) {
	s := yard(t)
	var all []journal.Entry
	for n := range 20 {
		audience, stage := journal.OwnerToo, teardown
		if n%3 == 0 {
			audience = journal.ShopOnly
		}
		if n%4 == 0 {
			stage = frame
		}
		e := entry(heron, stage, n, audience, pid(n))
		e.HappenedAt = hours(n / 4) // four share a time
		if n%5 == 0 {
			e.Kind = journal.KindProblem
		}
		all = append(all, e)
	}
	addEntries(t, s, all...)
	addEntries(t, s, entry(juniper, tearJun, 0, journal.OwnerToo))
	saveEntry(t, s, "heron-entry007", withdraw)
	all[7].Version, all[7].WithdrawnAt = 1, hours(100)

	for _, q := range []flow.EntryQuery{
		{}, {Staff: true}, {StageID: frame}, {StageID: frame, Staff: true}, {Kind: journal.KindProblem}, {Kind: journal.KindProblem, Staff: true, StageID: teardown},
	} {
		// The same question, asked of a slice.
		var want []string
		for _, e := range all {
			if e.Visible(q.Staff) || q.Staff && !e.WithdrawnAt.IsZero() {
				if (q.StageID == "" || e.StageID == q.StageID) && (q.Kind == "" || e.Kind == q.Kind) {
					want = append(want, string(e.ID))
				}
			}
		}
		slices.Reverse(want) // as hours and numbers both ascend
		for _, limit := range []int{1, 3, 100} {
			var got []string
			page := q
			page.Limit = limit
			for {
				entries := get(t, s, func(r flow.Reads) ([]journal.Entry, error) { return r.Entries(heron, page) })
				if len(entries) == 0 {
					break
				}
				if len(entries) > limit {
					t.Fatalf("%d entries on a page of %d", len(entries), limit)
				}
				for _, e := range entries {
					got = append(got, string(e.ID))
					if len(e.Photos) != 1 {
						t.Errorf("%s came with %d photos, want its one", e.ID, len(e.Photos))
					}
				}
				last := entries[len(entries)-1]
				page.Before = flow.EntryCursor{At: last.HappenedAt, ID: last.ID}
			}
			if !slices.Equal(got, want) {
				t.Errorf("%+v in pages of %d:\n got %v\nwant %v", q, limit, got, want)
			}
		}
	}
	if got := get(t, s, func(r flow.Reads) ([]journal.Entry, error) { return r.Entries(heron, flow.EntryQuery{Staff: true}) }); len(got) != 20 {
		t.Errorf("without a limit %d entries come, want all 20", len(got))
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Entry(juniper, "heron-entry001"); return err })
}

func TestEntryBeside(t *testing.T) {
	s := yard(t)
	addEntries(t, s,
		entry(heron, teardown, 1, journal.OwnerToo, pid(1)),
		entry(heron, teardown, 2, journal.ShopOnly, pid(2)),
		entry(heron, teardown, 3, journal.OwnerToo), // no photo
		entry(heron, teardown, 4, journal.OwnerToo, pid(4)),
		entry(heron, frame, 5, journal.OwnerToo, pid(5)),
		entry(juniper, tearJun, 6, journal.OwnerToo, photo(juniper, 6).ID),
	)
	saveEntry(t, s, "heron-entry004", withdraw)
	for _, c := range []struct {
		from         int
		above, staff bool
		want         journal.EntryID
	}{
		{5, false, false, "heron-entry001"}, // the withdrawn, the photoless and the shop's are passed over
		{5, false, true, "heron-entry002"},
		{1, true, false, "heron-entry005"},
		{1, true, true, "heron-entry002"},
		{5, true, true, ""},
		{1, false, true, ""},
	} {
		place := flow.EntryCursor{At: hours(c.from), ID: journal.EntryID(fmt.Sprintf("heron-entry%03d", c.from))}
		ask := func(r flow.Reads) (journal.Entry, error) { return r.EntryBeside(heron, place, c.above, c.staff) }
		if c.want == "" {
			refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := ask(tx); return err })
		} else if got := get(t, s, ask); got.ID != c.want || len(got.Photos) != 1 {
			t.Errorf("%+v: got %s with %d photos", c, got.ID, len(got.Photos))
		}
	}
}

func TestSaveEntry(t *testing.T) {
	s := yard(t)
	addEntries(t, s, entry(heron, teardown, 1, journal.OwnerToo, pid(1), pid(2)))
	saveEntry(t, s, "heron-entry001", func(e *journal.Entry) { e.Text = "Second." })
	saveEntry(t, s, "heron-entry001", func(e *journal.Entry) { e.Text, e.Photos = "Third.", e.Photos[1:] })
	edits := get(t, s, func(r flow.Reads) ([]journal.EntryEdit, error) { return r.EntryEdits("heron-entry001") })
	if len(edits) != 2 || edits[0].Version != 0 || edits[1].Text != "Second." || len(edits[1].Photos) != 2 {
		t.Errorf("the history is %+v, want both former versions, oldest first", edits)
	}
	now := get(t, s, func(r flow.Reads) (journal.Entry, error) { return r.Entry(heron, "heron-entry001") })
	if now.Version != 2 || len(now.Photos) != 1 || now.Photos[0].PhotoID != pid(2) {
		t.Errorf("the entry is %+v", now)
	}
	stale := now
	stale.Version = 1
	edit := journal.EntryEdit{EntryID: now.ID, Version: 1, StageID: teardown, ByID: pat, At: noon}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SaveEntry(stale, edit) })
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.SaveEntry(now, edit) }) // history of another version
	edit.Version = 2
	elsewhere := now
	elsewhere.BuildID = juniper
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SaveEntry(elsewhere, edit) })
}

// TestAdd_WholeOrNothing: a step may take a Conflict for an answer and go on;
// what was refused must not be there by half.
func TestAdd_WholeOrNothing(t *testing.T) {
	s := yard(t)
	addEntries(t, s, entry(heron, teardown, 1, journal.OwnerToo, pid(1)))
	write(t, s, func(tx flow.Tx) error { return tx.AddPhoto(photo(juniper, 9)) })
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(invoice("first", heron, 1, "stage:a")) })
	write(t, s, func(tx flow.Tx) error {
		for name, err := range map[string]error{
			"an entry with another build's photo": tx.AddEntry(entry(heron, teardown, 2, journal.OwnerToo, pid(1), photo(juniper, 9).ID)),
			"an entry on another build's stage":   tx.AddEntry(entry(heron, tearJun, 2, journal.OwnerToo)),
			"an entry with a photo twice":         tx.AddEntry(entry(heron, teardown, 3, journal.OwnerToo, pid(1), pid(1))),
			"an invoice that bills again":         tx.AddInvoice(invoice("second", heron, 2, "stage:b", "stage:a")),
		} {
			if journal.CodeOf(err) != journal.Conflict {
				t.Errorf("%s: got %v, want Conflict", name, err)
			}
		}
		return nil
	})
	if got := names(get(t, s, func(r flow.Reads) ([]journal.Entry, error) { return r.Entries(heron, flow.EntryQuery{Staff: true}) }), entryID); got != "heron-entry001 " {
		t.Errorf("entries are %q", got)
	}
	if got := get(t, s, func(r flow.Reads) ([]flow.Invoice, error) { return r.Invoices(heron) }); len(got) != 1 {
		t.Errorf("%d invoices are there, want the first alone", len(got))
	}
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(invoice("third", heron, 2, "stage:b")) }) // was not billed by half
}

func TestAppendPhotos(t *testing.T) {
	s := yard(t)
	addEntries(t, s, entry(heron, teardown, 1, journal.OwnerToo, pid(1)))
	write(t, s, func(tx flow.Tx) error {
		for _, n := range []int{2, 3} {
			if err := tx.AddPhoto(photo(heron, n)); err != nil {
				return err
			}
		}
		late := []journal.EntryPhoto{{PhotoID: pid(3), Caption: "late"}, {PhotoID: pid(1), Caption: "again"}, {PhotoID: pid(3)}, {PhotoID: pid(2)}}
		return tx.AppendPhotos(heron, "heron-entry001", late)
	})
	e := get(t, s, func(r flow.Reads) (journal.Entry, error) { return r.Entry(heron, "heron-entry001") })
	want := []journal.EntryPhoto{{PhotoID: pid(1)}, {PhotoID: pid(3), Caption: "late"}, {PhotoID: pid(2)}}
	if !slices.Equal(e.Photos, want) || e.Version != 0 {
		t.Errorf("version %d with %+v, want version 0 with %+v", e.Version, e.Photos, want)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.AppendPhotos(juniper, e.ID, want) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {
		return tx.AppendPhotos(heron, e.ID, []journal.EntryPhoto{{PhotoID: "nowhere"}})
	})
}

func TestCountShared(t *testing.T) {
	s := yard(t)
	addEntries(t, s,
		entry(heron, teardown, 1, journal.OwnerToo),
		entry(heron, teardown, 2, journal.ShopOnly),
		entry(heron, teardown, 3, journal.OwnerToo),
		entry(heron, teardown, 4, journal.OwnerToo),
		entry(juniper, tearJun, 5, journal.OwnerToo),
	)
	saveEntry(t, s, "heron-entry004", withdraw)
	for since, want := range map[int]int{0: 2, 1: 1, 2: 1, 3: 0} {
		if got := get(t, s, func(r flow.Reads) (int, error) { return r.CountShared(heron, hours(since)) }); got != want {
			t.Errorf("since hour %d: %d entries shared, want %d", since, got, want)
		}
	}
}
