package billing

import (
	"slices"
	"strings"
	"testing"

	"farbay/journal"
)

// A build with something in every figure of its statement.
func busy(tb testing.TB) *Account {
	a := account(stage("frame", 10_000_00), stage("paint", 8_000_00))
	a.Terms = Terms{Crediting: ProRata, HoldbackRate: 1000, Tax: Tax{Labour: 500}}
	a.DepositReceived, a.DepositRefunded = 3_000_00, 100_00
	a.Agreed = append(a.Agreed,
		delta("1", "frame", 2_000_00),
		Charge{Ref: "paper:2", Source: Allowance, StageID: "paint", Split: journal.Split{Parts: 150_00}},
		Charge{Ref: "paper:3", Source: ChangeOrder, Split: journal.Split{Delivery: 400_00}})
	d := bill(tb, a, "frame")
	pay(tb, a, d.ID, 5_000_00)
	return a
}

func TestStatementOf(t *testing.T) {
	s := adds(t, *busy(t))
	// Worked by hand: 12,000.00 billed; tax 600.00; held 1,200.00; covered
	// 2,900 x 12,000 / 20,550 = 1,693.43; due is the rest.
	want := Statement{
		Agreement: 18_000_00, Changes: 2_400_00, Allowances: 150_00, Agreed: 20_550_00,
		Billed: 12_000_00, ToBill: 8_550_00, Tax: 600_00, BilledWithTax: 12_600_00,
		Paid: 5_000_00, Due: 4_706_57, HeldBack: 1_200_00, Covered: 1_693_43,
		DepositReceived: 3_000_00, DepositUnearned: 1_206_57, DepositRefunded: 100_00,
	}
	rows := []StageRow{
		{StageID: "frame", Agreed: 10_000_00, Changes: 2_000_00, Billed: 12_000_00},
		{StageID: "paint", Agreed: 8_000_00, Changes: 150_00, ToBill: 8_150_00},
		{StageID: "", Changes: 400_00, ToBill: 400_00},
	}
	if !slices.Equal(s.Stages, rows) {
		t.Errorf("rows: %+v; want %+v", s.Stages, rows)
	}
	s.Stages = nil
	if got, wanted := sprint(s), sprint(want); got != wanted {
		t.Errorf("got  %s\nwant %s", got, wanted)
	}
	if err := (Statement{}).Check(); err != nil {
		t.Errorf("an empty build: %v", err)
	}
}

// Whatever is altered in stored records, one of the sums no longer holds, and
// the sentence says which.
func TestStatement_CheckFindsTampering(t *testing.T) {
	for name, tc := range map[string]struct {
		alter func(*Account)
		say   string
	}{
		"an issued document's tax":      {func(a *Account) { a.Documents[0].Tax++ }, "paid, due"},
		"an issued document's holdback": {func(a *Account) { a.Documents[0].Holdback++ }, "paid, due"},
		"an issued document's payable":  {func(a *Account) { a.Documents[0].Payable-- }, "paid, due"},
		"its deposit credit":            {func(a *Account) { a.Documents[0].DepositCredit++ }, "paid, due"},
		"a charge on it":                {func(a *Account) { a.Documents[0].Charges[0].Split.Labour++ }, "still to bill"},
		"an agreed charge since billed": {func(a *Account) { a.Agreed[0].Split.Labour++ }, "still to bill"},
		"a charge of no known source":   {func(a *Account) { a.Agreed[3].Source = "word of mouth" }, "Agreed is"},
		"a charge billed twice": {func(a *Account) {
			a.Documents = append(a.Documents, Document{ID: "x", Kind: Invoice, Charges: a.Agreed[:1], Subtotal: 10_000_00, Payable: 10_000_00})
		}, "for stage frame"},
		"a charge moved between stages": {func(a *Account) { a.Documents[0].Charges[0].StageID = "paint" }, "for stage paint"},
		"a charge never agreed": {func(a *Account) {
			c := stage("unsigned", 7)
			a.Documents = append(a.Documents, Document{ID: "x", Kind: Invoice, Charges: []Charge{c}, Subtotal: 7, Payable: 7})
		}, "still to bill"},
		"a payment for no document": {func(a *Account) { a.Payments[0].DocumentID = "of another build" }, "paid, due"},
		"a release of more than is held": {func(a *Account) {
			a.Documents = append(a.Documents, Document{ID: "x", Kind: HoldbackRelease, Holdback: -1_200_01, Payable: 1_200_01})
		}, "held back cannot be negative"},
		"a refund taken back": {func(a *Account) { a.DepositRefunded = -1 }, "refunded deposit cannot be negative"},
	} {
		t.Run(name, func(t *testing.T) {
			a := busy(t)
			tc.alter(a)
			err := StatementOf(*a).Check()
			if journal.CodeOf(err) != journal.Internal || !strings.Contains(err.Error(), tc.say) {
				t.Errorf("%v; want a sentence with %q", err, tc.say)
			}
		})
	}
}

// Each sum of a statement is tested on its own: changing any one figure fails.
func TestStatement_CheckFindsEveryFigure(t *testing.T) {
	figures := func(s *Statement) map[string]*journal.Cents {
		return map[string]*journal.Cents{
			"agreement": &s.Agreement, "changes": &s.Changes, "allowances": &s.Allowances, "stop": &s.Stop, "unused": &s.Unused, "agreed": &s.Agreed,
			"billed": &s.Billed, "to bill": &s.ToBill, "tax": &s.Tax, "billed with tax": &s.BilledWithTax,
			"paid": &s.Paid, "due": &s.Due, "held back": &s.HeldBack, "covered": &s.Covered,
			"received": &s.DepositReceived, "unearned": &s.DepositUnearned, "refunded": &s.DepositRefunded,
			"row agreed": &s.Stages[1].Agreed, "row changes": &s.Stages[1].Changes,
			"row billed": &s.Stages[1].Billed, "row to bill": &s.Stages[1].ToBill, "row unused": &s.Stages[1].Unused,
		}
	}
	s := StatementOf(*busy(t))
	for name := range figures(&s) {
		altered := StatementOf(*busy(t))
		*figures(&altered)[name]++
		if altered.Check() == nil {
			t.Errorf("a cent more %s was not noticed", name)
		}
	}
}
