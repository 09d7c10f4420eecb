package billing

import (
	"fmt"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

const today journal.Date = "2026-04-14"

// cents reads an amount as the sources print it.
func cents(tb testing.TB, s string) journal.Cents {
	tb.Helper()
	c, err := journal.ParseCents(s)
	if err != nil {
		tb.Fatalf("%q: %v", s, err)
	}
	return c
}

// stage is a stage's value, all labour.
func stage(id string, amount journal.Cents) Charge {
	return Charge{Ref: "stage:" + id, Source: Agreement, StageID: id, Text: id, Split: journal.Split{Labour: amount}}
}

// delta is a signed change order on one stage, all labour.
func delta(id, stageID string, amount journal.Cents) Charge {
	return Charge{Ref: "paper:" + id, Source: ChangeOrder, StageID: stageID, Text: "Change order " + id, Split: journal.Split{Labour: amount}}
}

// account has terms that neither tax nor hold back, unless changed.
func account(agreed ...Charge) *Account {
	return &Account{Terms: Terms{Crediting: ProRata}, Agreed: agreed}
}

// bill issues the document for all unbilled charges of a stage.
func bill(tb testing.TB, a *Account, stageIDs ...string) Document {
	tb.Helper()
	closes := ""
	if len(stageIDs) == 1 {
		closes = stageIDs[0]
	}
	d, ok, err := Next(*a, a.Unbilled(stageIDs...), today, closes)
	if err != nil || !ok {
		tb.Fatalf("Next for %v: ok %v, %v", stageIDs, ok, err)
	}
	return issue(tb, a, d)
}

func release(tb testing.TB, a *Account) Document {
	tb.Helper()
	d, ok, err := Release(*a, today)
	if err != nil || !ok {
		tb.Fatalf("Release: ok %v, %v", ok, err)
	}
	return issue(tb, a, d)
}

func cancel(tb testing.TB, a *Account, id string) Document {
	tb.Helper()
	d, err := Cancel(*a, id, today)
	if err != nil {
		tb.Fatalf("Cancel %s: %v", id, err)
	}
	return issue(tb, a, d)
}

// issue numbers a document as a store does, appends it and checks the account.
func issue(tb testing.TB, a *Account, d Document) Document {
	tb.Helper()
	d.Number = 1
	for _, other := range a.Documents {
		if other.Kind == d.Kind {
			d.Number++
		}
	}
	d.ID = fmt.Sprintf("%s-%d", d.Kind, d.Number)
	a.Documents = append(a.Documents, d)
	adds(tb, *a)
	return d
}

func pay(tb testing.TB, a *Account, documentID string, amount journal.Cents) Payment {
	tb.Helper()
	if err := CheckPayment(*a, documentID, amount); err != nil {
		tb.Fatalf("payment of %s for %s: %v", amount, documentID, err)
	}
	p := Payment{ID: fmt.Sprintf("payment-%d", len(a.Payments)+1), DocumentID: documentID, Amount: amount, On: today}
	a.Payments = append(a.Payments, p)
	adds(tb, *a)
	return p
}

// adds fails unless the statement and each document add up.
func adds(tb rapid.TB, a Account) Statement {
	tb.Helper()
	s := StatementOf(a)
	if err := s.Check(); err != nil {
		tb.Fatalf("%v\n%+v", err, s)
	}
	for _, d := range a.Documents {
		if d.Subtotal+d.Tax != d.DepositCredit+d.Holdback+d.Payable {
			tb.Fatalf("%s does not add up: %+v", d.Name(), d)
		}
		if (d.Kind == CreditMemo) != (d.Total() < 0 || d.Cancels != "") {
			tb.Fatalf("%s has a total of %s", d.Name(), d.Total())
		}
		if (d.Kind == CreditMemo && d.Payable > 0) || (d.Kind != CreditMemo && d.Payable < 0) {
			tb.Fatalf("%s has %s to pay", d.Name(), d.Payable)
		}
	}
	return s
}

// same compares amounts under a name.
func same(tb testing.TB, what string, got, want journal.Cents) {
	tb.Helper()
	if got != want {
		tb.Errorf("%s: %s; want %s", what, got, want)
	}
}

func sprint(v any) string { return fmt.Sprintf("%+v", v) }
