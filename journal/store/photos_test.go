package store

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func entryID(e journal.Entry) string { return string(e.ID) }
func photoID(p journal.Photo) string { return string(p.ID) }

func shared(t testing.TB, s *Store, build journal.BuildID, id journal.PhotoID) bool {
	t.Helper()
	return get(t, s, func(r flow.Reads) (bool, error) { return r.PhotoShared(build, id) })
}

func TestPhotos(t *testing.T) {
	s := yard(t)
	twice := photo(heron, 1)
	twice.ID = "twice"
	elsewhere := photo(juniper, 1) // the same bytes in another build
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddPhoto(photo(heron, 1)); err != nil {
			return err
		}
		// The same file twice in a build is noticed, and the step can go on.
		if err := tx.AddPhoto(twice); journal.CodeOf(err) != journal.Conflict {
			t.Errorf("the same file again: got %v, want Conflict", err)
		}
		first, err := tx.PhotoBySHA(heron, twice.SHA256)
		if first.ID != pid(1) {
			t.Errorf("found %s, want the first", first.ID)
		}
		if err != nil {
			return err
		}
		return tx.AddPhoto(elsewhere)
	})
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Photo(juniper, pid(1)); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.PhotoBySHA(heron, photo(heron, 2).SHA256); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SavePhoto(photo(heron, 2)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error {
		p := photo(heron, 1)
		p.BuildID = juniper
		return tx.SavePhoto(p)
	})
	some := get(t, s, func(r flow.Reads) (map[journal.PhotoID]journal.Photo, error) {
		return r.Photos(heron, []journal.PhotoID{pid(1), pid(1), elsewhere.ID, "nowhere"})
	})
	if len(some) != 1 || some[pid(1)].ID != pid(1) {
		t.Errorf("got %v, want the one that is Heron's", some)
	}
	for sum, want := range map[string]bool{twice.SHA256: true, photo(heron, 2).SHA256: false} {
		if got := get(t, s, func(r flow.Reads) (bool, error) { return r.HasOriginal(sum) }); got != want {
			t.Errorf("HasOriginal = %v, want %v", got, want)
		}
	}
}

func TestLoosePhotos(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		for _, n := range []int{5, 3, 4, 1, 2} {
			p := photo(heron, n)
			if n > 3 {
				p.ReceivedAt = hours(1) // at the same time: as added
			}
			if n == 1 {
				p.ByID = pat
			}
			if err := tx.AddPhoto(p); err != nil {
				return err
			}
		}
		return tx.AddPhoto(photo(juniper, 1))
	})
	loose := func(r flow.Reads) ([]journal.Photo, error) { return r.LoosePhotos(heron, jory) }
	const p = "heron-photo"
	if got := names(get(t, s, loose), photoID); got != p+"2 "+p+"3 "+p+"5 "+p+"4 " {
		t.Errorf("loose photos are %q", got)
	}
	addEntries(t, s, entry(heron, teardown, 1, journal.ShopOnly, pid(3), pid(5)))
	saveEntry(t, s, "heron-entry001", withdraw) // still in an entry
	if got := names(get(t, s, loose), photoID); got != p+"2 "+p+"4 " {
		t.Errorf("loose photos are %q", got)
	}
	saveEntry(t, s, "heron-entry001", func(e *journal.Entry) { e.Photos = e.Photos[1:] })
	if got := names(get(t, s, loose), photoID); got != p+"2 "+p+"3 "+p+"4 " {
		t.Errorf("loose photos are %q, want the one taken out again", got)
	}
}

func TestStagePhotos(t *testing.T) {
	s := yard(t)
	addEntries(t, s,
		entry(heron, teardown, 1, journal.OwnerToo, pid(4), pid(1)),
		entry(heron, teardown, 2, journal.ShopOnly, pid(3), pid(1)), // 1 is in both
		entry(heron, teardown, 3, journal.OwnerToo, pid(2)),
		entry(heron, frame, 4, journal.OwnerToo, pid(5)),
		entry(juniper, tearJun, 5, journal.OwnerToo, photo(juniper, 6).ID),
	)
	saveEntry(t, s, "heron-entry003", withdraw)
	const p = "heron-photo"
	for _, c := range []struct {
		build journal.BuildID
		stage journal.StageID
		staff bool
		limit int
		want  string
		count int
	}{
		{heron, teardown, true, 0, p + "1 " + p + "3 " + p + "4 ", 3},
		{heron, teardown, false, 0, p + "1 " + p + "4 ", 2},
		{heron, teardown, true, 2, p + "1 " + p + "3 ", 3},
		{heron, frame, false, 9, p + "5 ", 1},
		{juniper, teardown, true, 9, "", 0}, // not under another's id
	} {
		got := get(t, s, func(r flow.Reads) ([]journal.Photo, error) { return r.StagePhotos(c.build, c.stage, c.staff, c.limit) })
		if names(got, photoID) != c.want {
			t.Errorf("%+v: got %q", c, names(got, photoID))
		}
		if n := get(t, s, func(r flow.Reads) (int, error) { return r.CountStagePhotos(c.build, c.stage, c.staff) }); n != c.count {
			t.Errorf("%+v: counted %d", c, n)
		}
		var bytes, want int64
		for _, p := range got {
			want += p.Bytes
		}
		n := get(t, s, func(r flow.Reads) (n int, err error) {
			n, bytes, err = r.StagePhotosSize(c.build, c.stage, c.staff)
			return
		})
		if n != c.count || c.limit == 0 && bytes != want {
			t.Errorf("%+v: %d photos of %d bytes, want %d", c, n, bytes, want)
		}
	}
	for staff, want := range map[bool]int{true: 5, false: 3} {
		if n := get(t, s, func(r flow.Reads) (int, error) { return r.CountPhotos(heron, staff) }); n != want {
			t.Errorf("staff %v: %d photos, want %d", staff, n, want)
		}
	}
	of := get(t, s, func(r flow.Reads) ([]journal.Entry, error) { return r.EntriesOfPhoto(heron, pid(1)) })
	if names(of, entryID) != "heron-entry002 heron-entry001 " || len(of[0].Photos) != 2 {
		t.Errorf("photo 1 is in %q, want both, newest first, with their photos", names(of, entryID))
	}
	if of := get(t, s, func(r flow.Reads) ([]journal.Entry, error) { return r.EntriesOfPhoto(juniper, pid(1)) }); of != nil {
		t.Errorf("Heron's photo is in Juniper's %v", of)
	}
}

func TestPhotoShared(t *testing.T) {
	s := yard(t)
	addEntries(t, s, entry(heron, teardown, 1, journal.ShopOnly, pid(1)))
	addEntries(t, s, entry(juniper, tearJun, 1, journal.OwnerToo, photo(juniper, 1).ID))
	if shared(t, s, heron, pid(1)) {
		t.Error("a photo for the shop only is shared")
	}
	if !shared(t, s, juniper, photo(juniper, 1).ID) || shared(t, s, heron, photo(juniper, 1).ID) {
		t.Error("Juniper's photo is to be shared with Juniper's owner alone")
	}
	saveEntry(t, s, "heron-entry001", func(e *journal.Entry) { e.Audience, e.SharedAt = journal.OwnerToo, noon })
	if !shared(t, s, heron, pid(1)) {
		t.Error("a photo in an entry for the owner too is not shared")
	}
	saveEntry(t, s, "heron-entry001", withdraw)
	if shared(t, s, heron, pid(1)) {
		t.Error("a photo of a withdrawn entry is shared")
	}

	sendPaper(t, s, "paper", pid(1))
	states := []struct {
		state signoff.State
		want  bool
	}{{signoff.Recalled, false}, {signoff.Sent, true}, {signoff.Declined, true}, {signoff.Signed, true}}
	if !shared(t, s, heron, pid(1)) {
		t.Error("the evidence of a sent paper is not shared")
	}
	for _, c := range states {
		write(t, s, func(tx flow.Tx) error {
			p, err := tx.Paper(heron, "paper")
			if err != nil {
				return err
			}
			p.State = c.state
			return tx.SavePaper(p)
		})
		if shared(t, s, heron, pid(1)) != c.want {
			t.Errorf("evidence of a paper that is %s: shared = %v", c.state, !c.want)
		}
	}
}

// TestPhotoShared_DraftIsNotEvidence: what the shop puts into a draft stays
// with the shop until it is sent.
func TestPhotoShared_DraftIsNotEvidence(t *testing.T) {
	s := yard(t)
	addEntries(t, s, entry(heron, teardown, 1, journal.ShopOnly, pid(1), pid(2)))
	sendPaper(t, s, "paper", pid(1))
	write(t, s, func(tx flow.Tx) error {
		p, err := tx.Paper(heron, "paper")
		if err != nil {
			return err
		}
		p.Draft.Photos = []signoff.Evidence{{PhotoID: pid(2)}}
		return tx.SavePaper(p)
	})
	if shared(t, s, heron, pid(2)) {
		t.Error("a photo of the draft is shared before it is sent")
	}
}

// TestShowings plays random acts and compares, after each, the counts that the
// database keeps by itself with what the entries and papers say.
func TestShowings(t *testing.T) {
	s := yard(t)
	const photos = 10
	write(t, s, func(tx flow.Tx) error {
		for n := range photos {
			if err := tx.AddPhoto(photo(heron, n)); err != nil {
				return err
			}
		}
		return nil
	})
	rng := rand.New(rand.NewPCG(1, 2))
	some := func() (ids []journal.PhotoID) {
		for _, n := range rng.Perm(photos)[:rng.IntN(4)] {
			ids = append(ids, pid(n))
		}
		return ids
	}
	audience := func() journal.Audience {
		return []journal.Audience{journal.ShopOnly, journal.OwnerToo}[rng.IntN(2)]
	}
	anyEntry := func(n int) journal.EntryID { return entry(heron, teardown, 1+rng.IntN(n), journal.ShopOnly).ID }
	entries, papers := 0, 0
	for step := range 200 {
		switch act := rng.IntN(6); {
		case act == 0 || entries == 0:
			entries++
			addEntries(t, s, entry(heron, teardown, entries, audience(), some()...))
		case act == 1:
			saveEntry(t, s, anyEntry(entries), func(e *journal.Entry) {
				fresh := entry(heron, teardown, 0, audience(), some()...)
				e.Audience, e.SharedAt, e.Photos = fresh.Audience, noon, fresh.Photos
			})
		case act == 2:
			saveEntry(t, s, anyEntry(entries), withdraw)
		case act == 3:
			var late []journal.EntryPhoto
			for _, id := range some() {
				late = append(late, journal.EntryPhoto{PhotoID: id})
			}
			write(t, s, func(tx flow.Tx) error { return tx.AppendPhotos(heron, anyEntry(entries), late) })
		case act == 4 || papers == 0:
			papers++
			sendPaper(t, s, journal.PaperID(fmt.Sprintf("paper%d", papers)), some()...)
		default:
			id := journal.PaperID(fmt.Sprintf("paper%d", 1+rng.IntN(papers)))
			write(t, s, func(tx flow.Tx) error {
				p, err := tx.Paper(heron, id)
				if err != nil {
					return err
				}
				p.State = []signoff.State{signoff.Sent, signoff.Recalled, signoff.Signed}[rng.IntN(3)]
				if err := tx.SavePaper(p); err != nil || rng.IntN(2) == 0 {
					return err
				}
				revisions, err := tx.Revisions(id)
				if err != nil {
					return err
				}
				n := len(revisions) + 1
				bytes := sheet(t, heron, n, some()...)
				return tx.AddRevision(signoff.Revision{PaperID: id, Number: n, Bytes: bytes, SHA256: signoff.Hash(bytes), SentAt: noon})
			})
		}

		visible, loose := 0, 0
		read(t, s, func(r flow.Reads) error {
			for n := range photos {
				yes, err := r.PhotoShared(heron, pid(n))
				if err != nil {
					return err
				}
				in, err := r.EntriesOfPhoto(heron, pid(n))
				if err != nil {
					return err
				}
				if yes {
					visible++
				}
				if len(in) == 0 {
					loose++
				}
			}
			counted, err := r.CountPhotos(heron, false)
			if err != nil {
				return err
			}
			found, err := r.LoosePhotos(heron, jory)
			if counted != visible || len(found) != loose {
				t.Errorf("step %d: counted %d shared and %d loose photos, the entries and papers say %d and %d", step, counted, len(found), visible, loose)
			}
			return err
		})
		if t.Failed() {
			return
		}
	}
}

func TestAllPhotos(t *testing.T) {
	s := yard(t)
	const n = 1203 // more than two pages
	write(t, s, func(tx flow.Tx) error {
		for i := range n {
			if err := tx.AddPhoto(photo([]journal.BuildID{heron, juniper}[i%2], i)); err != nil {
				return err
			}
		}
		return nil
	})
	seen := map[journal.PhotoID]bool{}
	read(t, s, func(r flow.Reads) error {
		return r.AllPhotos(func(p journal.Photo) error {
			seen[p.ID] = true
			_, err := r.Photo(p.BuildID, p.ID) // f may ask further
			return err
		})
	})
	if len(seen) != n {
		t.Errorf("f saw %d photos, want %d", len(seen), n)
	}
	enough, calls := errors.New("enough"), 0
	read(t, s, func(r flow.Reads) error {
		err := r.AllPhotos(func(journal.Photo) error {
			if calls++; calls == 3 {
				return enough
			}
			return nil
		})
		if !errors.Is(err, enough) || calls != 3 {
			t.Errorf("got %v after %d calls, want f's failure after 3", err, calls)
		}
		return nil
	})
}
