package flow_test

import (
	"bytes"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// called is a phone agreement as the office would record it an hour after the
// paper was sent.
func (y *yard) called(p signoff.Paper) flow.ByPhone {
	y.t.Helper()
	v := got(y.steps.PaperPage(y.ctx, y.office, p.BuildID, p.ID))(y.t)
	return flow.ByPhone{
		Otherwise: flow.Otherwise{Revision: v.Sheet.Revision, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, PersonID: y.ada.Person.ID},
		At:        y.now, Phone: "555 0100", SpokeWith: "Marta Quill", Delta: v.Sheet.DeltaWithTax, Total: v.Sheet.TotalAfter,
	}
}

// posted is a paper signed by hand as the office would record it.
func (y *yard) posted(p signoff.Paper) flow.OnPaper {
	y.t.Helper()
	v := got(y.steps.PaperPage(y.ctx, y.office, p.BuildID, p.ID))(y.t)
	return flow.OnPaper{
		Otherwise: flow.Otherwise{Revision: v.Sheet.Revision, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, PersonID: y.ada.Person.ID, PartsBack: true},
		Name:      "Ada Finch", On: "2026-04-14", ScanName: "scan.pdf", Scan: []byte("%PDF-1.7 signed"),
	}
}

// The record holds what C.R.S. 42-9-105 (Colorado) asks for: date, time and
// manner of the consent, the number called, and the names of who gave and who
// received it; and what the notices of the Californian trade add: the amount and
// the new total.
func TestByPhone_KeepsWhatTheLawNames(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	before := y.agreedTotal(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	y.now = y.now.Add(time.Hour)
	in := y.called(p)
	y.now = y.now.Add(20 * time.Minute) // typed in later
	d := got(y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, in))(t)
	if d.Manner != signoff.ByPhone || !d.HappenedAt.Equal(in.At) || d.Phone != "555 0100" || d.SpokeWith != "Marta Quill" || d.TypedName != "Ada Finch" ||
		d.RecordedBy != y.office.Person.ID || d.ConsentVersion != "" {
		t.Errorf("kept: %+v", d)
	}
	for _, text := range []string{"Ada Finch agreed by phone to Change order 1", "+2,302.00", "16,302.00"} {
		if !strings.Contains(d.Sentence, text) {
			t.Errorf("the sentence %q does not say %q", d.Sentence, text)
		}
	}
	if total := y.agreedTotal(y.heron); total != before+230_200 {
		t.Errorf("agreed %s", total)
	}
	event := y.events(y.heron, "paper signed")[0]
	for _, text := range []string{`"manner":"by phone"`, `"phone":"555 0100"`, `"spoke_with":"Marta Quill"`, `"happened_at":"2026-04-14T22:12:00Z"`} {
		if !strings.Contains(event.Detail, text) {
			t.Errorf("the log does not hold %s: %s", text, event.Detail)
		}
	}
	y.waits(y.heron, "owner confirm", "us start")
	// The owner confirms; the delegate, who did not speak, cannot.
	refused(t, y.steps.Confirm(y.ctx, y.dell, y.heron, p.ID, true, "Dell Finch", ""), journal.Forbidden)
	refused(t, y.steps.Confirm(y.ctx, y.ben, y.heron, p.ID, true, "Ben Marsh", ""), journal.NotFound)
	refused(t, y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, true, "", ""), journal.Invalid, "name")
	y.do(y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, true, "Ada Finch", ""))
	y.do(y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, true, "Ada Finch", ""))
	refused(t, y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, false, "Ada Finch", "No."), journal.Conflict)
	y.waits(y.heron, "us start")
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}

func TestByPhone_Disputed(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	got(y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, y.called(p)))(t)
	refused(t, y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, false, "Ada Finch", ""), journal.Invalid, "text")
	y.do(y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, false, "Ada Finch", "I said I would think about it."))
	y.waits(y.heron, "us dispute", "us start")
	if n := len(y.events(y.heron, "phone agreement disputed")); n != 1 {
		t.Errorf("%d events", n)
	}
}

func TestByPhone_Refused(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	cases := []struct {
		name, field string
		change      func(*flow.ByPhone)
	}{
		{"a call to come", "called_at", func(in *flow.ByPhone) { in.At = y.now.Add(time.Minute) }},
		{"before the paper was there", "called_at", func(in *flow.ByPhone) { in.At = y.now.Add(-time.Hour) }},
		{"no time", "called_at", func(in *flow.ByPhone) { in.At = time.Time{} }},
		{"no number", "phone", func(in *flow.ByPhone) { in.Phone = "" }},
		{"nobody of the shop", "spoke_with", func(in *flow.ByPhone) { in.SpokeWith = "" }},
		{"another amount", "total", func(in *flow.ByPhone) { in.Delta++ }},
		{"another total", "total", func(in *flow.ByPhone) { in.Total-- }},
		{"somebody else's owner", "person", func(in *flow.ByPhone) { in.PersonID = y.ben.Person.ID }},
		{"a technician", "person", func(in *flow.ByPhone) { in.PersonID = y.jory.Person.ID }},
		{"no outcome", "outcome", func(in *flow.ByPhone) { in.Outcome = "" }},
		{"declined without a reason", "reason", func(in *flow.ByPhone) { in.Outcome = signoff.OutcomeDeclined }},
	}
	for _, c := range cases {
		in := y.called(p)
		c.change(&in)
		_, err := y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, in)
		if journal.CodeOf(err) != journal.Invalid || journal.ProblemsOf(err)[c.field] == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	for _, a := range []flow.Actor{y.jory, y.ada} {
		_, err := y.steps.RecordByPhone(y.ctx, a, y.heron, p.ID, y.called(p))
		refused(t, err, journal.Forbidden)
	}
	// What must be signed cannot be said.
	for _, p := range []signoff.Paper{
		y.paper(y.heron, signoff.Teardown, asItIs),
		y.paper(y.heron, signoff.ChangeOrder, func(d *signoff.Draft) {
			d.StageID, d.Allowance = y.stage(y.heron, 8).ID, &signoff.Limits{PerFind: 100, PerMonth: 100}
		}),
	} {
		_, err := y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, y.called(p))
		refused(t, err, journal.Conflict)
	}
	// Nothing is confirmed that was signed on its page.
	y.do(y.sign(y.ada, p))
	refused(t, y.steps.Confirm(y.ctx, y.ada, y.heron, p.ID, true, "Ada Finch", ""), journal.Conflict)
}

func TestOnPaper_WithItsScan(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	before := y.agreedTotal(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.posted(p)
	d := got(y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, in))(t)
	// Noon of 14 April 2026 in Denver is 18:00 UTC (UTC-6 in summer, 15 U.S.C.
	// 260a).
	if d.Manner != signoff.OnPaper || !d.HappenedAt.Equal(time.Date(2026, 4, 14, 18, 0, 0, 0, time.UTC)) || !d.PartsBack || d.Sentence != signoff.ChangeOrder.SignSentence() {
		t.Errorf("kept: %+v", d)
	}
	if y.agreedTotal(y.heron) != before+230_200 {
		t.Error("it has no effect")
	}
	scan := got(y.steps.ScanOf(y.ctx, y.ada, y.heron, p.ID))(t)
	if !bytes.Equal(scan.Data, in.Scan) || scan.SHA256 != signoff.Hash(in.Scan) || scan.ContentType != "application/pdf" {
		t.Errorf("the scan: %+v", scan)
	}
	if _, err := y.steps.ScanOf(y.ctx, y.ben, y.heron, p.ID); journal.CodeOf(err) != journal.NotFound {
		t.Errorf("another owner gets the scan: %v", err)
	}
	if event := y.events(y.heron, "scan kept")[0]; !strings.Contains(event.Detail, scan.SHA256) {
		t.Errorf("the log does not hold the scan's hash: %s", event.Detail)
	}
}

func TestOnPaper_Refused(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	cases := []struct {
		name, field string
		change      func(*flow.OnPaper)
	}{
		{"no scan", "scan", func(in *flow.OnPaper) { in.Scan = nil }},
		{"a program", "scan", func(in *flow.OnPaper) { in.Scan = []byte("MZ\x90") }},
		{"a web page called a PDF", "scan", func(in *flow.OnPaper) { in.Scan = []byte("<html>") }},
		{"too large", "scan", func(in *flow.OnPaper) {
			in.Scan = append([]byte("%PDF-"), make([]byte, signoff.MaxScanBytes)...)
		}},
		{"no day", "signed_on", func(in *flow.OnPaper) { in.On = "" }},
		{"a day to come", "signed_on", func(in *flow.OnPaper) { in.On = "2026-04-15" }},
		{"before it was sent", "signed_on", func(in *flow.OnPaper) { in.On = "2026-04-13" }},
		{"no name", "name", func(in *flow.OnPaper) { in.Name = "" }},
	}
	for _, c := range cases {
		in := y.posted(p)
		c.change(&in)
		_, err := y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, in)
		if journal.CodeOf(err) != journal.Invalid || journal.ProblemsOf(err)[c.field] == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	stale := y.posted(p)
	stale.SHA256 = strings.Repeat("0", 64)
	_, err := y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, stale)
	refused(t, err, journal.Conflict)
}

// The agreement itself may be signed by hand.
func TestOnPaper_TheAgreement(t *testing.T) {
	y := newYard(t)
	y.priced(y.heron, 0, journal.Split{Labour: 100_000})
	p := y.paper(y.heron, signoff.BuildAgreement, onDay("2026-09-24"))
	in := y.posted(p)
	in.PersonID = y.dell.Person.ID
	_, err := y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, in)
	refused(t, err, journal.Invalid, "person") // a delegate cannot
	got(y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, y.posted(p)))(t)
	if b := y.view(y.heron).Build; b.State != journal.Agreed || b.AgreedHow != "Build agreement 1, revision 1, signed on paper by Ada Finch" {
		t.Errorf("the build: %+v", b)
	}
}

// Owner, phone and post at once: one decision.
func TestDecide_EveryWayAtOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	for range 5 {
		p := y.sent(y.heron, y.pans(y.heron, 8))
		form, call, post := y.form(y.ada, p, signoff.OutcomeSigned), y.called(p), y.posted(p)
		var wg sync.WaitGroup
		kept := make(chan signoff.Decision, 3)
		for _, decide := range []func() (signoff.Decision, error){
			func() (signoff.Decision, error) { return y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, form) },
			func() (signoff.Decision, error) {
				return y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, call)
			},
			func() (signoff.Decision, error) {
				return y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, post)
			},
		} {
			wg.Go(func() {
				if d, err := decide(); err == nil {
					kept <- d
				}
			})
		}
		wg.Wait()
		if len(kept) != 1 {
			t.Fatalf("%d decisions were kept", len(kept))
		}
	}
}

// Withdrawn between opening and signing; from then on papers go by post.
func TestConsent_WithdrawnGoesByPost(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	open := y.form(y.ada, p, signoff.OutcomeSigned)
	y.do(y.steps.WithdrawConsent(y.ctx, y.ada))
	if _, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, open); !errors.Is(err, flow.ErrConsent) {
		t.Fatalf("signed after withdrawing: %v", err)
	}
	letters := len(got(allLetters(y))(t))
	next := y.paper(y.heron, signoff.DateChange, func(d *signoff.Draft) { d.Days = 3 })
	told := got(allLetters(y))(t)
	if n := len(told) - letters; n != 1 || told[0].PersonID != y.dell.Person.ID {
		t.Errorf("%d letters were sent, want one, to the delegate", n)
	}
	v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, next.ID))(t)
	if len(v.Postings) != 1 || v.Postings[0].PersonID != y.ada.Person.ID || !v.ByPost[y.ada.Person.ID] || v.ByPost[y.dell.Person.ID] {
		t.Errorf("by post: %+v, %v", v.Postings, v.ByPost)
	}
	if v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, next.ID))(t); len(v.Postings) != 0 {
		t.Error("the owner's page tells of the office's post")
	}
	y.waits(y.heron, "owner decision", "owner decision", "us post", "us start")
	mark := func(a flow.Actor, on journal.Date) error {
		return y.steps.MarkPosted(y.ctx, a, y.heron, next.ID, 1, y.ada.Person.ID, on)
	}
	refused(t, mark(y.jory, "2026-04-14"), journal.Forbidden)
	refused(t, mark(y.office, ""), journal.Invalid, "posted_on")
	refused(t, mark(y.office, "2026-04-15"), journal.Invalid, "posted_on")
	refused(t, mark(y.office, "2026-04-13"), journal.Invalid, "posted_on")
	refused(t, y.steps.MarkPosted(y.ctx, y.office, y.heron, next.ID, 1, y.dell.Person.ID, "2026-04-14"), journal.NotFound)
	y.do(mark(y.office, "2026-04-14"))
	y.do(mark(y.office, "2026-04-14"))
	y.waits(y.heron, "owner decision", "owner decision", "us start")
	// What comes back is recorded; the copy goes by post, too.
	letters = len(told)
	d := got(y.steps.RecordOnPaper(y.ctx, y.office, y.heron, next.ID, y.posted(next)))(t)
	if d.CopyTo != "" || d.CopyLetterID != "" {
		t.Errorf("a copy went to %q", d.CopyTo)
	}
	for _, l := range got(allLetters(y))(t)[:len(got(allLetters(y))(t))-letters] {
		if l.PersonID == y.ada.Person.ID {
			t.Errorf("an e-mail went to who takes papers by post: %s", l.Subject)
		}
	}
	// What was signed before stays; a new consent brings e-mail back.
	y.agrees(y.ada)
	y.paper(y.heron, signoff.DateChange, func(d *signoff.Draft) { d.Days = 1 })
	if l := got(allLetters(y))(t); l[0].PersonID != y.ada.Person.ID && l[1].PersonID != y.ada.Person.ID {
		t.Error("no e-mail after a new consent")
	}
}

// Told to the shop by letter, it is the same.
func TestConsent_WithdrawnByLetter(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	refused(t, y.steps.RecordWithdrawal(y.ctx, y.office, y.ada.Person.ID, "letter of 14 April"), journal.Conflict)
	y.agrees(y.ada)
	refused(t, y.steps.RecordWithdrawal(y.ctx, y.jory, y.ada.Person.ID, "letter of 14 April"), journal.Forbidden)
	refused(t, y.steps.RecordWithdrawal(y.ctx, y.office, y.ada.Person.ID, ""), journal.Invalid, "how")
	y.do(y.steps.RecordWithdrawal(y.ctx, y.office, y.ada.Person.ID, "letter of 14 April"))
	p := y.sent(y.heron, y.pans(y.heron, 8))
	if _, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned)); !errors.Is(err, flow.ErrConsent) {
		t.Errorf("signed without consent: %v", err)
	}
	if v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t); len(v.Postings) != 1 {
		t.Errorf("by post: %+v", v.Postings)
	}
}

func TestDelegate_EndedByTheOwner(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.dell)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	open := y.form(y.dell, p, signoff.OutcomeSigned)
	refused(t, y.steps.EndDelegate(y.ctx, y.dell, y.heron, y.dell.Person.ID), journal.Forbidden)
	refused(t, y.steps.EndDelegate(y.ctx, y.ben, y.heron, y.dell.Person.ID), journal.NotFound)
	refused(t, y.steps.EndDelegate(y.ctx, y.office, y.heron, y.dell.Person.ID), journal.Forbidden)
	refused(t, y.steps.EndDelegate(y.ctx, y.ada, y.heron, y.ada.Person.ID), journal.NotFound) // an owner is no delegate
	y.do(y.steps.EndDelegate(y.ctx, y.ada, y.heron, y.dell.Person.ID))
	refused(t, y.steps.EndDelegate(y.ctx, y.ada, y.heron, y.dell.Person.ID), journal.NotFound)
	_, err := y.steps.Decide(y.ctx, y.dell, y.heron, p.ID, open)
	refused(t, err, journal.NotFound)
	_, err = y.steps.PaperPage(y.ctx, y.dell, y.heron, p.ID)
	refused(t, err, journal.NotFound)
	in := y.called(p)
	in.PersonID = y.dell.Person.ID
	_, err = y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, in)
	refused(t, err, journal.Invalid, "person")
}

// A clock that goes backwards between the steps loses nothing and decides nothing
// twice.
func TestDecide_ClockGoesBackwards(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	y.now = y.now.Add(-3 * time.Hour)
	form := y.form(y.ada, p, signoff.OutcomeSigned)
	first := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, form))(t)
	y.now = y.now.Add(-24 * time.Hour)
	again := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, form))(t)
	if !first.At.Equal(again.At) {
		t.Error("decided twice")
	}
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}
