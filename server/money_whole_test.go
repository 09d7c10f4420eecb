package server_test

import (
	"context"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// heronJob is one build that goes through everything about money.
type heronJob struct {
	*busy
	id            journal.BuildID
	office, owner *servertest.Client
}

// signedHeron has the owner sign an agreement of 14 stages, each of 1,000.00 of labour
// and 200.00 of parts, with a deposit of 1,680.00 credited pro rata, 5 % holdback
// and 6.25 % tax on parts.
func signedHeron(t *testing.T) *heronJob {
	b := &busy{Server: servertest.New(t), t: t}
	ctx, steps, office := context.Background(), b.App.Steps(), servertest.Actor(b.Office)
	plans, err := steps.Plans(ctx, office)
	b.must(err)
	id, err := steps.CreateBuild(ctx, office, flow.NewBuild{
		Nickname: "Heron", PlanID: plans[0].ID, ArrivedOn: "2026-04-01", Truck: journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman", Unit: "miles"},
	})
	b.must(err)
	b.builds = []journal.BuildID{id}
	b.must(steps.AddOwner(ctx, office, id, flow.NewMember{PersonID: b.Owner.ID, As: journal.AsOwner}))
	var rows []flow.StageScope
	for _, st := range b.money(id).Stages {
		rows = append(rows, flow.StageScope{StageID: st.ID, Version: st.Version, Name: st.Name, PlannedDays: 3, Value: journal.Split{Labour: 1000_00, Parts: 200_00}})
	}
	if len(rows) != 14 {
		t.Fatalf("the plan has %d stages; the figures of this test are for 14", len(rows))
	}
	b.must(steps.SaveScope(ctx, office, id, rows))
	for _, st := range b.money(id).Stages { // no gates
		b.must(steps.SaveStage(ctx, office, id, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: 3}))
	}
	b.must(steps.SaveTerms(ctx, office, id, b.money(id).Build.Version, billing.Terms{
		Deposit: 1680_00, Crediting: billing.ProRata, HoldbackRate: 500, DueDays: 14, Tax: billing.Tax{Parts: 625},
	}))
	b.Consents(b.Owner)
	w := &heronJob{b, id, b.As(b.Office), b.As(b.Owner)}
	w.signs(signoff.BuildAgreement, signoff.Draft{Title: "Heron", Reason: "All of it", ReadyOn: "2026-12-01"})
	return w
}

// signs has the office write and send a paper, and the owner sign it.
func (w *heronJob) signs(kind signoff.Kind, d signoff.Draft) {
	w.t.Helper()
	ctx, steps, office, owner := context.Background(), w.App.Steps(), servertest.Actor(w.Office), servertest.Actor(w.Owner)
	p, err := steps.NewPaper(ctx, office, w.id, flow.PaperStart{Kind: kind})
	w.must(err)
	p, err = steps.SavePaper(ctx, office, w.id, p.ID, p.Version, d)
	w.must(err)
	p, err = steps.SendPaper(ctx, office, w.id, p.ID, p.Version)
	w.must(err)
	v, err := steps.PaperPage(ctx, owner, w.id, p.ID)
	w.must(err)
	_, err = steps.Decide(ctx, owner, w.id, p.ID, flow.DecideInput{Revision: p.Revision, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, TypedName: w.Owner.Name})
	w.must(err)
}

// today is the day at the shop.
func (w *heronJob) today() journal.Date {
	w.t.Helper()
	zone, err := time.LoadLocation("America/Denver")
	w.must(err)
	return journal.DateOf(w.Clock.Now(), zone)
}

func (w *heronJob) path(rest string) string { return "/builds/" + string(w.id) + rest }

// posts sends a form of the office, which is taken.
func (w *heronJob) posts(path string, typed ...string) {
	w.t.Helper()
	w.office.Post(w.path(path), with(url.Values{}, typed...)).Status(303)
}

func (w *heronJob) stage(i int) string { return "/stages/" + string(w.money(w.id).Stages[i].ID) }

// last checks the document issued last: subtotal, tax, deposit credit, holdback,
// payable; and what is due after it.
func (w *heronJob) last(kind billing.DocumentKind, number int, figures ...journal.Cents) {
	w.t.Helper()
	m := w.money(w.id)
	d := m.Account.Documents[len(m.Account.Documents)-1]
	got := []journal.Cents{d.Subtotal, d.Tax, d.DepositCredit, d.Holdback, d.Payable, m.Statement.Due}
	if d.Kind != kind || d.Number != number || !slices.Equal(got, figures) {
		w.t.Errorf("%s: %v; want %s %d: %v", d.Name(), got, kind, number, figures)
	}
	w.clean()
}

// clean has everything checked that farbay check looks at.
func (w *heronJob) clean() {
	w.t.Helper()
	faults, _, err := w.App.Steps().Check(context.Background(), func(string) error { return nil })
	w.must(err)
	if len(faults) > 0 {
		w.t.Errorf("the check finds %+v", faults)
	}
}

func (w *heronJob) due(want journal.Cents) {
	w.t.Helper()
	if got := w.money(w.id).Statement.Due; got != want {
		w.t.Errorf("due: %s; want %s", got, want)
	}
	w.clean()
}

// One build through an agreement with deposit and holdback, two signed changes (one
// negative, on a closed stage), a bounced cheque, a reopened stage and an early stop.
// Every figure is reckoned by hand from the rules in the comment of package billing;
// in the end the statement, ledger and hledger agree to the cent.
func TestMoney_TheWholeJob(t *testing.T) {
	w := signedHeron(t)
	today := string(w.today())
	w.posts("/payments", "id", "form-of-the-deposit-000001", "amount", "1,680.00", "deposit", "1,680.00", "on", today, "means", "wire")

	// 1,200.00, tax 12.50, holdback 60.00, deposit 1,680 x 1,200 / 16,800.
	w.posts(w.stage(0) + "/open")
	w.posts(w.stage(0) + "/close")
	w.last(billing.Invoice, 1, 1200_00, 12_50, 120_00, 60_00, 1032_50, 1032_50)

	// 18 hours at 95.00 and 480.00 of parts: 18,990.00 are agreed. Stage 2 is
	// 3,390.00, tax 6.25 % of 680.00; holdback 5 % of 4,590.00 less 60.00; deposit
	// 1,680 x 4,590 / 18,990 = 406.07, less 120.00.
	second := w.money(w.id).Stages[1].ID
	w.signs(signoff.ChangeOrder, signoff.Draft{Title: "Floor pans", Reason: "Rust", StageID: second, Days: 1, Lines: []signoff.Line{
		{Kind: journal.Labour, Text: "Cut out, fit and weld", Minutes: 18 * 60, Rate: 95_00, Amount: 1710_00},
		{Kind: journal.Parts, Text: "Two pans", Amount: 480_00},
	}})
	w.posts(w.stage(1) + "/open")
	w.posts(w.stage(1) + "/close")
	w.last(billing.Invoice, 2, 3390_00, 42_50, 286_07, 169_50, 2976_93, 4009_43)

	// One cheque for both invoices bounces.
	w.posts("/payments", "id", "form-of-the-cheque-0000001", "amount", "4,009.43", "on", today, "means", "cheque", "reference", "1041")
	w.due(0)
	w.posts("/payments/form-of-the-cheque-0000001/reverse", "reason", "Returned by the bank")
	w.due(4009_43)

	// 300.00 off stage 1, which is closed: at once, as a credit memo. Holdback 5 % of
	// 4,290.00 less 229.50; a credit memo takes no deposit.
	w.signs(signoff.ChangeOrder, signoff.Draft{Title: "A scratch", Reason: "Ours", StageID: w.money(w.id).Stages[0].ID, Lines: []signoff.Line{
		{Kind: journal.Labour, Text: "Taken off", Minutes: -3 * 60, Rate: 100_00, Amount: -300_00},
	}})
	w.posts("/invoices")
	w.last(billing.CreditMemo, 1, -300_00, 0, 0, -15_00, -285_00, 3724_43)

	// Stage 2 is reopened and its invoice credited.
	w.posts(w.stage(1)+"/reopen", "reason", "The seam has to come out again", "invoices", "credit")
	w.last(billing.CreditMemo, 2, -3390_00, -42_50, -286_07, -169_50, -2976_93, 747_50)
	// Billed anew: holdback 214.50 less 45.00; deposit 1,680 x 4,290 / 18,690 =
	// 385.62, less 120.00.
	w.posts(w.stage(1) + "/close")
	w.last(billing.Invoice, 3, 3390_00, 42_50, 265_62, 169_50, 2997_38, 3744_88)

	// More than is due is refused, and taken when the rest is to stay on account.
	over := []string{"id", "form-of-the-wire-000000001", "amount", "4,000.00", "on", today, "means", "wire"}
	w.office.Post(w.path("/payments"), with(url.Values{}, over...)).Status(422).Says("more than the 3,744.88 due")
	w.posts("/payments", append(over, "keep_rest", "yes")...)
	w.due(-255_12)
	before := w.office.Get(w.path("/statement.csv?on=" + today)).Status(200).Body

	// The owner stops. Of stage 3, under way, 500.00 are earned, and 150.00 of parts
	// go with the truck: 4,940.00 are agreed. The release of 214.50 is covered by the
	// deposit, whose credit to date would be 1,680 x 4,290 / 4,940 = 1,458.95. The last
	// invoice is 650.00, of which parts 83.33 and 150.00 are taxed with 14.58; all of
	// it is covered, and 415.30 of the deposit are left.
	w.Clock.Pass(49 * time.Hour)
	third := w.money(w.id).Stages[2].ID
	w.posts(w.stage(2) + "/open")
	w.signs(signoff.EarlyStop, signoff.Draft{Title: "Heron ends here", Reason: "The owner sells it", StageID: third,
		Lines: []signoff.Line{{Kind: journal.Parts, Text: "Brake lines, not fitted", Amount: 150_00}},
		Stop: &signoff.Stop{By: signoff.OwnersWish, On: w.today(), Truck: "Fetched by the owner's carrier", Parts: []string{"Brake lines"},
			Earned: []signoff.Earned{{StageID: third, Amount: 500_00}}},
	})
	w.last(billing.Invoice, 4, 650_00, 14_58, 664_58, 0, 0, -255_12)
	w.office.Get("/").Says(`send the owner back what is left`).Says(`670\.42`)
	w.posts("/refunds", "id", "form-of-the-refund-0000001", "from", "deposit", "amount", "415.30", "on", string(w.today()), "means", "cheque", "reason", "Left of the deposit")
	w.posts("/refunds", "id", "form-of-the-refund-0000002", "from", "favour", "amount", "255.12", "on", string(w.today()), "means", "cheque", "reason", "Left on account")
	w.due(0)
	w.office.Get("/").Check(htmlcheck.NotIn(`a[href$="/refunds/new"]`))
	s := w.money(w.id).Statement
	// 4,940.00 and 69.58 of tax are paid by 3,744.88 and the deposit's 1,264.70.
	got := []journal.Cents{s.Agreed, s.Billed, s.ToBill, s.Tax, s.Paid, s.Covered, s.HeldBack, s.DepositUnearned, s.DepositRefunded}
	if want := []journal.Cents{4940_00, 4940_00, 0, 69_58, 3744_88, 1264_70, 0, 0, 415_30}; !slices.Equal(got, want) {
		t.Errorf("agreed, billed, to bill, tax, paid, covered, held, unearned, refunded: %v; want %v", got, want)
	}
	w.owner.Get(w.path("/statement")).Status(200).Says(`4,940\.00`)
	if after := w.office.Get(w.path("/statement.csv?on=" + today)).Status(200).Body; after != before {
		t.Errorf("the statement of %s is another one two days later:\n%s\n%s", today, before, after)
	}
	want := map[string]journal.Cents{"Assets:Receivable": 0, "Assets:Held back": 0, "Liabilities:Deposits": 0, "Liabilities:On account": 0, "Liabilities:Sales tax": -69_58}
	files := w.files("2026-01-01", w.today())
	for program, args := range map[string][]string{
		"hledger": {"balance", "--flat", "-O", "csv", "--empty"},
		"ledger":  {"--pedantic", "--args-only", "balance", "--flat", "--no-total", "--empty", "--format", "\"%(account)\",\"%(quantity(scrub(display_total)))\"\n"},
	} {
		sums := w.read(files, program, args...)
		var income, received journal.Cents
		for account, sum := range sums {
			switch {
			case strings.HasPrefix(account, "Income:"):
				income += sum
			case strings.HasPrefix(account, "Assets:Received:"):
				received += sum
			}
		}
		for account, sum := range want {
			if sums[account] != sum {
				t.Errorf("%s says %s on %s; want %s", program, sums[account], account, sum)
			}
		}
		if income != -4940_00 || received != 5009_58 {
			t.Errorf("%s says %s of income and %s received; want -4,940.00 and 5,009.58: %v", program, income, received, sums)
		}
	}
}
