package billing

import (
	"cmp"
	"reflect"
	"slices"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// What the order of events changes, and what it does not.
//
// In any order: what is agreed, billed, paid, received and due of a set of documents
// and payments, and what is open on each document. In any order of the same closes:
// billed, tax, and what is held back; what the deposit covers too, where no document
// has less to pay than the rule credits to it.
//
// Not so, by the rules of rounding: on the invoice basis tax is rounded once a
// document, so it goes by which charges stand on one together, half a cent a
// document; what one document holds or credits is the difference of two rounded
// totals, so it goes by what was billed before, a cent; and a limit cuts off what a
// later document may or may not be able to make up.

// sortedRows puts the rows in an order of their own: theirs is that of agreeing.
func sortedRows(s Statement) Statement {
	s.Stages = slices.Clone(s.Stages)
	slices.SortFunc(s.Stages, func(a, b StageRow) int { return cmp.Compare(a.StageID, b.StageID) })
	return s
}

// Changes, payments for documents and on account, and what bounced, in any order.
func TestOrder_AgreementsAndPayments(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := account(stage("a", 3_333_33), stage("b", 1_000_01))
		a.Terms.HoldbackRate, a.Terms.Tax = 333, Tax{Labour: 625}
		for _, id := range []string{"a", "b"} {
			d, _, err := Next(*a, a.Unbilled(id), today, id)
			if err != nil {
				t.Fatal(err)
			}
			d.ID, d.Number = id, len(a.Documents)+1
			a.Documents = append(a.Documents, d)
		}
		for i := range rapid.IntRange(0, 5).Draw(t, "changes") {
			a.Agreed = append(a.Agreed, delta(numbered("", i), rapid.SampledFrom([]string{"a", "b", "c"}).Draw(t, "stage"), journal.Cents(rapid.Int64Range(-5_000_00, 5_000_00).Draw(t, "amount"))))
		}
		for i := range rapid.IntRange(1, 6).Draw(t, "payments") {
			p := Payment{ID: numbered("payment-", i), DocumentID: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "for"), Amount: journal.Cents(rapid.Int64Range(1, 900_00).Draw(t, "paid"))}
			a.Payments = append(a.Payments, p)
			if rapid.Bool().Draw(t, "bounced") {
				r, err := Reversal(*a, p.ID, today)
				if err != nil {
					t.Fatal(err)
				}
				r.ID = "reversal of " + p.ID
				a.Payments = append(a.Payments, r)
			}
		}
		b := *a
		b.Agreed = rapid.Permutation(a.Agreed).Draw(t, "agreed")
		b.Payments = rapid.Permutation(a.Payments).Draw(t, "paid in order")
		if one, two := sortedRows(adds(t, *a)), sortedRows(adds(t, b)); !reflect.DeepEqual(one, two) {
			t.Fatalf("%+v\nin another order\n%+v", one, two)
		}
		if one, two := Open(*a), Open(b); !reflect.DeepEqual(one, two) || OnAccount(*a) != OnAccount(b) {
			t.Fatalf("%+v\nin another order\n%+v", one, two)
		}
	})
}

// billedInOrder bills stages one by one and returns the statement.
func billedInOrder(t *rapid.T, a Account, order []string) Statement {
	t.Helper()
	a.Documents = nil
	for _, id := range order {
		d, ok, err := Next(a, a.Unbilled(id), today, id)
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			continue
		}
		d.ID, d.Number = id, len(a.Documents)+1
		a.Documents = append(a.Documents, d)
	}
	return adds(t, a)
}

// The same stages closed in two orders.
func TestOrder_Closes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := account()
		a.Terms.Tax, a.Terms.HoldbackRate = anyTax.Draw(t, "tax"), rapid.SampledFrom([]journal.BasisPoints{0, 333, 1000, 10_000}).Draw(t, "holdback")
		a.Terms.Crediting = rapid.SampledFrom(Creditings).Draw(t, "crediting")
		if a.Terms.Crediting == ShareOfEach {
			a.Terms.DepositShare = anyRate.Draw(t, "share")
		}
		var order []string
		var total journal.Cents
		for i := range rapid.IntRange(1, 6).Draw(t, "stages") {
			c := stage(numbered("", i), edgeAmount.Draw(t, "labour"))
			c.Split.Parts = edgeAmount.Draw(t, "parts")
			a.Agreed, order, total = append(a.Agreed, c), append(order, c.StageID), total+c.Split.Total()
		}
		a.DepositReceived = journal.Cents(rapid.Int64Range(0, int64(total/2)).Draw(t, "deposit"))
		one := billedInOrder(t, *a, order)
		two := billedInOrder(t, *a, rapid.Permutation(order).Draw(t, "order"))
		got := []journal.Cents{two.Agreed, two.Billed, two.ToBill, two.Tax, two.HeldBack, two.BilledWithTax}
		want := []journal.Cents{one.Agreed, one.Billed, one.ToBill, one.Tax, one.HeldBack, one.BilledWithTax}
		if !slices.Equal(got, want) {
			t.Fatalf("agreed, billed, to bill, tax, held back, with tax: %v; in another order %v", want, got)
		}
		// Half of all is paid by the deposit at most, so with a tenth held back no
		// document is too small for its credit when it goes pro rata.
		if a.Terms.Crediting == ProRata && a.Terms.HoldbackRate <= 1000 && (two.Covered != one.Covered || two.Due != one.Due || one.Covered != a.DepositReceived && total > 0) {
			t.Fatalf("covered %s of %s and due %s; in another order %s and %s", one.Covered, a.DepositReceived, one.Due, two.Covered, two.Due)
		}
	})
}

// Billed together or one by one: tax by the item is the same to the cent; rounded
// once a document it is off by at most half a cent a document.
func TestOrder_TaxTogetherOrOneByOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := account()
		a.Terms.Tax = anyTax.Draw(t, "tax")
		var order []string
		for i := range rapid.IntRange(2, 6).Draw(t, "stages") {
			c := stage(numbered("", i), edgeAmount.Draw(t, "labour"))
			c.Split.Parts = edgeAmount.Draw(t, "parts")
			a.Agreed, order = append(a.Agreed, c), append(order, c.StageID)
		}
		_, together, _ := Totals(a.Agreed, a.Terms.Tax)
		alone := billedInOrder(t, *a, order).Tax
		off := max(alone-together, together-alone)
		if a.Terms.Tax.PerLine && off != 0 || 2*off > journal.Cents(len(order)+1) {
			t.Fatalf("tax of %s together and %s one by one, in %d documents", together, alone, len(order))
		}
	})
}
