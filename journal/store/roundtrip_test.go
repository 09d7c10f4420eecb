package store

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// same asserts that what came back is what went in. Times must be equal to the
// nanosecond, and UTC.
func same(t testing.TB, want, got any) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("what came back differs (-stored +read):\n%s", diff)
	}
}

func TestRoundTrip_People(t *testing.T) {
	s, f := yard(t), &filler{}
	fix := func(p *journal.Person) { p.ID, p.Email, p.Role = "someone", "someone@example.org", journal.Floor }
	p := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddPerson(p) })
	same(t, p, get(t, s, func(r flow.Reads) (journal.Person, error) { return r.Person("someone") }))

	p = fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.SavePerson(p) })
	same(t, p, get(t, s, func(r flow.Reads) (journal.Person, error) { return r.PersonByEmail("Someone@Example.org ") }))
}

func TestRoundTrip_Sessions(t *testing.T) {
	s, f := yard(t), &filler{}
	session := fill(t, f, func(v *journal.Session) { v.TokenHash, v.PersonID = "hash", ada })
	link := fill(t, f, func(v *journal.Link) { v.TokenHash, v.PersonID, v.Purpose = "hash", ada, journal.LinkSignIn })
	form := fill(t, f, func(v *journal.KeptForm) { v.TokenHash, v.PersonID = "hash", ada })
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddSession(session); err != nil {
			return err
		}
		if err := tx.AddLink(link); err != nil {
			return err
		}
		return tx.AddKeptForm(form)
	})
	same(t, session, get(t, s, func(r flow.Reads) (journal.Session, error) { return r.Session("hash") }))
	same(t, link, get(t, s, func(r flow.Reads) (journal.Link, error) { return r.Link("hash") }))
	same(t, form, get(t, s, func(r flow.Reads) (journal.KeptForm, error) { return r.KeptForm("hash") }))

	live := fill(t, f, func(v *journal.Session) { v.TokenHash, v.PersonID = "other", ada })
	live.EndedAt = journal.Session{}.EndedAt
	write(t, s, func(tx flow.Tx) error { return tx.AddSession(live) })
	saved := fill(t, f, func(v *journal.Session) { v.TokenHash, v.PersonID = "other", ben })
	write(t, s, func(tx flow.Tx) error { return tx.SaveSession(saved) })
	same(t, saved, get(t, s, func(r flow.Reads) (journal.Session, error) { return r.Session("other") }))
}

func TestRoundTrip_Shop(t *testing.T) {
	s, f := yard(t), &filler{}
	for version := range 2 {
		shop := fill(t, f, func(v *journal.Shop) { v.Version = 1 })
		shop.Version = version
		write(t, s, func(tx flow.Tx) error { return tx.SaveShop(shop) })
		shop.Version++
		same(t, shop, get(t, s, flow.Reads.Shop))
	}
	write(t, s, func(tx flow.Tx) error { return tx.SetMeta("key", "one") })
	write(t, s, func(tx flow.Tx) error { return tx.SetMeta("key", "two") })
	same(t, "two", get(t, s, func(r flow.Reads) (string, error) { return r.Meta("key") }))

	fix := func(p *journal.Plan) { p.ID, p.Version = "plan", 7 }
	plan := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddPlan(plan) })
	same(t, plan, get(t, s, func(r flow.Reads) (journal.Plan, error) { return r.Plan("plan") }))
	plan = fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.SavePlan(plan) })
	plan.Version++
	same(t, []journal.Plan{plan}, get(t, s, flow.Reads.Plans))
}

func TestRoundTrip_Builds(t *testing.T) {
	s, f := yard(t), &filler{}
	fix := func(b *journal.Build) {
		b.ID, b.State, b.LeadID, b.Version = "bramble", journal.Scoping, jory, 3
		b.ArrivedOn, b.ReadyOn, b.AgreedOn, b.DeliveredOn, b.StoppedOn = "2026-01-01", "2026-01-02", "2026-01-03", "2026-01-04", "2026-01-05"
	}
	b := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddBuild(b) })
	same(t, b, get(t, s, func(r flow.Reads) (journal.Build, error) { return r.Build("bramble") }))
	b = fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.SaveBuild(b) })
	b.Version++
	same(t, b, get(t, s, func(r flow.Reads) (journal.Build, error) { return r.Build("bramble") }))

	// Only current members are read, so an ended one is compared as a row.
	write(t, s, func(tx flow.Tx) error {
		return tx.AddPaper(signoff.Paper{ID: "named", BuildID: heron, Kind: signoff.ChangeOrder, State: signoff.Drafted, CreatedBy: pat, CreatedAt: noon})
	})
	m := fill(t, f, func(m *journal.Member) {
		m.BuildID, m.PersonID, m.As, m.PaperID, m.EndedBy = heron, ada, journal.AsDelegate, "named", pat
	})
	write(t, s, func(tx flow.Tx) error { return tx.AddMember(m) })
	var row memberRow
	if err := s.reader.Take(&row).Error; err != nil {
		t.Fatal(err)
	}
	same(t, m, row.member())

	for range 2 {
		v := fill(t, f, func(v *journal.Visit) { v.BuildID, v.PersonID = heron, ada })
		write(t, s, func(tx flow.Tx) error { return tx.SaveVisit(v) })
		same(t, v, get(t, s, func(r flow.Reads) (journal.Visit, error) { return r.Visit(heron, ada) }))
	}
}

func TestRoundTrip_Stages(t *testing.T) {
	s, f := yard(t), &filler{}
	write(t, s, func(tx flow.Tx) error {
		return tx.AddPaper(signoff.Paper{ID: "dropped", BuildID: heron, Kind: signoff.ChangeOrder, State: signoff.Drafted, CreatedBy: pat, CreatedAt: noon})
	})
	fix := func(v *journal.Stage) {
		v.DroppedBy = "dropped"
		v.ID, v.BuildID, v.State, v.LeadID, v.Version = "paint", heron, journal.Closed, jory, 3
		v.PlannedFrom, v.PlannedTo = "2026-01-01", "2026-01-02"
	}
	stage := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddStage(stage) })
	same(t, stage, get(t, s, func(r flow.Reads) (journal.Stage, error) { return r.Stage(heron, "paint") }))
	stage = fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.SaveStage(stage) })
	stage.Version++
	same(t, stage, get(t, s, func(r flow.Reads) (journal.Stage, error) { return r.Stage(heron, "paint") }))

	check := fill(t, f, func(v *journal.Check) { v.StageID, v.PersonID = "paint", jory })
	turn := fill(t, f, func(v *journal.Turn) { v.StageID, v.ByID, v.To = "paint", pat, journal.UnderWay })
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddCheck(check); err != nil {
			return err
		}
		return tx.AddTurn(turn)
	})
	same(t, []journal.Check{check}, get(t, s, func(r flow.Reads) ([]journal.Check, error) { return r.Checks("paint") }))
	same(t, []journal.Turn{turn}, get(t, s, func(r flow.Reads) ([]journal.Turn, error) { return r.Turns(heron) }))
}

func TestRoundTrip_Photos(t *testing.T) {
	s, f := yard(t), &filler{}
	for _, id := range []journal.CorrectionID{"first", "second"} {
		c := fill(t, f, func(c *journal.ClockCorrection) {
			c.ID, c.BuildID, c.PhotoID, c.ByID, c.UndoneBy = id, heron, "one", jory, pat
		})
		c.BuildID, c.PhotoID, c.UndoneAt, c.UndoneBy = "", "", time.Time{}, ""
		write(t, s, func(tx flow.Tx) error { return tx.AddCorrection(c) })
	}
	fix := func(p *journal.Photo) {
		p.ID, p.BuildID, p.SHA256, p.ByID, p.State = "one", heron, photo(heron, 1).SHA256, jory, journal.PhotoFailed
		p.Hash, p.HandedOutBy, p.CorrectionID = "00ff00ff00ff00ff", pat, "first"
	}
	p := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddPhoto(p) })
	now := func() journal.Photo {
		return get(t, s, func(r flow.Reads) (journal.Photo, error) { return r.Photo(heron, "one") })
	}
	same(t, p, now())

	// Each of these stores what it is for, and nothing else.
	late := fill(t, f, fix)
	late.Hash, late.HandedOutBy, late.CorrectionID = "1111111111111111", jory, "second"
	write(t, s, func(tx flow.Tx) error { return tx.SavePhoto(late) })
	p.State, p.Fault, p.Tone, p.Hash, p.Preview, p.Width, p.Height = late.State, late.Fault, late.Tone, late.Hash, late.Preview, late.Width, late.Height
	same(t, p, now())
	write(t, s, func(tx flow.Tx) error { return tx.SavePhotoTime(late) })
	p.CapturedAt, p.CapturedDoubt, p.CorrectionID = late.CapturedAt, late.CapturedDoubt, late.CorrectionID
	same(t, p, now())
	write(t, s, func(tx flow.Tx) error { return tx.SavePhotoHandedOut(late) })
	p.HandedOutAt, p.HandedOutBy = late.HandedOutAt, late.HandedOutBy
	same(t, p, now())
	same(t, p, get(t, s, func(r flow.Reads) (journal.Photo, error) { return r.PhotoBySHA(heron, p.SHA256) }))

	sets := []journal.LayerSet{}
	for n := range 2 {
		set := fill(t, f, func(l *journal.LayerSet) { l.BuildID, l.PhotoID, l.ByID, l.Layer.Number = heron, "one", jory, n+1 })
		write(t, s, func(tx flow.Tx) error { return tx.AddLayer(set) })
		sets, p.Layer = append(sets, set), set.Layer
		same(t, p, now())
	}
	same(t, sets, get(t, s, func(r flow.Reads) ([]journal.LayerSet, error) { return r.Layers(heron, "one") }))
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddLayer(sets[1]) })
}

func TestRoundTrip_Corrections(t *testing.T) {
	s, f := yard(t), &filler{}
	p := photo(heron, 1)
	c := fill(t, f, func(c *journal.ClockCorrection) {
		c.ID, c.BuildID, c.PhotoID, c.ByID, c.UndoneBy = "one", heron, p.ID, jory, pat
	})
	undone := c
	c.UndoneAt, c.UndoneBy = time.Time{}, ""
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddPhoto(p); err != nil {
			return err
		}
		return tx.AddCorrection(c)
	})
	same(t, c, get(t, s, func(r flow.Reads) (journal.ClockCorrection, error) { return r.Correction("one") }))
	undo := func(tx flow.Tx) error { return tx.UndoCorrection("one", undone.UndoneBy, undone.UndoneAt) }
	write(t, s, undo)
	same(t, []journal.ClockCorrection{undone}, get(t, s, func(r flow.Reads) ([]journal.ClockCorrection, error) { return r.CorrectionsOf(c.Camera) }))
	same(t, []journal.ClockCorrection{undone}, get(t, s, flow.Reads.Corrections))
	refused(t, s, journal.Conflict, undo)
}

func TestRoundTrip_Entries(t *testing.T) {
	s, f := yard(t), &filler{}
	a, b := photo(heron, 1), photo(heron, 2)
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddPhoto(a); err != nil {
			return err
		}
		return tx.AddPhoto(b)
	})
	fix := func(e *journal.Entry) {
		e.ID, e.BuildID, e.StageID, e.AuthorID, e.Kind, e.Audience, e.Version = "entry", heron, teardown, jory, journal.KindFind, journal.OwnerToo, 3
		e.Photos[0].PhotoID, e.Photos[1].PhotoID = a.ID, b.ID
	}
	e := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddEntry(e) })
	same(t, e, get(t, s, func(r flow.Reads) (journal.Entry, error) { return r.Entry(heron, "entry") }))

	e = fill(t, f, fix)
	e.Photos[0].PhotoID, e.Photos[1].PhotoID = b.ID, a.ID // order matters
	edit := fill(t, f, func(v *journal.EntryEdit) {
		v.EntryID, v.Version, v.StageID, v.ByID, v.Kind, v.Audience = "entry", 3, teardown, pat, journal.KindVisit, journal.ShopOnly
	})
	write(t, s, func(tx flow.Tx) error { return tx.SaveEntry(e, edit) })
	e.Version++
	same(t, e, get(t, s, func(r flow.Reads) (journal.Entry, error) { return r.Entry(heron, "entry") }))
	same(t, []journal.EntryEdit{edit}, get(t, s, func(r flow.Reads) ([]journal.EntryEdit, error) { return r.EntryEdits("entry") }))
}

func TestRoundTrip_Papers(t *testing.T) {
	s, f := yard(t), &filler{}
	addFind(t, s)
	fix := func(p *signoff.Paper) {
		p.ID, p.BuildID, p.Kind, p.State, p.EntryID, p.CreatedBy, p.Draft.StageID, p.Version = "paper", heron, signoff.ChangeOrder, signoff.Sent, "find", pat, teardown, 3
	}
	p := fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.AddPaper(p) })
	same(t, p, get(t, s, func(r flow.Reads) (signoff.Paper, error) { return r.Paper(heron, "paper") }))
	p = fill(t, f, fix)
	write(t, s, func(tx flow.Tx) error { return tx.SavePaper(p) })
	p.Version++
	same(t, []signoff.Paper{p}, get(t, s, func(r flow.Reads) ([]signoff.Paper, error) { return r.Papers(heron) }))

	bytes := sheet(t, heron, 1, "find-photo")
	rev := fill(t, f, func(r *signoff.Revision) {
		r.PaperID, r.Number, r.Bytes, r.SHA256, r.SentBy = "paper", 1, bytes, signoff.Hash(bytes), pat
	})
	letter := fill(t, f, func(l *journal.Letter) { l.ID, l.BuildID, l.PersonID, l.Reminds = "letter", heron, ada, "invoice" })
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(invoice("invoice", heron, 1, "stage:teardown")) })
	d := fill(t, f, func(d *signoff.Decision) {
		d.PaperID, d.Revision, d.SHA256, d.Outcome, d.PersonID, d.As, d.CopyLetterID = "paper", 1, rev.SHA256, signoff.OutcomeDeclined, ada, journal.AsDelegate, "letter"
		d.Manner, d.RecordedBy, d.ScanID, d.Passkey = signoff.OnPaper, pat, "scan", `{"id":"k"}`
	})
	q := fill(t, f, func(q *signoff.Question) {
		q.ID, q.PaperID, q.Revision, q.AskedBy, q.AnsweredBy = "question", "paper", 1, ada, pat
	})
	scan := fill(t, f, func(v *signoff.Scan) {
		v.ID, v.PaperID, v.Revision, v.ByID, v.SHA256 = "scan", "paper", 1, pat, signoff.Hash(v.Data)
	})
	write(t, s, func(tx flow.Tx) error {
		for _, err := range []error{tx.AddRevision(rev), tx.AddScan(scan), tx.AddDecision(d), tx.AddQuestion(q), tx.AddLetter(letter)} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	same(t, rev, get(t, s, func(r flow.Reads) (signoff.Revision, error) { return r.Revision("paper", 1) }))
	same(t, d, get(t, s, func(r flow.Reads) (signoff.Decision, error) { return r.Decision("paper") }))
	same(t, []signoff.Question{q}, get(t, s, func(r flow.Reads) ([]signoff.Question, error) { return r.Questions("paper") }))
	same(t, letter, get(t, s, func(r flow.Reads) (journal.Letter, error) { return r.Letter("letter") }))

	open := signoff.Question{ID: "open", PaperID: "paper", Revision: 1, AskedBy: ada, Text: "Why?", AskedAt: noon}
	write(t, s, func(tx flow.Tx) error { return tx.AddQuestion(open) })
	answered := fill(t, f, func(q *signoff.Question) {
		q.ID, q.PaperID, q.Revision, q.AskedBy, q.AnsweredBy, q.Text, q.AskedAt = "open", "paper", 1, ada, jory, open.Text, open.AskedAt
	})
	write(t, s, func(tx flow.Tx) error { return tx.AnswerQuestion(answered) })
	same(t, []signoff.Question{answered, q}, get(t, s, func(r flow.Reads) ([]signoff.Question, error) { return r.Questions("paper") }))

	// A consent that has ended is not read any more, so it is compared as a row.
	c := fill(t, f, func(c *signoff.Consent) { c.PersonID = ada })
	write(t, s, func(tx flow.Tx) error { return tx.AddConsent(c) })
	var row consentRow
	if err := s.reader.Take(&row).Error; err != nil {
		t.Fatal(err)
	}
	same(t, c, row.consent())
}

func TestRoundTrip_Letters(t *testing.T) {
	s, f := yard(t), &filler{}
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(invoice("invoice", heron, 1, "stage:teardown")) })
	fix := func(l *journal.Letter) { l.ID, l.BuildID, l.PersonID, l.Reminds = "letter", heron, ada, "invoice" }
	l := fill(t, f, fix)
	l.Files = append(l.Files, journal.LetterFile{Name: "empty.txt", ContentType: "text/plain", Data: []byte{}})
	write(t, s, func(tx flow.Tx) error { return tx.AddLetter(l) })
	same(t, []journal.Letter{l}, get(t, s, func(r flow.Reads) ([]journal.Letter, error) { return r.Letters(5) }))

	// SaveLetter stores what became of it, and nothing else.
	next, dropped := l, l
	next.ID, next.Dropped, next.SentAt = "next", "", time.Time{}
	dropped.ID, dropped.Dropped, dropped.SentAt = "dropped", "", time.Time{}
	write(t, s, func(tx flow.Tx) error { return errors.Join(tx.AddLetter(next), tx.AddLetter(dropped)) })
	late := fill(t, f, fix)
	late.ID, late.Dropped = "next", ""
	write(t, s, func(tx flow.Tx) error { return tx.SaveLetter(late) })
	next.SentAt, next.Tries, next.Fault = late.SentAt, late.Tries, late.Fault
	same(t, next, get(t, s, func(r flow.Reads) (journal.Letter, error) { return r.Letter("next") }))
	dropped.Dropped = "It was not sent."
	write(t, s, func(tx flow.Tx) error { return tx.SaveLetter(dropped) })
	same(t, dropped, get(t, s, func(r flow.Reads) (journal.Letter, error) { return r.Letter("dropped") }))
	// It is sent or dropped, and stays so.
	dropped.SentAt = noon
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.SaveLetter(dropped) })
	next.Dropped = "It was not sent."
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.SaveLetter(next) })
}

func TestRoundTrip_Money(t *testing.T) {
	s, f := yard(t), &filler{}
	for range 2 {
		terms := fill(t, f, func(*billing.Terms) {})
		write(t, s, func(tx flow.Tx) error { return tx.SaveTerms(heron, terms) })
		same(t, terms, get(t, s, func(r flow.Reads) (billing.Terms, error) { return r.Terms(heron) }))
	}

	inv := fill(t, f, func(i *flow.Invoice) {
		i.ID, i.BuildID, i.StageID, i.IssuedBy, i.Document.ID, i.Document.Kind = "invoice", heron, teardown, pat, "invoice", billing.HoldbackRelease
		d := &i.Document
		d.Payable = d.Subtotal + d.Tax - d.DepositCredit - d.Holdback
	})
	// Of a document that cancels another the charges must have been billed.
	same(t, inv, toInvoiceRow(inv).invoice())
	inv.Document.Cancels = ""
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(inv) })
	same(t, inv, get(t, s, func(r flow.Reads) (flow.Invoice, error) { return r.Invoice(heron, "invoice") }))

	filled := fill(t, f, func(p *journal.Payment) { p.On = "2026-04-13" })
	same(t, filled, toPaymentRow(filled).payment())
	// A refund of money on account, and its reversal; then one for the invoice.
	refund := filled
	refund.ID, refund.BuildID, refund.InvoiceID, refund.Amount, refund.ReversesID, refund.RecordedBy = "refund", heron, "", -50_00, "", pat
	back := refund
	back.ID, back.Amount, back.ReversesID, back.On = "back", 50_00, "refund", "2026-04-20"
	payments := []journal.Payment{
		refund, back,
		{ID: "first", BuildID: heron, InvoiceID: "invoice", Amount: 120_00, On: "2026-04-14", Means: journal.Cheque},
		{ID: "deposit", BuildID: heron, Amount: 1, On: "2026-04-14", Means: journal.Cash},
	}
	for i := range payments {
		payments[i].RecordedAt = noon
		write(t, s, func(tx flow.Tx) error { return tx.AddPayment(payments[i]) })
	}
	same(t, payments, get(t, s, func(r flow.Reads) ([]journal.Payment, error) { return r.Payments(heron) }))

	reminder := journal.Reminder{InvoiceID: "invoice", Step: -3, At: noon}
	write(t, s, func(tx flow.Tx) error { return tx.AddReminder(reminder) })
	same(t, []journal.Reminder{reminder}, get(t, s, func(r flow.Reads) ([]journal.Reminder, error) { return r.Reminders("invoice") }))
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddReminder(reminder) })
}

func TestRoundTrip_Work(t *testing.T) {
	s, f := yard(t), &filler{}
	filled := fill(t, f, func(w *journal.Work) { w.Kind, w.Day = journal.Parts, "2026-04-14" })
	same(t, filled, toWorkRow(filled).work())
	first := filled
	first.ID, first.BuildID, first.StageID, first.PersonID, first.ByID, first.TakesBack = "first", heron, teardown, jory, pat, ""
	first.Minutes, first.Amount, first.MarkUp, first.FileSHA256 = 30, 40_00, 1000, strings.Repeat("a", 64)
	back := first
	back.ID, back.TakesBack, back.Minutes, back.Amount, back.Cost = "back", "first", -30, -40_00, -first.Cost
	file := fill(t, f, func(w *journal.WorkFile) { w.WorkID, w.SHA256 = "first", strings.Repeat("a", 64) })
	write(t, s, func(tx flow.Tx) error {
		for _, err := range []error{tx.AddWork(first), tx.AddWorkFile(file), tx.AddWork(back)} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	same(t, []journal.Work{first, back}, get(t, s, func(r flow.Reads) ([]journal.Work, error) { return r.Works(heron) }))
	same(t, file, get(t, s, func(r flow.Reads) (journal.WorkFile, error) { return r.WorkFileOf(heron, "first") }))
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.WorkFileOf("nowhere", "first"); return err })
	again := back
	again.ID = "again"
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddWork(again) })
	for _, kind := range journal.WorkKinds { // the table knows each by name
		one := first
		one.ID, one.Kind = journal.WorkID(kind), kind
		write(t, s, func(tx flow.Tx) error { return tx.AddWork(one) })
	}
}

func TestRoundTrip_EventsAndJobs(t *testing.T) {
	s, f := yard(t), &filler{}
	e := fill(t, f, func(e *journal.Event) {
		e.BuildID, e.PersonID, e.Detail, e.Seq, e.Kind, e.Subject = heron, ada, `{"a":1}`, 99, "paper sent", "é paper" // of one line
	})
	write(t, s, func(tx flow.Tx) error {
		given, err := tx.AddEvent(e)
		e.Seq = 1
		same(t, e, given)
		return err
	})
	same(t, []journal.Event{e}, get(t, s, func(r flow.Reads) ([]journal.Event, error) { return r.Events(heron) }))

	// A job's fields are set by its life, so here by hand.
	job := fill(t, f, func(*journal.Job) {})
	row := jobRow{
		ID: job.ID, Kind: string(job.Kind), Subject: job.Subject, CreatedAt: at(job.CreatedAt), RunAt: at(job.RunAt),
		LeaseUntil: at(job.LeaseUntil), Tries: job.Tries, DoneAt: at(job.DoneAt), Fault: job.Fault,
	}
	if err := s.writer.Create(&row).Error; err != nil {
		t.Fatal(err)
	}
	var back jobRow
	if err := s.reader.Take(&back).Error; err != nil {
		t.Fatal(err)
	}
	same(t, job, back.job())
}

// addFind puts an entry with one photo, for the shop only, into Heron.
func addFind(t testing.TB, s *Store) {
	t.Helper()
	p := photo(heron, 500)
	p.ID = "find-photo"
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddPhoto(p); err != nil {
			return err
		}
		return tx.AddEntry(journal.Entry{
			ID: "find", BuildID: heron, StageID: teardown, AuthorID: jory, Kind: journal.KindFind, Audience: journal.ShopOnly,
			Text: "The floor pan is through.", HappenedAt: noon, PostedAt: noon, Photos: []journal.EntryPhoto{{PhotoID: p.ID}},
		})
	})
}

// sheet is the byte form of a small change order with the given evidence.
func sheet(t testing.TB, build journal.BuildID, revision int, photos ...journal.PhotoID) []byte {
	t.Helper()
	s := signoff.Sheet{
		Format: signoff.Format, Kind: signoff.ChangeOrder, Number: 1, Revision: revision, Title: "Floor pans",
		Build: signoff.SheetBuild{ID: build, Owners: []string{}}, Photos: []signoff.SheetPhoto{}, Lines: []signoff.SheetLine{},
		TaxRates: []signoff.SheetRate{}, Notices: []string{},
	}
	for _, id := range photos {
		s.Photos = append(s.Photos, signoff.SheetPhoto{ID: id, SHA256: photo(build, 500).SHA256})
	}
	b, err := s.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return b
}
