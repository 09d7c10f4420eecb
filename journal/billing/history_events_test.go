package billing

import (
	"slices"

	"farbay/journal"
	"pgregory.net/rapid"
)

// The events of a [history]: each does to the account what a step would, and to
// the books what the rules say.

func (h *history) agree(c Charge) {
	h.a.Agreed = append(h.a.Agreed, c)
	h.agreed += int64(c.Split.Total())
	if m := h.meter(c.StageID); m != nil {
		m.ceiling += int64(c.Split.Total())
		m.agreed = m.agreed.plus(kindsOf(c.Split), 1)
	} else {
		h.charges = append(h.charges, c)
	}
	if h.released {
		h.seen.lateChanges++
	}
}

func (h *history) addStage(t *rapid.T) {
	n := len(h.a.Agreed)
	amount := rapid.SampledFrom([]int64{0, 1, 333_33, 10_000_00, int64(journal.MaxCents)}).Draw(t, "value")
	h.agree(Charge{Ref: numbered("stage:", n), Source: Agreement, StageID: stageNames[n%len(stageNames)],
		Split: journal.Split{Labour: journal.Cents(amount), Parts: journal.Cents(rapid.Int64Range(0, 5_000_00).Draw(t, "parts"))}})
}

// anyStage draws a stage, fixed or metered.
func (h *history) anyStage(t *rapid.T) string {
	names := slices.Clone(stageNames)
	for _, m := range h.meters {
		names = append(names, m.id)
	}
	return rapid.SampledFrom(names).Draw(t, "stage")
}

// changeOrder agrees a signed change or a use of an allowance, on a stage in any
// state, up and down, beyond the stage's value too.
func (h *history) changeOrder(t *rapid.T) {
	size := rapid.SampledFrom([]int64{2, 8_000_00, 8_000_00, 8_000_00, int64(journal.MaxCents)}).Draw(t, "size")
	amount := func(kind string) journal.Cents { return journal.Cents(rapid.Int64Range(-size, size).Draw(t, kind)) }
	c := Charge{
		Ref:     numbered("paper:", len(h.a.Agreed)),
		Source:  rapid.SampledFrom([]Source{ChangeOrder, ChangeOrder, Allowance}).Draw(t, "source"),
		StageID: h.anyStage(t),
	}
	switch rapid.IntRange(0, 2).Draw(t, "kinds") {
	case 0:
		c.Split.Labour = amount("labour")
	case 1:
		c.Split = journal.Split{Labour: amount("labour"), Parts: amount("parts"), Outside: amount("outside"), Delivery: amount("delivery"), Other: amount("other")}
	default:
		c.Split.Parts = amount("parts")
	}
	h.agree(c)
}

// stopEarly takes off what is not billed of a stage, or less; of a metered one,
// what its ceiling has left.
func (h *history) stopEarly(t *rapid.T) {
	id := h.anyStage(t)
	var rest kinds
	if m := h.meter(id); m != nil {
		rest[0] = max(m.ceiling-m.mayBill(), 0)
	} else {
		for _, c := range h.unbilled(false, id) {
			rest = rest.plus(kindsOf(c.Split), 1)
		}
	}
	if rest == (kinds{}) {
		t.Skip("nothing left to take off")
	}
	if rapid.Bool().Draw(t, "some work was done") {
		rest[0] /= 2
	}
	h.agree(Charge{Ref: numbered("stop:", len(h.a.Agreed)), Source: EarlyStop, StageID: id, Split: negate(rest.split())})
	h.seen.stops++
}

func (h *history) aMeter(t *rapid.T) (int, *meterBook) {
	if len(h.meters) == 0 {
		t.Skip("no metered stage")
	}
	i := rapid.IntRange(0, len(h.meters)-1).Draw(t, "metered stage")
	return i, h.meters[i]
}

func (h *history) logWork(t *rapid.T) {
	_, m := h.aMeter(t)
	size := rapid.SampledFrom([]int64{3, 2_000_00, 2_000_00, int64(journal.MaxCents)}).Draw(t, "size")
	kind := rapid.SampledFrom(journal.LineKinds[:3]).Draw(t, "kind")
	h.work(m, Charge{Split: journal.Split{}.Plus(kind, journal.Cents(rapid.Int64Range(1, size).Draw(t, "amount")))})
}

func (h *history) work(m *meterBook, c Charge) {
	c.Ref, c.Source, c.StageID = numbered("work:", len(h.a.Work)), LoggedWork, m.id
	m.work = append(m.work, c)
	h.a.Work = append(h.a.Work, c)
}

func (h *history) takeBack(t *rapid.T) {
	_, m := h.aMeter(t)
	var standing []Charge
	for _, c := range m.work {
		if c.Split.Total() > 0 && !h.taken[c.Ref] {
			standing = append(standing, c)
		}
	}
	if len(standing) == 0 {
		t.Skip("no work to take back")
	}
	c := rapid.SampledFrom(standing).Draw(t, "work")
	h.taken[c.Ref] = true
	h.work(m, Charge{Split: negate(c.Split)})
}

// issueNext bills charges and compares every amount with the books.
func (h *history) issueNext(t *rapid.T, charges []Charge, stageID string) {
	d, ok, err := Next(h.a, refsOf(charges), today, stageID)
	if err != nil {
		t.Fatal(err)
	}
	var lines []journal.Split
	var subtotal int64
	something := false
	for _, c := range charges {
		lines = append(lines, c.Split)
		subtotal += int64(c.Split.Total())
		something = something || c.Split != journal.Split{}
	}
	if m := h.meter(stageID); m != nil {
		m.closed = true // counts as closed in its own document already
	}
	if ok != something {
		t.Fatalf("something to bill: %v; Next says %v", something, ok)
	}
	if !ok {
		return
	}
	tax := int64(referenceTax(h.a.Terms.Tax, lines))
	hold := h.wantHoldback(h.a.Terms, subtotal, subtotal+tax)
	credit := h.wantCredit(h.a.Terms, subtotal, subtotal+tax-hold)
	got := []int64{int64(d.Subtotal), int64(d.Tax), int64(d.Holdback), int64(d.DepositCredit), int64(d.Payable)}
	want := []int64{subtotal, tax, hold, credit, subtotal + tax - hold - credit}
	if !slices.Equal(got, want) || !sameCharges(d.Charges, charges) {
		t.Fatalf("subtotal, tax, holdback, credit, payable: %v; the books say %v\ncharges %+v\nthe books say %+v", got, want, d.Charges, charges)
	}
	h.issued(d)
	for _, c := range d.Charges {
		if m := h.meter(c.StageID); m != nil && m.billed.total() > m.ceiling {
			t.Fatalf("%s bills %d of a ceiling of %d", m.id, m.billed.total(), m.ceiling)
		}
		if c.Source == CeilingHeld {
			h.seen.ceilings++
		}
		if c.Source == LoggedWork {
			h.seen.workBilled++
		}
	}
	h.checkLimit(t, d)
	if d.Kind == CreditMemo {
		h.seen.memos++
	}
	if _, _, err := Next(h.a, refsOf(charges), today, stageID); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("the same charges again: %v; want a Conflict", err)
	}
}

// checkLimit is the limit chosen, said once more without the rule beside it: no
// invoice holds more than its share, and none adds to what is held beyond the
// share of the price.
func (h *history) checkLimit(t *rapid.T, d Document) {
	limit := h.a.Terms.Limit()
	if limit.Name == "" || d.Holdback <= 0 {
		return
	}
	h.seen.capped++
	if limit.OfPayment > 0 && int64(d.Holdback)*10_000 > int64(d.Subtotal)*int64(limit.OfPayment) {
		t.Fatalf("%s holds %s of %s", d.Name(), d.Holdback, d.Subtotal)
	}
	if limit.OfPrice > 0 && h.held*10_000 > h.net()*int64(limit.OfPrice) {
		t.Fatalf("%d is held of a price of %d", h.held, h.net())
	}
}

// issued numbers a document as a store does, keeps it, and a copy of it.
func (h *history) issued(d Document) {
	d.Number = 1
	for _, other := range h.a.Documents {
		if other.Kind == d.Kind {
			d.Number++
		}
	}
	d.ID = numbered(string(d.Kind)+" ", d.Number)
	h.a.Documents = append(h.a.Documents, d)
	d.Charges = slices.Clone(d.Charges)
	h.frozen = append(h.frozen, d)
	h.enter(d)
}

func (h *history) closeStage(t *rapid.T) {
	id := rapid.SampledFrom(stageNames).Draw(t, "stage")
	h.seen.closes++
	h.issueNext(t, h.unbilled(false, id), id)
}

func (h *history) closeMetered(t *rapid.T) {
	i, m := h.aMeter(t)
	h.seen.closes++
	h.issueNext(t, h.unbilled(false, m.id), m.id)
	h.a.Metered[i].Closed = true
}

func (h *history) reopenMetered(t *rapid.T) {
	i, m := h.aMeter(t)
	h.a.Metered[i].Closed, m.closed = false, false
}

// billWork bills a metered stage on a day agreed, while it is open or not.
func (h *history) billWork(t *rapid.T) {
	_, m := h.aMeter(t)
	charges := h.unbilled(false, m.id)
	if len(charges) > 1 {
		some := refsOf(charges)[:rapid.IntRange(1, len(charges)-1).Draw(t, "some")]
		if _, _, err := Next(h.a, some, today, ""); journal.CodeOf(err) != journal.Conflict {
			t.Fatalf("some of the logged work was billed without the rest: %v", err)
		}
	}
	h.issueNext(t, charges, "")
}

// billSome bills some charges of fixed stages, and all of some metered ones.
func (h *history) billSome(t *rapid.T) {
	var charges []Charge
	for _, c := range h.unbilled(true, "") {
		if h.meter(c.StageID) == nil && rapid.Bool().Draw(t, "this") {
			charges = append(charges, c)
		}
	}
	for _, m := range h.meters {
		if rapid.Bool().Draw(t, "this stage") {
			charges = append(charges, h.unbilled(false, m.id)...)
		}
	}
	h.issueNext(t, charges, "")
}

// cancelSome takes any invoice back, an early one after later ones too.
func (h *history) cancelSome(t *rapid.T) {
	var ids []string
	for _, d := range h.a.Documents {
		if d.Kind == Invoice && !h.cancelled[d.ID] {
			ids = append(ids, d.ID)
		}
	}
	if len(ids) == 0 {
		t.Skip("no invoice")
	}
	h.cancel(t, rapid.SampledFrom(ids).Draw(t, "invoice"))
	h.seen.cancels++
}

func (h *history) cancel(t *rapid.T, id string) {
	d, err := Cancel(h.a, id, today)
	if err != nil {
		t.Fatal(err)
	}
	invoice, _ := h.a.document(id)
	back := min(int64(invoice.Holdback), h.held)
	got := []journal.Cents{d.Subtotal + invoice.Subtotal, d.Tax + invoice.Tax, d.DepositCredit + invoice.DepositCredit, d.Holdback, d.Payable}
	want := []journal.Cents{0, 0, 0, journal.Cents(-back), -invoice.Total() + invoice.DepositCredit + journal.Cents(back)}
	if !slices.Equal(got, want) || d.Payable > -invoice.Payable {
		t.Fatalf("cancelling %+v gives %+v", invoice, d)
	}
	h.issued(d)
	h.cancelled[id] = true
	if _, err := Cancel(h.a, id, today); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("cancelled twice: %v", err)
	}
	if _, err := Cancel(h.a, h.a.Documents[len(h.a.Documents)-1].ID, today); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("a credit memo was cancelled: %v", err)
	}
}

func (h *history) release(t *rapid.T) {
	d, ok, err := Release(h.a, today)
	if err != nil || ok != (h.held > 0) {
		t.Fatalf("held %d: ok %v, %v", h.held, ok, err)
	}
	if !ok {
		t.Skip("nothing held")
	}
	credit := h.wantCredit(h.a.Terms, 0, h.held)
	if int64(d.Holdback) != -h.held || int64(d.DepositCredit) != credit || int64(d.Payable) != h.held-credit {
		t.Fatalf("held %d, to credit %d: %+v", h.held, credit, d)
	}
	h.issued(d)
	h.released = true
	h.seen.releases++
}
