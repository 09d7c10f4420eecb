package billing

import (
	"math/big"
	"slices"

	"farbay/journal"
)

// books are kept beside an account by the rules of the package comment word for
// word, in exact rationals. They are running totals, updated event by event; the
// package under test sums up its records each time.
type books struct {
	agreed, billed, tax, payable int64
	held, covered, paid          int64
	received, refunded           int64
	released                     bool

	charges   []Charge // agreed on stages of a fixed value
	billedNow map[string]bool
	paidFor   map[string]int64 // by document; "" on account
	meters    []*meterBook
}

// meterBook is a metered stage as the books have it.
type meterBook struct {
	id       string
	closed   bool
	ceiling  int64
	agreed   kinds // the ceiling, kind by kind
	work     []Charge
	billed   kinds
	adjusted int
}

// kinds are amounts by line kind, in the order of [journal.LineKinds].
type kinds [5]int64

func kindsOf(s journal.Split) kinds {
	return kinds{int64(s.Labour), int64(s.Parts), int64(s.Outside), int64(s.Delivery), int64(s.Other)}
}

func (k kinds) plus(o kinds, sign int64) kinds {
	for i := range k {
		k[i] += sign * o[i]
	}
	return k
}

func (k kinds) total() (sum int64) {
	for _, amount := range k {
		sum += amount
	}
	return sum
}

func (k kinds) split() journal.Split {
	c := func(i int) journal.Cents { return journal.Cents(k[i]) }
	return journal.Split{Labour: c(0), Parts: c(1), Outside: c(2), Delivery: c(3), Other: c(4)}
}

// halfAway rounds to the nearest whole number, an exact half away from zero.
func halfAway(r *big.Rat) int64 {
	twice := new(big.Int).Abs(r.Num())
	twice.Add(twice.Lsh(twice, 1), r.Denom())
	q := twice.Quo(twice, new(big.Int).Lsh(r.Denom(), 1)).Int64()
	if r.Sign() < 0 {
		return -q
	}
	return q
}

// share is amount x rate, exactly.
func share(amount int64, rate journal.BasisPoints) *big.Rat {
	return new(big.Rat).Mul(big.NewRat(amount, 1), big.NewRat(int64(rate), 10_000))
}

// floor cuts off to a whole number; r is 0 or more.
func floor(r *big.Rat) int64 { return new(big.Int).Quo(r.Num(), r.Denom()).Int64() }

// dealt is the rule "Shares": whole parts of the exact quotas, what is left over
// one each to the largest fractions, the first of equals first.
func dealt(total int64, weights kinds) (parts kinds) {
	all := weights.total()
	left := total
	var fractions [5]*big.Rat
	for i, w := range weights {
		quota := new(big.Rat).Mul(big.NewRat(total, 1), big.NewRat(w, all))
		parts[i] = floor(quota)
		fractions[i] = quota.Sub(quota, big.NewRat(parts[i], 1))
		left -= parts[i]
	}
	for ; left > 0; left-- {
		best := 0
		for i := range fractions {
			if fractions[i].Cmp(fractions[best]) > 0 {
				best = i
			}
		}
		parts[best]++
		fractions[best] = big.NewRat(-1, 1)
	}
	return parts
}

func (m *meterBook) worked() (sum kinds) {
	for _, c := range m.work {
		sum = sum.plus(kindsOf(c.Split), 1)
	}
	return sum
}

// mayBill is the work to date, at most the ceiling; one below zero is owed.
func (m *meterBook) mayBill() int64 { return min(m.worked().total(), m.ceiling) }

func (m *meterBook) unused() int64 {
	if !m.closed {
		return 0
	}
	return m.ceiling - m.mayBill()
}

// next lists what a document bills of the stage: the rule "Time and materials".
func (m *meterBook) next(billedNow map[string]bool) (charges []Charge) {
	goal := m.worked()
	if most := m.mayBill(); most < 0 {
		goal = m.agreed
	} else if most == 0 {
		goal = kinds{}
	} else if most < goal.total() {
		goal = dealt(most, goal)
	}
	if goal == m.billed {
		return nil
	}
	rest := goal.plus(m.billed, -1)
	for _, c := range m.work {
		if !billedNow[c.Ref] {
			charges = append(charges, c)
			rest = rest.plus(kindsOf(c.Split), -1)
		}
	}
	if rest != (kinds{}) {
		charges = append(charges, Charge{Ref: numbered("ceiling:"+m.id+"/", m.adjusted+1), Source: CeilingHeld, StageID: m.id, Split: rest.split()})
	}
	return charges
}

func (b *books) meter(id string) *meterBook {
	for _, m := range b.meters {
		if m.id == id {
			return m
		}
	}
	return nil
}

// net is what is agreed less the ceilings that are not needed.
func (b *books) net() int64 { return b.agreed - b.unused() }

func (b *books) unused() (sum int64) {
	for _, m := range b.meters {
		sum += m.unused()
	}
	return sum
}

// unbilled lists what can be billed, of one stage or of all.
func (b *books) unbilled(all bool, stageID string) (charges []Charge) {
	for _, c := range b.charges {
		if (all || c.StageID == stageID) && !b.billedNow[c.Ref] {
			charges = append(charges, c)
		}
	}
	for _, m := range b.meters {
		if all || m.id == stageID {
			charges = append(charges, m.next(b.billedNow)...)
		}
	}
	return charges
}

// wantHoldback is the rule "Holdback", with its limits.
func (b *books) wantHoldback(terms Terms, subtotal, total int64) int64 {
	if b.released {
		return 0
	}
	limit := Limit{OfPayment: 10_000, OfPrice: 10_000}
	for _, l := range Limits {
		if l.Name == terms.HoldbackCap {
			limit = l
		}
	}
	toDate := halfAway(share(max(b.billed+subtotal, 0), terms.HoldbackRate))
	if limit.OfPrice != 10_000 && limit.OfPrice != 0 {
		toDate = min(toDate, floor(share(max(b.net(), 0), limit.OfPrice)))
	}
	hold := toDate - b.held
	if total < 0 {
		return min(0, max(hold, total))
	}
	if limit.OfPayment != 10_000 {
		hold = min(hold, floor(share(max(subtotal, 0), limit.OfPayment)))
	}
	return max(0, min(hold, total))
}

// wantCredit is the rule "Deposit".
func (b *books) wantCredit(terms Terms, subtotal, toPay int64) int64 {
	deposit := b.received - b.refunded
	billed, agreed := b.billed+subtotal, b.net()
	target := int64(0)
	switch {
	case billed <= 0:
	case billed >= agreed || terms.Crediting == FirstFirst:
		target = deposit
	case terms.Crediting == LastFirst:
		target = deposit - (agreed - billed)
	case terms.Crediting == ShareOfEach:
		target = halfAway(share(billed, terms.DepositShare))
	default:
		target = halfAway(new(big.Rat).Mul(big.NewRat(deposit, 1), big.NewRat(billed, agreed)))
	}
	return max(0, min(target-b.covered, toPay, deposit-b.covered))
}

// enter takes an issued document into the books.
func (b *books) enter(d Document) {
	b.billed += int64(d.Subtotal)
	b.tax += int64(d.Tax)
	b.payable += int64(d.Payable)
	b.held += int64(d.Holdback)
	b.covered += int64(d.DepositCredit)
	for _, c := range d.Charges {
		if m := b.meter(c.StageID); m != nil {
			m.billed = m.billed.plus(kindsOf(c.Split), 1)
			if c.Source == CeilingHeld && d.Cancels == "" {
				m.adjusted++
			}
		}
		b.billedNow[c.Ref] = d.Cancels == ""
	}
}

// refsOf returns the refs of charges.
func refsOf(charges []Charge) (refs []string) {
	for _, c := range charges {
		refs = append(refs, c.Ref)
	}
	return refs
}

func sameCharges(a, b []Charge) bool {
	return slices.EqualFunc(a, b, func(x, y Charge) bool { return x.Ref == y.Ref && x.StageID == y.StageID && x.Split == y.Split })
}
