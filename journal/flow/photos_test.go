package flow_test

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func TestRecordPhoto_sameFileTwice(t *testing.T) {
	y := newYard(t)
	taken := time.Date(2026, 4, 10, 15, 0, 0, 0, time.UTC)
	first := y.photo(y.jory, y.heron, 1, taken)
	if first.State != journal.PhotoPending || first.ByID != y.jory.Person.ID || !first.ReceivedAt.Equal(y.now) || first.BuildID != y.heron {
		t.Errorf("recorded %+v", first)
	}
	again := aPhoto(1, taken)
	again.FileName = "renamed.jpg"
	p, duplicate, err := y.steps.RecordPhoto(y.ctx, y.sam, y.heron, again)
	y.do(err)
	if diff := cmp.Diff(first, p, cmpopts.EquateEmpty()); !duplicate || diff != "" {
		t.Errorf("second upload: duplicate %v; it differs from the first:\n%s", duplicate, diff)
	}
	if other := y.photo(y.sam, y.juniper, 1, taken); other.ID == first.ID {
		t.Error("another build's photo is the same record")
	}
	if n := got(jobs(y, journal.JobDerive))(t); n != 2 {
		t.Errorf("%d jobs, want one for each record", n)
	}
}

func TestRecordPhoto_sameFileFromEightPhones(t *testing.T) {
	y := newYard(t)
	ids := make([]journal.PhotoID, 8)
	var fresh int
	var lock sync.Mutex
	var all sync.WaitGroup
	for i := range ids {
		all.Go(func() {
			p, duplicate, err := y.steps.RecordPhoto(y.ctx, y.jory, y.heron, aPhoto(1, time.Time{}))
			lock.Lock()
			defer lock.Unlock()
			if err != nil {
				t.Error(err)
			}
			if ids[i] = p.ID; !duplicate {
				fresh++
			}
		})
	}
	all.Wait()
	if fresh != 1 || len(slices.Compact(ids)) != 1 {
		t.Errorf("%d recorded, ids %v", fresh, ids)
	}
}

func jobs(y *yard, kind journal.JobKind) (n int, err error) {
	err = y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		n, err = r.PendingJobs(kind)
		return err
	})
	return n, err
}

func TestRecordPhoto_doubtsATimeBeforeTheArrival(t *testing.T) {
	y := newYard(t) // heron arrived on 9 January, in Denver: from 07:00 UTC on
	before := y.photo(y.jory, y.heron, 1, time.Date(2026, 1, 9, 6, 59, 0, 0, time.UTC))
	if want := "The camera says 2026-01-08, and the truck arrived on 2026-01-09."; before.CapturedDoubt != want {
		t.Errorf("doubt is %q, want %q", before.CapturedDoubt, want)
	}
	if p := y.photo(y.jory, y.heron, 2, time.Date(2026, 1, 9, 7, 0, 0, 0, time.UTC)); p.CapturedDoubt != "" {
		t.Errorf("doubt on the day of arrival: %q", p.CapturedDoubt)
	}
	own := aPhoto(3, time.Date(2012, 1, 1, 0, 0, 0, 0, time.UTC))
	own.CapturedDoubt = "The clock was never set."
	p, _, err := y.steps.RecordPhoto(y.ctx, y.jory, y.heron, own)
	y.do(err)
	if p.CapturedDoubt != own.CapturedDoubt {
		t.Errorf("the file's own doubt became %q", p.CapturedDoubt)
	}
}

func TestPhotoJob(t *testing.T) {
	y := newYard(t)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	var job journal.Job
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		var err error
		job, _, err = tx.ClaimJob(y.now, time.Minute)
		return err
	}))
	if job.Kind != journal.JobDerive {
		t.Fatalf("job is %+v", job)
	}
	if found := got(y.steps.PhotoOfJob(y.ctx, job.Subject))(t); found.ID != p.ID || found.BuildID != p.BuildID {
		t.Errorf("the job is about %+v", found)
	}
	for _, subject := range []string{"", "x", "x/y", string(y.juniper) + "/" + string(p.ID)} {
		_, err := y.steps.PhotoOfJob(y.ctx, subject)
		refused(t, err, journal.NotFound)
	}
	y.do(y.steps.PhotoFailed(y.ctx, p, "The file ends too early."))
	if v := got(y.steps.PhotoShow(y.ctx, y.jory, y.heron, p.ID, ""))(t); v.Photo.State != journal.PhotoFailed || v.Photo.Fault != "The file ends too early." || v.By != "Jory Pike" {
		t.Errorf("photo is %+v", v.Photo)
	}
	p.Width, p.Height, p.Tone = 3024, 4032, "#aabbcc"
	y.do(y.steps.PhotoDerived(y.ctx, p))
	y.do(y.steps.PhotoDerived(y.ctx, p))
	v := got(y.steps.PhotoShow(y.ctx, y.jory, y.heron, p.ID, ""))(t)
	if v.Photo.State != journal.PhotoReady || v.Photo.Fault != "" || v.Photo.Width != 3024 || v.Photo.Tone != "#aabbcc" || v.Photo.FileName != "IMG_0001.jpg" {
		t.Errorf("photo is %+v", v.Photo)
	}
	p.BuildID = y.juniper
	refused(t, y.steps.PhotoDerived(y.ctx, p), journal.NotFound)
}

// Leafing goes through what the reader may see, newest entry first, each
// entry's photos in their order, and back the same way.
func TestPhotoShow_leafs(t *testing.T) {
	y := newYard(t)
	var photos []journal.Photo
	for i := range 8 {
		photos = append(photos, y.photo(y.jory, y.heron, i, time.Time{}))
	}
	post := func(audience journal.Audience, photos ...journal.Photo) journal.Entry {
		y.now = y.now.Add(time.Hour)
		return y.entry(y.jory, y.heron, audience, "Text", photos...)
	}
	oldest := post(journal.OwnerToo, photos[6], photos[7])
	post(journal.OwnerToo)
	hidden := post(journal.ShopOnly, photos[4], photos[5])
	gone := post(journal.OwnerToo, photos[3])
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, gone.ID, gone.Version, "blurred"))
	newest := post(journal.OwnerToo, photos[0], photos[6], photos[2]) // 6 stands in two entries

	at := func(e journal.Entry, i int) flow.PhotoPlace {
		return flow.PhotoPlace{EntryID: e.ID, PhotoID: photos[i].ID}
	}
	for _, c := range []struct {
		who  flow.Actor
		want []flow.PhotoPlace
	}{
		{y.ada, []flow.PhotoPlace{at(newest, 0), at(newest, 6), at(newest, 2), at(oldest, 6), at(oldest, 7)}},
		{y.sam, []flow.PhotoPlace{at(newest, 0), at(newest, 6), at(newest, 2), at(hidden, 4), at(hidden, 5), at(oldest, 6), at(oldest, 7)}},
	} {
		place := &c.want[0]
		var down, up []flow.PhotoPlace
		var last flow.PhotoPlace
		for place != nil && len(down) < 20 {
			v := got(y.steps.PhotoShow(y.ctx, c.who, y.heron, place.PhotoID, place.EntryID))(t)
			if !strings.HasPrefix(v.Caption, "of IMG_") || v.In.ID != place.EntryID {
				t.Errorf("photo %s: caption %q in %s", place.PhotoID, v.Caption, v.In.ID)
			}
			down, last, place = append(down, *place), *place, v.Next
		}
		for place = &last; place != nil && len(up) < 20; {
			up = append([]flow.PhotoPlace{*place}, up...)
			place = got(y.steps.PhotoShow(y.ctx, c.who, y.heron, place.PhotoID, place.EntryID))(t).Prev
		}
		if !slices.Equal(down, c.want) || !slices.Equal(up, c.want) {
			t.Errorf("%s leafs down %v and up %v, want %v", c.who.Person.Name, down, up, c.want)
		}
	}

	// Asked for without an entry, or with one they may not see, it is the newest.
	for _, in := range []journal.EntryID{"", hidden.ID, "x"} {
		if v := got(y.steps.PhotoShow(y.ctx, y.ada, y.heron, photos[6].ID, in))(t); v.In.ID != newest.ID || len(v.Entries) != 2 {
			t.Errorf("in %q: stands in %s of %d entries", in, v.In.ID, len(v.Entries))
		}
	}
	for _, i := range []int{1, 3, 4} { // loose, withdrawn, shop only
		_, err := y.steps.PhotoShow(y.ctx, y.ada, y.heron, photos[i].ID, "")
		refused(t, err, journal.NotFound)
	}
	if v := got(y.steps.PhotoShow(y.ctx, y.sam, y.heron, photos[1].ID, ""))(t); v.Prev != nil || v.Next != nil || v.In.ID != "" {
		t.Errorf("a loose photo stands in %+v", v.In)
	}
}

func TestPhoto_ownersGetNoOriginalNorPlace(t *testing.T) {
	y := newYard(t)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	y.entry(y.jory, y.heron, journal.OwnerToo, "Text", p)
	_, err := y.steps.PhotoOriginalAllowed(y.ctx, y.ada, y.heron, p.ID)
	refused(t, err, journal.Forbidden)
	shown := []journal.Photo{
		got(y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, p.ID))(t),
		got(y.steps.PhotoShow(y.ctx, y.ada, y.heron, p.ID, ""))(t).Photo,
		got(y.steps.JournalPage(y.ctx, y.ada, y.heron, flow.EntryQuery{}))(t).Photos[p.ID],
		*got(y.steps.OwnerOverview(y.ctx, y.ada, y.heron, time.Time{}))(t).Newest,
	}
	for i, s := range shown {
		if s.ID != p.ID || s.FileName != "" || s.Camera != "" || s.Located || s.Latitude != 0 || s.Longitude != 0 {
			t.Errorf("way %d shows %+v", i, s)
		}
	}
	if o := got(y.steps.PhotoOriginalAllowed(y.ctx, y.sam, y.heron, p.ID))(t); o.FileName == "" {
		t.Error("the shop is not told the file's name")
	}
}

// Evidence in a sent paper stays visible to the owner, though its entry is for
// the shop only.
func TestPhoto_evidenceOfASentPaper(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Rust under the mats", p)
	y.sendPaper(y.heron, e.ID)
	v := got(y.steps.PhotoShow(y.ctx, y.ada, y.heron, p.ID, ""))(t)
	if v.Photo.ID != p.ID || len(v.Entries) != 0 || v.In.ID != "" {
		t.Errorf("shown %+v", v)
	}
	got(y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, p.ID))(t)
	_, err := y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID)
	refused(t, err, journal.NotFound)
}

// sendPaper sends a change order for both front floor pans: 2,302.00 and six
// working days, borne by the last stage.
func (y *yard) sendPaper(build journal.BuildID, from journal.EntryID) signoff.Paper {
	y.t.Helper()
	p := got(y.steps.NewPaper(y.ctx, y.office, build, flow.PaperStart{Kind: signoff.ChangeOrder, EntryID: from}))(y.t)
	stages := y.view(build).Stages
	c := p.Draft
	c.Title, c.Reason, c.StageID, c.Days = "Both front floor pans", "Rust has eaten through.", stages[len(stages)-1].ID, 6
	c.Lines = []signoff.Line{
		{Kind: journal.Labour, Text: "Cut and weld", Minutes: 18 * 60, Rate: 9500},
		{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48_000},
		{Kind: journal.Parts, Text: "Seam sealer, primer", Amount: 11_200},
	}
	p = got(y.steps.SavePaper(y.ctx, y.office, build, p.ID, p.Version, c))(y.t)
	return got(y.steps.SendPaper(y.ctx, y.office, build, p.ID, p.Version))(y.t)
}
