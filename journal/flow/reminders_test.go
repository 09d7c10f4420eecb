package flow_test

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

const oneDay = 24 * time.Hour

// reminding has owners reminded on the given days, and bills one stage of heron,
// due after the days to pay. Today is 14 April.
func (y *yard) reminding(toPay int, days ...int) flow.Invoice {
	y.t.Helper()
	y.remindOn(days...)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, DueDays: toPay}))
	return y.billed(1)[0]
}

func (y *yard) remindOn(days ...int) {
	y.t.Helper()
	shop := got(y.steps.ShopOf(y.ctx))(y.t)
	shop.ReminderDays = days
	y.do(y.steps.SaveShop(y.ctx, y.office, shop))
}

func (y *yard) remindDue() int {
	y.t.Helper()
	return got(y.steps.RemindDue(y.ctx))(y.t)
}

// steps returns the reminders of an invoice, in the order they were written.
func (y *yard) reminded(inv flow.Invoice) []int {
	y.t.Helper()
	var steps []int
	for _, r := range got(y.steps.Reminders(y.ctx, y.office, y.heron, inv.ID))(y.t) {
		steps = append(steps, r.Step)
	}
	return steps
}

func TestRemindDue_DayByDay(t *testing.T) {
	y := newYard(t)
	inv := y.reminding(10, -3, 1, 14) // due on 24 April
	on := map[journal.Date]bool{}
	for range 60 {
		for range 3 { // several times a day, as the worker looks
			if y.remindDue() > 0 {
				on[journal.DateOf(y.now, time.UTC)] = true
			}
		}
		y.now = y.now.Add(oneDay)
	}
	if len(on) != 3 || !on["2026-04-21"] || !on["2026-04-25"] || !on["2026-05-08"] {
		t.Errorf("reminded on %v", on)
	}
	if got := y.reminded(inv); !slices.Equal(got, []int{-3, 1, 14}) {
		t.Errorf("steps %v", got)
	}
	for _, who := range []flow.Actor{y.ada, y.dell} {
		if n := len(y.letters(who, "ReminderLetter")); n != 3 {
			t.Errorf("%s has %d letters", who.Person.Name, n)
		}
	}
	if n := len(y.letters(y.ben, "ReminderLetter")); n != 0 {
		t.Errorf("another build's owner has %d letters", n)
	}
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	if err != nil || len(faults) > 0 {
		t.Errorf("the check finds %v, %v", faults, err)
	}
}

func TestRemindDue_LastStepAloneAfterAPause(t *testing.T) {
	y := newYard(t)
	inv := y.reminding(10, -3, 1, 14, 30)
	y.now = time.Date(2026, 5, 10, 18, 0, 0, 0, time.UTC) // 16 days late
	if n := y.remindDue(); n != 1 {
		t.Errorf("%d reminded", n)
	}
	// The clock jumps back a week, and on again; then the settings change.
	for _, jump := range []time.Duration{-7 * oneDay, 7 * oneDay} {
		y.now = y.now.Add(jump)
		y.remindDue()
	}
	y.remindOn(-3, 1, 7)
	y.remindDue()
	if got := y.reminded(inv); !slices.Equal(got, []int{14}) {
		t.Errorf("steps %v, want the last one due alone", got)
	}
	// A restart forgets nothing.
	y.close()
	y.open(t, y.path, y.ids.Load())
	y.remindDue()
	y.now = y.now.Add(14 * oneDay) // 30 days late
	y.remindOn(-3, 1, 14, 30)
	y.remindDue()
	if got := y.reminded(inv); !slices.Equal(got, []int{14, 30}) {
		t.Errorf("steps %v after the restart", got)
	}
}

func TestRemindDue_NotWanted(t *testing.T) {
	for _, tc := range []struct {
		name  string
		toPay int
		days  []int
		then  func(*yard, flow.Invoice)
		want  []int
	}{
		{"no days set", 10, nil, func(y *yard, _ flow.Invoice) { y.now = y.now.Add(90 * oneDay) }, nil},
		{"not due yet", 10, []int{1}, func(y *yard, _ flow.Invoice) { y.now = y.now.Add(10 * oneDay) }, nil},
		{"the day of issue says it itself", 2, []int{-3, -2}, func(*yard, flow.Invoice) {}, nil},
		{"due on receipt, the day after", 0, []int{-3, 0, 1}, func(y *yard, _ flow.Invoice) { y.now = y.now.Add(oneDay) }, []int{1}},
		{"on the due day", 10, []int{0}, func(y *yard, _ flow.Invoice) { y.now = y.now.Add(10 * oneDay) }, []int{0}},
		{"at night", 10, []int{1}, func(y *yard, _ flow.Invoice) { y.now = time.Date(2026, 4, 25, 13, 59, 0, 0, time.UTC) }, nil}, // 7:59 in Denver
		{"at eight", 10, []int{1}, func(y *yard, _ flow.Invoice) { y.now = time.Date(2026, 4, 25, 14, 0, 0, 0, time.UTC) }, []int{1}},
		{"paid", 10, []int{1}, func(y *yard, inv flow.Invoice) {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, inv.ID, 100_000)))
			y.now = y.now.Add(20 * oneDay)
		}, nil},
		{"paid from money on account", 10, []int{1}, func(y *yard, _ flow.Invoice) {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-of-money-on-account", OnAccount: true, Amount: 100_000, On: "2026-04-14", Means: journal.Cash}))
			y.now = y.now.Add(20 * oneDay)
		}, nil},
		{"paid, and the cheque bounced", 10, []int{1}, func(y *yard, inv flow.Invoice) {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, inv.ID, 100_000)))
			y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, payment(1, "", 0).ID, "Returned."))
			y.now = y.now.Add(20 * oneDay)
		}, []int{1}},
		{"taken back", 10, []int{1}, func(y *yard, inv flow.Invoice) {
			got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, inv.ID, "Wrong stage."))(y.t)
			y.now = y.now.Add(20 * oneDay)
		}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			y := newYard(t)
			inv := y.reminding(tc.toPay, tc.days...)
			tc.then(y, inv)
			y.remindDue()
			if got := y.reminded(inv); !slices.Equal(got, tc.want) {
				t.Errorf("steps %v, want %v", got, tc.want)
			}
		})
	}
}

// Many workers at once write one reminder.
func TestRemindDue_AtOnce(t *testing.T) {
	y := newYard(t)
	inv := y.reminding(10, 1)
	y.now = y.now.Add(11 * oneDay)
	steps := *y.steps
	steps.NewID = ids("race")
	counts := make([]int, 20)
	var all sync.WaitGroup
	for i := range counts {
		all.Go(func() {
			n, err := steps.RemindDue(y.ctx)
			if err != nil {
				t.Error(err)
			}
			counts[i] = n
		})
	}
	all.Wait()
	sum := 0
	for _, n := range counts {
		sum += n
	}
	if sum != 1 || len(y.reminded(inv)) != 1 || len(y.letters(y.ada, "ReminderLetter")) != 1 {
		t.Errorf("%d written, steps %v", sum, y.reminded(inv))
	}
}

// What happens between writing and sending counts.
func TestReminderStands(t *testing.T) {
	for _, tc := range []struct {
		name    string
		between func(*yard, flow.Invoice)
		stands  bool
		why     string
		after   int // letters to the owner then
		says    string
	}{
		{"nothing", func(*yard, flow.Invoice) {}, true, "", 1, "Open:1,000.00"},
		{"a day passes", func(y *yard, _ flow.Invoice) { y.now = y.now.Add(oneDay) }, true, "", 1, "Late:true"},
		{"paid", func(y *yard, inv flow.Invoice) {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, inv.ID, 100_000)))
		}, false, "settled meanwhile", 1, ""},
		{"paid in part", func(y *yard, inv flow.Invoice) {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, inv.ID, 40_000)))
		}, false, "a new letter took its place", 2, "Open:600.00"},
		{"taken back", func(y *yard, inv flow.Invoice) {
			got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, inv.ID, "Wrong stage."))(y.t)
		}, false, "settled meanwhile", 1, ""},
		{"the owner has left the build", func(y *yard, _ flow.Invoice) {
			y.do(y.steps.AddOwner(y.ctx, y.office, y.heron, flow.NewMember{PersonID: y.ben.Person.ID, As: journal.AsOwner}))
			y.do(y.steps.EndOwner(y.ctx, y.office, y.heron, y.ada.Person.ID))
		}, false, "left the build", 1, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			y := newYard(t)
			inv := y.reminding(10, 1)
			y.now = y.now.Add(11 * oneDay)
			y.remindDue()
			var letter journal.Letter
			find := func() {
				t.Helper()
				y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
					all, err := r.Letters(0)
					for _, l := range all {
						if l.Reminds == inv.ID && l.PersonID == y.ada.Person.ID && (letter.ID == "" || l.ID == letter.ID) {
							letter = l
						}
					}
					return err
				}))
			}
			find()
			tc.between(y, inv)
			for range 2 { // asked again after a failed try
				if stands := got(y.steps.ReminderStands(y.ctx, letter))(t); stands != tc.stands {
					t.Errorf("stands: %t", stands)
				}
			}
			find()
			if !strings.Contains(letter.Dropped, tc.why) || (letter.Dropped == "") != tc.stands {
				t.Errorf("dropped: %q", letter.Dropped)
			}
			texts := y.letters(y.ada, "ReminderLetter")
			if len(texts) != tc.after || !strings.Contains(texts[len(texts)-1], tc.says) {
				t.Errorf("letters %q", texts)
			}
		})
	}
}
