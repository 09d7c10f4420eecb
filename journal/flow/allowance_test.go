package flow_test

import (
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// allowed gives heron an allowance by a paper that Ada signs.
func (y *yard) allowed(perFind, perMonth journal.Cents) {
	y.t.Helper()
	if _, agreed, err := y.steps.ConsentOf(y.ctx, y.ada.Person.ID); err != nil || !agreed {
		y.agrees(y.ada)
	}
	y.do(y.sign(y.ada, y.paper(y.heron, signoff.ChangeOrder, func(d *signoff.Draft) {
		d.StageID, d.Allowance = y.stage(y.heron, 8).ID, &signoff.Limits{PerFind: perFind, PerMonth: perMonth}
	})))
}

// find posts a find with a photo.
func (y *yard) find(build journal.BuildID, seed int, audience journal.Audience) journal.Entry {
	y.t.Helper()
	photo := y.photo(y.jory, build, seed, y.now)
	return got(y.steps.PostEntry(y.ctx, y.jory, build, flow.NewEntry{
		StageID: y.stage(build, 8).ID, Kind: journal.KindFind, Audience: audience, Text: "Cracked bracket",
		Photos: []journal.EntryPhoto{{PhotoID: photo.ID}},
	}))(y.t)
}

// used is what the office books for a find.
func used(id string, e journal.Entry, amount journal.Cents) flow.NewUse {
	return flow.NewUse{
		ID: journal.UseID(id), EntryID: e.ID, Title: "Bracket", Reason: "Cracked through.",
		Lines:  []signoff.Line{{Kind: journal.Parts, Text: "Bracket", Amount: amount}},
		Photos: []signoff.Evidence{{PhotoID: e.Photos[0].PhotoID}},
	}
}

func TestAllowance_UsesCountTowardsTheTotal(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, Tax: billing.Tax{Parts: 625}}))
	y.agree(y.heron)
	y.allowed(25_000, 40_000)
	out := y.sent(y.heron, y.pans(y.heron, 8))
	before := y.agreedTotal(y.heron)
	e := y.find(y.heron, 1, journal.ShopOnly)
	shared := func() (is bool) {
		y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) (err error) {
			is, err = r.PhotoShared(y.heron, e.Photos[0].PhotoID)
			return err
		}))
		return is
	}
	if shared() {
		t.Fatal("the photo of a shop-only find is shown before anything is booked")
	}
	u := got(y.steps.BookUse(y.ctx, y.office, y.heron, used("one", e, 20_000)))(t)
	// 200.00 and 6.25 % tax on parts.
	if u.Amount != 20_000 || u.Tax != 1_250 || u.Month != "2026-04" || u.Number != 1 || u.StageID != e.StageID {
		t.Errorf("booked %+v", u)
	}
	if after := y.agreedTotal(y.heron); after != before+20_000 {
		t.Errorf("agreed %s after %s", after, before)
	}
	if !shared() {
		t.Error("the owner cannot see the photo they are told with")
	}
	// The change order that is out was worked out before, so it came once more,
	// with what is left of the allowance.
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, out.ID))(t)
	if v.Sheet.Revision != 2 || v.Sheet.AgreedBefore != before+20_000 || v.Sheet.Standing.Left != 40_000-21_250 {
		t.Errorf("the paper that is out: %+v", v.Sheet)
	}
	// Booked once, however often the form is sent.
	again := got(y.steps.BookUse(y.ctx, y.office, y.heron, used("one", e, 20_000)))(t)
	if again.Number != 1 || y.agreedTotal(y.heron) != before+20_000 {
		t.Error("sending the form twice booked twice")
	}
	letters := got(allLetters(y))(t)
	told := 0
	for _, l := range letters {
		if l.Subject == "flow.UseLetter" {
			told++
		}
	}
	if told != 2 {
		t.Errorf("%d letters tell of the use, want one each to owner and delegate", told)
	}
	// It bills with its stage.
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, out.ID))
	stage := y.ready(y.heron, 8)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	if inv.Document.Subtotal != 100_000+20_000 {
		t.Errorf("the stage bills %s", inv.Document.Subtotal)
	}
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if m.Statement.Allowances != 20_000 || m.Statement.Check() != nil {
		t.Errorf("statement: %+v, %v", m.Statement, m.Statement.Check())
	}
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}

func TestAllowance_NoMoreThanIsLeft(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	e, other := y.find(y.heron, 1, journal.OwnerToo), y.find(y.heron, 2, journal.OwnerToo)
	_, err := y.steps.BookUse(y.ctx, y.office, y.heron, used("x", e, 100))
	refused(t, err, journal.Conflict) // no allowance
	y.allowed(25_000, 40_000)
	_, err = y.steps.BookUse(y.ctx, y.jory, y.heron, used("x", e, 100))
	refused(t, err, journal.Forbidden)
	_, err = y.steps.BookUse(y.ctx, y.ada, y.heron, used("x", e, 100))
	refused(t, err, journal.Forbidden)
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("x", e, 25_001))
	refused(t, err, journal.Invalid, "lines")
	if !strings.Contains(journal.ProblemsOf(err)["lines"], "250.00 is left for this find and 400.00 for this month") {
		t.Errorf("said %q", journal.ProblemsOf(err)["lines"])
	}
	got(y.steps.BookUse(y.ctx, y.office, y.heron, used("one", e, 24_000)))(t)
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("two", e, 1_001)) // of the same find 10.00 is left
	refused(t, err, journal.Invalid, "lines")
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("two", other, 16_001)) // of the month 160.00
	refused(t, err, journal.Invalid, "lines")
	got(y.steps.BookUse(y.ctx, y.office, y.heron, used("two", other, 16_000)))(t)
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("three", other, 1))
	refused(t, err, journal.Invalid, "lines")
	// The month ends at the shop, not in UTC: 1 May 2026, 05:59 UTC is 30 April,
	// 23:59 in Denver (UTC-6 in summer, 15 U.S.C. 260a).
	y.now = time.Date(2026, 5, 1, 5, 59, 0, 0, time.UTC)
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("three", other, 1))
	refused(t, err, journal.Invalid, "lines")
	y.now = y.now.Add(time.Minute)
	u := got(y.steps.BookUse(y.ctx, y.office, y.heron, used("three", other, 9_000)))(t)
	if u.Month != "2026-05" {
		t.Errorf("counts in %s", u.Month)
	}
	// What was used of a find is used in every month.
	_, err = y.steps.BookUse(y.ctx, y.office, y.heron, used("four", other, 1))
	refused(t, err, journal.Invalid, "lines")
}

func TestAllowance_WhatCannotBeBooked(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.allowed(25_000, 40_000)
	e := y.find(y.heron, 1, journal.OwnerToo)
	cases := []struct {
		name, field string
		change      func(*flow.NewUse)
	}{
		{"no photo", "photos", func(n *flow.NewUse) { n.Photos = nil }},
		{"no line", "lines", func(n *flow.NewUse) { n.Lines = nil }},
		{"a credit", "lines", func(n *flow.NewUse) { n.Lines[0].Amount = -500 }},
		{"no title", "title", func(n *flow.NewUse) { n.Title = "" }},
		{"no reason", "reason", func(n *flow.NewUse) { n.Reason = "" }},
		{"another build's stage", "stage", func(n *flow.NewUse) { n.StageID = y.stage(y.juniper, 1).ID }},
		{"another build's photo", "photos", func(n *flow.NewUse) {
			n.Photos = []signoff.Evidence{{PhotoID: y.photo(y.jory, y.juniper, 9, y.now).ID}}
		}},
	}
	for _, c := range cases {
		n := used("x", e, 100)
		c.change(&n)
		_, err := y.steps.BookUse(y.ctx, y.office, y.heron, n)
		if journal.CodeOf(err) != journal.Invalid || journal.ProblemsOf(err)[c.field] == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	progress := y.entry(y.jory, y.heron, journal.OwnerToo, "Work", y.photo(y.jory, y.heron, 3, y.now))
	_, err := y.steps.BookUse(y.ctx, y.office, y.heron, used("x", progress, 100))
	refused(t, err, journal.Conflict)
}

// Many at once do not overdraw it.
func TestAllowance_ManyAtOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.allowed(25_000, 25_000)
	e := y.find(y.heron, 1, journal.OwnerToo)
	var wg sync.WaitGroup
	booked := make(chan signoff.Use, 20)
	for i := range 20 {
		wg.Go(func() {
			if u, err := y.steps.BookUse(y.ctx, y.office, y.heron, used(strings.Repeat("u", i+1), e, 9_000)); err == nil {
				booked <- u
			}
		})
	}
	wg.Wait()
	if len(booked) != 2 { // 2 x 90.00 of 250.00
		t.Errorf("%d were booked, want 2", len(booked))
	}
}

func TestAllowance_IsEndedByItsOwner(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.allowed(25_000, 40_000)
	e := y.find(y.heron, 1, journal.OwnerToo)
	got(y.steps.BookUse(y.ctx, y.office, y.heron, used("one", e, 20_000)))(t)
	refused(t, y.steps.EndAllowance(y.ctx, y.dell, y.heron), journal.Forbidden) // the delegate
	refused(t, y.steps.EndAllowance(y.ctx, y.ben, y.heron), journal.NotFound)   // another truck's owner
	refused(t, y.steps.EndAllowance(y.ctx, y.jory, y.heron), journal.Forbidden)
	y.do(y.steps.EndAllowance(y.ctx, y.ada, y.heron))
	y.do(y.steps.EndAllowance(y.ctx, y.ada, y.heron)) // again
	_, err := y.steps.BookUse(y.ctx, y.office, y.heron, used("two", e, 100))
	refused(t, err, journal.Conflict)
	if n := len(y.events(y.heron, "allowance ended")); n != 1 {
		t.Errorf("%d events", n)
	}
	// A new one in the same month does not give its money twice.
	y.allowed(25_000, 40_000)
	v := got(y.steps.AllowanceOf(y.ctx, y.ada, y.heron))(t)
	if v.Left != 20_000 {
		t.Errorf("left %s", v.Left)
	}
}

func TestBelonging_AskedAnsweredDone(t *testing.T) {
	y := newYard(t)
	hidden := y.find(y.heron, 1, journal.ShopOnly)
	refused(t, y.steps.AskBelonging(y.ctx, y.jory, y.heron, hidden.ID, "a toolbox"), journal.Conflict)
	e := y.find(y.heron, 2, journal.OwnerToo)
	refused(t, y.steps.AskBelonging(y.ctx, y.jory, y.heron, e.ID, ""), journal.Invalid, "what")
	refused(t, y.steps.AskBelonging(y.ctx, y.ada, y.heron, e.ID, "a toolbox"), journal.Forbidden)
	refused(t, y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, e.ID, journal.Keep, ""), journal.NotFound)
	y.do(y.steps.AskBelonging(y.ctx, y.jory, y.heron, e.ID, "a toolbox"))
	y.do(y.steps.AskBelonging(y.ctx, y.jory, y.heron, e.ID, "a toolbox"))
	refused(t, y.steps.DoneBelonging(y.ctx, y.jory, y.heron, e.ID), journal.Conflict)
	refused(t, y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, e.ID, "burn", ""), journal.Invalid, "answer")
	refused(t, y.steps.AnswerBelonging(y.ctx, y.jory, y.heron, e.ID, journal.Keep, ""), journal.Forbidden)
	refused(t, y.steps.AnswerBelonging(y.ctx, y.ben, y.heron, e.ID, journal.Keep, ""), journal.NotFound)
	y.waits(y.heron, "owner wish", "us agreement")
	y.do(y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, e.ID, journal.Discard, ""))
	y.do(y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, e.ID, journal.Discard, "")) // a double tap
	y.do(y.steps.AnswerBelonging(y.ctx, y.dell, y.heron, e.ID, journal.Ship, "To 9 Lake Street"))
	y.waits(y.heron, "us agreement", "us handling")
	v := got(y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID))(t)
	if last, _ := v.Belonging.Belonging.Last(); len(v.Belonging.Belonging.Answers) != 2 || last.Answer != journal.Ship || last.PersonID != y.dell.Person.ID {
		t.Errorf("it stands as %+v", v.Belonging.Belonging)
	}
	y.do(y.steps.DoneBelonging(y.ctx, y.jory, y.heron, e.ID))
	y.do(y.steps.DoneBelonging(y.ctx, y.jory, y.heron, e.ID))
	refused(t, y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, e.ID, journal.Keep, ""), journal.Conflict)
	y.waits(y.heron, "us agreement")
	for kind, want := range map[string]int{"belonging asked": 1, "belonging answered": 2, "belonging done": 1} {
		if n := len(y.events(y.heron, kind)); n != want {
			t.Errorf("%d events %q, want %d", n, kind, want)
		}
	}
}
