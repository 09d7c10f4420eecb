package billing

import (
	"fmt"
	"testing"

	"farbay/journal"
)

// billEach issues documents one after the other, each with one charge of labour.
func billEach(t *testing.T, a *Account, amounts ...journal.Cents) (credits []journal.Cents) {
	t.Helper()
	for _, amount := range amounts {
		ref := fmt.Sprintf("stage:%d", len(a.Documents))
		found := false
		for _, c := range a.Agreed {
			found = found || c.Ref == ref && c.Split.Labour == amount
		}
		if !found {
			t.Fatalf("%s of %s is not agreed", ref, amount)
		}
		d, ok, err := Next(*a, []string{ref}, today, "")
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		d.Number = len(a.Documents) + 1
		d.ID = fmt.Sprint(d.Number)
		a.Documents = append(a.Documents, d)
		credits = append(credits, d.DepositCredit)
	}
	return credits
}

func agreedOf(terms Terms, received journal.Cents, amounts ...journal.Cents) *Account {
	a := &Account{Terms: terms, DepositReceived: received}
	for i, amount := range amounts {
		a.Agreed = append(a.Agreed, Charge{Ref: fmt.Sprintf("stage:%d", i), Source: Agreement, StageID: fmt.Sprint(i), Split: journal.Split{Labour: amount}})
	}
	return a
}

func equalCents(t *testing.T, what string, got, want []journal.Cents) {
	t.Helper()
	if fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("%s: credits %v, want %v", what, got, want)
	}
}

// A share of each until used: FIDIC 14.2 gives 25 % of each certificate; a
// certificate of 100,000.00 recovers 25,000.00 where the base is the gross
// (en.allexperts.com, Construction Law 914). FAR 52.232-16(b): the lesser of what
// is left and the share.
func TestDeposit_ShareOfEach(t *testing.T) {
	terms := Terms{Deposit: 6_000_000, Crediting: ShareOfEach, DepositShare: 2500}
	a := agreedOf(terms, 6_000_000, 10_000_000, 10_000_000, 10_000_000, 10_000_000)
	equalCents(t, "25 % of each", billEach(t, a, 10_000_000, 10_000_000, 10_000_000), []journal.Cents{2_500_000, 2_500_000, 1_000_000})
	equalCents(t, "when it is used", billEach(t, a, 10_000_000), []journal.Cents{0})
	// The other base that was advised, net of 10 % retention, would give
	// 22,500.00: the base is stated, and is the gross.
	terms.HoldbackRate = 1000
	a = agreedOf(terms, 6_000_000, 10_000_000, 90_000_000)
	equalCents(t, "with a holdback", billEach(t, a, 10_000_000), []journal.Cents{2_500_000})
}

// Used for the first payments first and filled up again at 500.00, as the terms
// that two restoration shops publish have it (not named here): 10,000.00, and
// 5,775.00, which is 77 hours at 75.00.
func TestDeposit_FirstPaymentsFirst(t *testing.T) {
	if 77*7500 != 577_500 {
		t.Fatal("77 hours at 75.00 are not 5,775.00")
	}
	terms := Terms{Deposit: 577_500, Crediting: FirstFirst, RefillFloor: 50_000}
	a := agreedOf(terms, 577_500, 300_000, 227_500, 400_000, 400_000)
	if asked := DepositAsked(*a); asked != 0 {
		t.Errorf("asked for %s while it is full", asked)
	}
	equalCents(t, "the first two", billEach(t, a, 300_000, 227_500), []journal.Cents{300_000, 227_500})
	// 500.00 is left: it is to be filled up to 5,775.00 again.
	if asked := DepositAsked(*a); asked != 527_500 {
		t.Errorf("asked for %s", asked)
	}
	a.DepositReceived += 527_500
	if asked := DepositAsked(*a); asked != 0 {
		t.Errorf("asked for %s after it was filled up", asked)
	}
	equalCents(t, "after it was filled up", billEach(t, a, 400_000), []journal.Cents{400_000})
	// 1,775.00 is left, above the floor; the last invoice takes it.
	equalCents(t, "the last", billEach(t, a, 400_000), []journal.Cents{177_500})
	if asked := DepositAsked(*a); asked != 0 {
		t.Errorf("asked for %s with nothing left to bill", asked)
	}
}

// Kept for the final invoice: a retainer held in reserve and applied to the last
// invoice, what is over refunded, as a shop that is not named here publishes it.
// The figures are our own.
func TestDeposit_LastPaymentsFirst(t *testing.T) {
	terms := Terms{Deposit: 500_000, Crediting: LastFirst}
	a := agreedOf(terms, 500_000, 400_000, 300_000, 300_000, 100_000)
	equalCents(t, "the last of 11,000.00", billEach(t, a, 400_000, 300_000, 300_000, 100_000), []journal.Cents{0, 100_000, 300_000, 100_000})
	a = agreedOf(terms, 500_000, 300_000, 100_000)
	equalCents(t, "more than the build", billEach(t, a, 300_000, 100_000), []journal.Cents{300_000, 100_000})
	if left := StatementOf(*a).DepositUnearned; left != 100_000 {
		t.Errorf("%s is left to refund", left)
	}
}

func TestDepositAsked_UntilItIsIn(t *testing.T) {
	for _, way := range Creditings {
		a := agreedOf(Terms{Deposit: 200_000, Crediting: way}, 150_000, 1_000_000)
		if asked := DepositAsked(*a); asked != 50_000 {
			t.Errorf("%s: asked for %s", way, asked)
		}
	}
}

// A receipt that invoices have used bounces after the deposit was filled up and all
// is billed: the build lacks it, so it is asked for, whatever the floor says. The
// figures are our own.
func TestDepositAsked_BouncedAfterItWasFilledUp(t *testing.T) {
	a := agreedOf(Terms{Deposit: 100_000, Crediting: FirstFirst, RefillFloor: 10_000}, 100_000, 100_000, 100_000)
	billEach(t, a, 100_000)
	a.DepositReceived += DepositAsked(*a)
	equalCents(t, "filled up", billEach(t, a, 100_000), []journal.Cents{100_000})
	a.DepositReceived -= 100_000
	same(t, "lacking", StatementOf(*a).DepositUnearned, -100_000)
	same(t, "asked for", DepositAsked(*a), 100_000)
	a.DepositReceived += 100_000
	same(t, "asked for when it came again", DepositAsked(*a), 0)
}
