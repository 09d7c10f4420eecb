package flow_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// Promises 4 and 7: what was signed is what was shown; nothing unauthorised
// counts.

// agrees has a person agree to electronic records.
func (y *yard) agrees(a flow.Actor) {
	y.t.Helper()
	y.do(y.steps.GiveConsent(y.ctx, a, "1", strings.Repeat("ab", 32), flow.TestWord(a.Person.ID, "1")))
}

// pans is a change order's content: 18 hours at 95.00 and 592.00 of parts on
// the build's n-th stage, six working days.
func (y *yard) pans(build journal.BuildID, n int) signoff.Draft {
	y.t.Helper()
	return signoff.Draft{
		Title: "Both front floor pans", Reason: "Rust has eaten through both pans.", StageID: y.stage(build, n).ID, Days: 6,
		Lines: []signoff.Line{
			{Kind: journal.Labour, Text: "Cut out, fit and weld", Minutes: 1080, Rate: 9500},
			{Kind: journal.Parts, Text: "Two pressed pans and sealer", Amount: 59_200},
		},
	}
}

// sent writes and sends a change order.
func (y *yard) sent(build journal.BuildID, change signoff.Draft) signoff.Paper {
	y.t.Helper()
	p := got(y.steps.NewPaper(y.ctx, y.office, build, flow.PaperStart{Kind: signoff.ChangeOrder}))(y.t)
	p = got(y.steps.SavePaper(y.ctx, y.office, build, p.ID, p.Version, change))(y.t)
	return got(y.steps.SendPaper(y.ctx, y.office, build, p.ID, p.Version))(y.t)
}

// form is what the owner's page would send about the paper as it stands.
func (y *yard) form(a flow.Actor, p signoff.Paper, outcome signoff.Outcome) flow.DecideInput {
	y.t.Helper()
	v := got(y.steps.PaperPage(y.ctx, a, p.BuildID, p.ID))(y.t)
	in := flow.DecideInput{Revision: v.Sheet.Revision, SHA256: v.SHA256(), Outcome: outcome, TypedName: a.Person.Name}
	if outcome == signoff.OutcomeDeclined {
		in.Reason = "Not now."
	}
	return in
}

func (y *yard) agreedTotal(build journal.BuildID) journal.Cents {
	y.t.Helper()
	m := got(y.steps.MoneyOf(y.ctx, y.office, build))(y.t)
	if err := m.Statement.Check(); err != nil {
		y.t.Error(err)
	}
	return m.Statement.Agreed
}

func TestDecide_SigningMovesTotalAndDate(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	before := y.agreedTotal(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	if got := y.agreedTotal(y.heron); got != before {
		t.Errorf("a paper that is only sent changed the total from %s to %s", before, got)
	}
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	// 18 h x 95.00 = 1,710.00, with 592.00 of parts 2,302.00.
	if v.Sheet.Delta != 230_200 || v.Sheet.AgreedAfter != before+230_200 {
		t.Errorf("shown: delta %s, agreed %s after %s", v.Sheet.Delta, v.Sheet.AgreedAfter, before)
	}
	// Thursday 24 September 2026 and six working days: Friday 2 October. No
	// federal holiday lies between (5 U.S.C. 6103).
	if v.Sheet.DateAfter != "2026-10-02" {
		t.Errorf("shown: new date %s", v.Sheet.DateAfter)
	}
	d := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned)))(t)
	if got := y.agreedTotal(y.heron); got != before+230_200 {
		t.Errorf("agreed %s after signing, want %s", got, before+230_200)
	}
	if got := y.view(y.heron).Build.ReadyOn; got != "2026-10-02" {
		t.Errorf("ready on %s", got)
	}
	want := signoff.Decision{
		PaperID: p.ID, Revision: 1, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, PersonID: y.ada.Person.ID, As: journal.AsOwner,
		Manner: signoff.OnPage, TypedName: "Ada Finch", Sentence: signoff.ChangeOrder.SignSentence(), At: y.now, Zone: "America/Denver", Authenticated: "test",
		Address: "192.0.2.1", UserAgent: "test", ConsentVersion: "1", ConsentAt: y.now, CopyTo: "ada.finch@example.org", CopyLetterID: d.CopyLetterID,
	}
	if diff := cmp.Diff(want, d); diff != "" {
		t.Errorf("the decision (-want +got):\n%s", diff)
	}
	var copied journal.Letter
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) (err error) {
		copied, err = r.Letter(d.CopyLetterID)
		return err
	}))
	if copied.To != "ada.finch@example.org" || len(copied.Files) != 3 || copied.Files[2].Name != "change-order-1-revision-1.pdf" || signoff.Hash(copied.Files[0].Data) != d.SHA256 {
		t.Errorf("the copy went to %q with %d files", copied.To, len(copied.Files))
	}
}

func TestDecide_Refusals(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	sign := y.form(y.ada, p, signoff.OutcomeSigned)

	_, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, sign)
	if !errors.Is(err, flow.ErrConsent) {
		t.Errorf("without consent: %v", err)
	}
	y.agrees(y.ada)
	y.agrees(y.dell)

	_, err = y.steps.Decide(y.ctx, y.office, y.heron, p.ID, sign)
	refused(t, err, journal.Forbidden)
	_, err = y.steps.Decide(y.ctx, y.ben, y.heron, p.ID, sign) // owner of another build
	refused(t, err, journal.NotFound)
	_, err = y.steps.Decide(y.ctx, y.ada, y.juniper, p.ID, sign) // the paper under another build's id
	refused(t, err, journal.NotFound)

	nameless := sign
	nameless.TypedName = ""
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, nameless)
	refused(t, err, journal.Invalid, "name")
	unsaid := y.form(y.ada, p, signoff.OutcomeDeclined)
	unsaid.Reason = ""
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, unsaid)
	refused(t, err, journal.Invalid, "reason")
	otherBytes := sign
	otherBytes.SHA256 = strings.Repeat("0", 64)
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, otherBytes)
	refused(t, err, journal.Conflict)

	// Revision 2 replaces revision 1, which can no longer be signed.
	change := y.pans(y.heron, 8)
	change.Lines[1].Amount = 70_000
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, change))(t)
	if p.Revision != 1 || p.State != signoff.Sent {
		t.Fatalf("editing alone changed what is out: revision %d, %s", p.Revision, p.State)
	}
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, sign)
	refused(t, err, journal.Conflict)
	if !strings.Contains(journal.MessageOf(err), "Revision 1 was replaced by revision 2") {
		t.Errorf("the refusal says %q", journal.MessageOf(err))
	}

	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, p.ID))
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned))
	refused(t, err, journal.Conflict)
	if n := len(y.events(y.heron, "paper signed")); n != 0 {
		t.Errorf("%d signatures recorded by refused acts", n)
	}
	p = got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t).Paper
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)

	// The delegate signs; the owner's second thought comes too late.
	d := got(y.steps.Decide(y.ctx, y.dell, y.heron, p.ID, y.form(y.dell, p, signoff.OutcomeSigned)))(t)
	if d.As != journal.AsDelegate {
		t.Errorf("signed as %q", d.As)
	}
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, flow.DecideInput{Revision: d.Revision, SHA256: d.SHA256, Outcome: signoff.OutcomeDeclined, TypedName: "Ada Finch", Reason: "No."})
	refused(t, err, journal.Conflict)
	// Doing the same again is harmless.
	again := got(y.steps.Decide(y.ctx, y.dell, y.heron, p.ID, flow.DecideInput{Revision: d.Revision, SHA256: d.SHA256, Outcome: signoff.OutcomeSigned, TypedName: "Dell Finch"}))(t)
	if diff := cmp.Diff(d, again); diff != "" {
		t.Errorf("the second time it is another decision:\n%s", diff)
	}
	// A signed paper cannot be edited, sent or taken back.
	p = got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t).Paper
	_, err = y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, change)
	refused(t, err, journal.Conflict)
	_, err = y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version)
	refused(t, err, journal.Conflict)
	refused(t, y.steps.RecallPaper(y.ctx, y.office, y.heron, p.ID), journal.Conflict)
}

func TestDecide_DeclinedCountsNothing(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	before := y.agreedTotal(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeDeclined)))(t)
	if after := y.agreedTotal(y.heron); after != before {
		t.Errorf("declining changed the total from %s to %s", before, after)
	}
	if on := y.view(y.heron).Build.ReadyOn; on != "2026-09-24" {
		t.Errorf("declining moved the date to %s", on)
	}
}

// Fifty taps on two phones end in one recorded decision.
func TestDecide_FiftyAtOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	y.agrees(y.dell)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	signs, declines := y.form(y.ada, p, signoff.OutcomeSigned), y.form(y.dell, p, signoff.OutcomeDeclined)
	ctx := y.ctx
	steps := *y.steps
	steps.NewID = ids("race")
	errs := make([]error, 50)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() {
			if i%2 == 0 {
				_, errs[i] = steps.Decide(ctx, y.ada, y.heron, p.ID, signs)
			} else {
				_, errs[i] = steps.Decide(ctx, y.dell, y.heron, p.ID, declines)
			}
		})
	}
	all.Wait()
	won := [2]int{}
	for i, err := range errs {
		switch {
		case err == nil:
			won[i%2]++
		case journal.CodeOf(err) != journal.Conflict:
			t.Errorf("tap %d: %v", i, err)
		}
	}
	// One outcome stands; everybody who tapped it is told so, nobody else.
	if won != [2]int{25, 0} && won != [2]int{0, 25} {
		t.Errorf("signed %d times, declined %d times", won[0], won[1])
	}
	if n := len(y.events(y.heron, "paper signed")) + len(y.events(y.heron, "paper declined")); n != 1 {
		t.Errorf("%d decisions in the record", n)
	}
}

// ids makes identifiers that are unique within the test.
func ids(prefix string) func() string {
	var mu sync.Mutex
	n := 0
	return func() string {
		mu.Lock()
		defer mu.Unlock()
		n++
		return fmt.Sprintf("%s%016d", prefix, n)
	}
}

// Two papers are out. Signing one makes the other's new total untrue, so it is
// sent anew, and the old one can no longer be signed.
func TestDecide_OtherPapersAreRenewed(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	start := y.agreedTotal(y.heron)
	first, second := y.sent(y.heron, y.pans(y.heron, 8)), y.sent(y.heron, y.pans(y.heron, 9))
	stale := y.form(y.ada, second, signoff.OutcomeSigned)
	got(y.steps.Decide(y.ctx, y.ada, y.heron, first.ID, y.form(y.ada, first, signoff.OutcomeSigned)))(t)

	_, err := y.steps.Decide(y.ctx, y.ada, y.heron, second.ID, stale)
	refused(t, err, journal.Conflict)
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, second.ID))(t)
	if v.Sheet.Revision != 2 || v.Sheet.AgreedBefore != start+230_200 || v.Sheet.AgreedAfter != start+460_400 || v.Sheet.DateBefore != "2026-10-02" {
		t.Errorf("revision %d shows %s to %s from %s", v.Sheet.Revision, v.Sheet.AgreedBefore, v.Sheet.AgreedAfter, v.Sheet.DateBefore)
	}
	got(y.steps.Decide(y.ctx, y.ada, y.heron, second.ID, y.form(y.ada, second, signoff.OutcomeSigned)))(t)
	if total := y.agreedTotal(y.heron); total != v.Sheet.AgreedAfter {
		t.Errorf("agreed %s, and what was signed said %s", total, v.Sheet.AgreedAfter)
	}
}

func TestSendPaper_TwiceSendsOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder}))(t)
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, y.pans(y.heron, 8)))(t)
	got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	_, err := y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version)
	refused(t, err, journal.Conflict)
	if n := len(y.events(y.heron, "paper sent")); n != 1 {
		t.Errorf("sent %d times", n)
	}
}

func TestNewPaper_NeedsTheAgreement(t *testing.T) {
	y := newYard(t)
	_, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder})
	refused(t, err, journal.Conflict)
	_, err = y.steps.NewPaper(y.ctx, y.jory, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder})
	refused(t, err, journal.Forbidden)
}

func TestNewPaper_TakesTheFind(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	photo := y.photo(y.jory, y.heron, 7, y.now.Add(-time.Hour))
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Rust under the mats.", photo)
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder, EntryID: e.ID}))(t)
	want := []signoff.Evidence{{PhotoID: photo.ID, SHA256: photo.SHA256, Caption: "of IMG_0007.jpg"}}
	if diff := cmp.Diff(want, p.Draft.Photos); diff != "" || p.Draft.Reason != "Rust under the mats." {
		t.Errorf("the draft has %q and photos:\n%s", p.Draft.Reason, diff)
	}
	// Once sent, the owner may see the evidence although its entry is the shop's.
	if _, err := y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, photo.ID); journal.CodeOf(err) != journal.NotFound {
		t.Errorf("before sending the owner gets the shop's photo: %v", err)
	}
	change := y.pans(y.heron, 8)
	change.Photos = p.Draft.Photos
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, change))(t)
	got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	if _, err := y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, photo.ID); err != nil {
		t.Errorf("after sending: %v", err)
	}
	other := y.photo(y.jory, y.juniper, 8, y.now)
	change.Photos = []signoff.Evidence{{PhotoID: other.ID}}
	_, err := y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version+1, change)
	if journal.CodeOf(err) != journal.Invalid {
		t.Errorf("another build's photo as evidence: %v", err)
	}
}

func TestQuestions_AskedAndAnsweredOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	y.do(y.steps.Ask(y.ctx, y.ada, y.heron, p.ID, "Can they be patched?"))
	y.do(y.steps.Ask(y.ctx, y.ada, y.heron, p.ID, "Can they be patched?")) // a double tap
	refused(t, y.steps.Ask(y.ctx, y.ben, y.heron, p.ID, "Whose truck is this?"), journal.NotFound)
	v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t)
	if len(v.Questions) != 1 {
		t.Fatalf("%d questions", len(v.Questions))
	}
	q := v.Questions[0].ID
	y.do(y.steps.Answer(y.ctx, y.office, y.heron, p.ID, q, "They can, and would rust again."))
	y.do(y.steps.Answer(y.ctx, y.office, y.heron, p.ID, q, "They can, and would rust again."))
	refused(t, y.steps.Answer(y.ctx, y.office, y.heron, p.ID, q, "No."), journal.Conflict)
	refused(t, y.steps.Answer(y.ctx, y.jory, y.heron, p.ID, q, "Yes."), journal.Forbidden)
	after := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	if after.SHA256() != v.SHA256() || after.Questions[0].Answer != "They can, and would rust again." {
		t.Errorf("the paper's hash went from %s to %s; the answer is %q", v.SHA256(), after.SHA256(), after.Questions[0].Answer)
	}
}
