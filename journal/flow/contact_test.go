package flow_test

import (
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

// All photos of a stage in the order of capture, once each, with the caption of
// the first entry that the reader may see; the owner gets none of the shop's.
func TestContactSheet(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0)
	taken := y.now.Add(-48 * time.Hour)
	late, early, shop, gone := y.photo(y.jory, y.heron, 901, taken.Add(time.Hour)), y.photo(y.jory, y.heron, 902, taken), y.photo(y.jory, y.heron, 903, taken), y.photo(y.jory, y.heron, 904, taken)
	post := func(audience journal.Audience, daysAgo int, photos ...journal.EntryPhoto) journal.Entry {
		t.Helper()
		e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{
			StageID: stage.ID, Kind: journal.KindProgress, Audience: audience, Text: "Text", Photos: photos,
		}))(t)
		y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.DateEntry(y.heron, e.ID, y.now.AddDate(0, 0, -daysAgo)) }))
		return e
	}
	before := len(got(y.steps.ContactSheet(y.ctx, y.ada, y.heron, stage.ID))(t).Photos)
	post(journal.OwnerToo, 1, journal.EntryPhoto{PhotoID: late.ID, Caption: "second entry"}, journal.EntryPhoto{PhotoID: early.ID, Caption: "early"})
	post(journal.OwnerToo, 2, journal.EntryPhoto{PhotoID: late.ID, Caption: "first entry"})
	post(journal.ShopOnly, 3, journal.EntryPhoto{PhotoID: late.ID, Caption: "for the shop"}, journal.EntryPhoto{PhotoID: shop.ID})
	withdrawn := post(journal.OwnerToo, 4, journal.EntryPhoto{PhotoID: late.ID, Caption: "withdrawn"}, journal.EntryPhoto{PhotoID: gone.ID})
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, withdrawn.ID, withdrawn.Version, "Wrong truck."))

	captions := func(a flow.Actor) map[journal.PhotoID]string {
		t.Helper()
		v := got(y.steps.ContactSheet(y.ctx, a, y.heron, stage.ID))(t)
		told, last, bytes := map[journal.PhotoID]string{}, time.Time{}, int64(0)
		for _, p := range v.Photos {
			if _, twice := told[p.Photo.ID]; twice || p.Photo.CapturedAt.Before(last) {
				t.Errorf("%s stands twice, or not in order", p.Photo.ID)
			}
			if a.Person.Role == journal.Owner && p.Photo.FileName+p.Photo.Camera != "" {
				t.Errorf("the owner learns %q, %q", p.Photo.FileName, p.Photo.Camera)
			}
			told[p.Photo.ID], last, bytes = p.Caption, p.Photo.CapturedAt, bytes+p.Photo.Bytes
		}
		n, size, err := y.steps.StagePhotosSize(y.ctx, a, y.heron, stage.ID)
		if err != nil || n != len(v.Photos) || size != bytes {
			t.Errorf("%d photos of %d bytes (%v), want %d of %d", n, size, err, len(v.Photos), bytes)
		}
		return told
	}
	owner, floor := captions(y.ada), captions(y.jory)
	if len(owner) != before+2 || owner[late.ID] != "first entry" || owner[early.ID] != "early" {
		t.Errorf("the owner has %v", owner)
	}
	if _, there := floor[shop.ID]; !there || floor[late.ID] != "for the shop" {
		t.Errorf("the floor has %v", floor)
	}
	if _, there := floor[gone.ID]; there {
		t.Error("a photo of a withdrawn entry is there")
	}
	_, err := y.steps.ContactSheet(y.ctx, y.ada, y.heron, "nosuch")
	refused(t, err, journal.NotFound)
}
