package server_test

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// billedHeron is a build with two invoices of 1,250.50 each.
func billedHeron(t *testing.T, s *servertest.Server, office *servertest.Client) string {
	t.Helper()
	at := agreed(t, s, office)
	for _, stage := range stagesOf(t, office, at)[:2] {
		billStage(t, office, stage)
	}
	return at
}

// billStage opens and closes a stage whose gate asks for nothing, and returns the
// address of its invoice.
func billStage(t *testing.T, office *servertest.Client, stage string) string {
	t.Helper()
	form := formIn(t, office.Get(stage+"/edit").Status(http.StatusOK), stage+"/edit")
	office.Post(stage+"/edit", with(form, "photos", "0", "checks", "", "teardown", "")).Redirects(stage)
	office.Post(stage+"/open", nil).Redirects(stage)
	return office.Post(stage+"/close", nil).Status(http.StatusSeeOther).Header.Get("Location")
}

func paymentOf(t *testing.T, office *servertest.Client, at string) url.Values {
	t.Helper()
	return with(formIn(t, office.Get(at+"/payments/new"), at+"/payments"), "reference", "W-77")
}

func TestPayment_OneSumForTwoInvoicesAndTheRest(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := billedHeron(t, s, office)
	form := paymentOf(t, office, at)
	office.Get(at + "/payments/new").Check(htmlcheck.In("form", htmlcheck.HasText("Invoice 1"), htmlcheck.HasText(`\$1,250\.50 open`)))

	over := with(form, "amount", "2,600")
	page := office.Post(at+"/payments", over).Status(http.StatusUnprocessableEntity)
	page.Says(`2,600.00 is more than the 2,501.00 due on all invoices`).Says("tick that the rest of 99.00 is kept on account")
	page.Check(htmlcheck.In(`input[name="amount"]`, htmlcheck.HasAttr("value", "2,600")), htmlcheck.In(`input[name="reference"]`, htmlcheck.HasAttr("value", "W-77")))

	kept := with(over, "keep_rest", "yes")
	for range 2 { // the form sent twice
		office.Post(at+"/payments", kept).Redirects(at + "/money")
	}
	page = office.Get(at + "/money").Status(http.StatusOK)
	page.Says(`\$99\.00 stands in the owner’s favour`).Says(`\$1,250\.50 for invoice 1, \$1,250\.50 for invoice 2, \$99\.00 for the account`)
	page.Check(htmlcheck.Count(`form[action$="/reverse"]`, 1))
	owner := s.As(s.Owner)
	owner.Get(at + "/money").Says(`You paid \$2,600\.00`).Says(`\$99\.00 for your account`).Says(`\$99\.00 stands in your favour`)

	// The next invoice is paid from it by itself.
	invoice := billStage(t, office, stagesOf(t, office, at)[2])
	for _, c := range []*servertest.Client{office, owner} {
		c.Get(invoice).Says(`\$99\.00 of it was paid from money on account`)
		c.Get(at + "/money").Says(`\$99\.00 of it was paid from money on account`)
	}

	// The wire is called back: all of it at once, and the owner is told.
	actions, err := htmlcheck.Values(office.Get(at+"/money").Body, `form[action$="/reverse"]`, "action")
	if err != nil || len(actions) != 1 {
		t.Fatalf("ways to reverse: %q, %v", actions, err)
	}
	reverse := actions[0]
	page = office.Post(reverse, url.Values{"reason": {""}}).Status(http.StatusUnprocessableEntity)
	page.Check(htmlcheck.In("details[open] .wrong"))
	office.Post(reverse, url.Values{"reason": {"Called back by the bank."}}).Redirects(at + "/money")
	office.Get(at + "/money").Says("Called back by the bank").Says(`\$3,751\.50 is due on three invoices`).Check(htmlcheck.NotIn(`form[action$="/reverse"]`))
	owner.Get(at + "/money").Says("Called back by the bank").Says(`taken back`)
	s.Settle()
	letters := s.Mail.To(s.Owner.Email)
	last := letters[len(letters)-1]
	if !strings.Contains(last.Subject, "taken back") || !strings.Contains(last.Text, "Called back by the bank.") {
		t.Errorf("the owner got %q: %s", last.Subject, last.Text)
	}
}

func TestPayment_refusesAndKeeps(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := billedHeron(t, s, office)
	form := paymentOf(t, office, at)
	for _, tc := range []struct {
		name, field, typed, says string
	}{
		{"nothing", "amount", "", "above zero"},
		{"negative", "amount", "-5", "above zero"},
		{"twelve digits", "amount", "123456789012", "more than 99,999,999.99"},
		{"in words", "amount", "<b>ten</b>", "such as 1,234.50"},
		{"a day to come", "on", "2026-12-24", "still to come"},
		{"1900", "on", "1900-01-01", "check the year"},
		{"2300", "on", "2300-01-01", "year-month-day"},
		{"no such day", "on", "2026-02-30", "day that exists"},
		{"more than the second invoice", "for.1.amount", "1,250.51", "more than the 1,250.50 open on invoice 2"},
		{"a part in words", "for.1.amount", "all", "such as 1,234.50"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			filled := with(form, tc.field, tc.typed)
			if tc.field == "for.1.amount" {
				filled = with(filled, "amount", "1,250.51")
			}
			page := office.Post(at+"/payments", filled).Status(http.StatusUnprocessableEntity)
			page.Check(htmlcheck.In(`[id="f-`+tc.field+`-problem"]`, htmlcheck.HasText(tc.says)),
				htmlcheck.In(`input[name="`+tc.field+`"]`, htmlcheck.HasAttr("value", tc.typed)))
		})
	}
	office.Get(at + "/money").Says("None yet")
}

func TestRefund(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := billedHeron(t, s, office)
	office.Get(at + "/refunds/new").Status(http.StatusOK).Says("Nothing stands in the owner’s favour")
	office.Post(at+"/payments", with(paymentOf(t, office, at), "amount", "2,551", "keep_rest", "yes")).Redirects(at + "/money")
	form := formIn(t, office.Get(at+"/refunds/new"), at+"/refunds")
	if form.Get("amount") != "50.00" || form.Get("from") != "favour" {
		t.Errorf("the form offers %s out of %s", form.Get("amount"), form.Get("from"))
	}
	page := office.Post(at+"/refunds", with(form, "amount", "50.01")).Status(http.StatusUnprocessableEntity)
	page.Says("more than the 50.00 in the owner").Says("why it is sent back").Check(htmlcheck.In(`input[name="amount"]`, htmlcheck.HasAttr("value", "50.01")))
	office.Post(at+"/refunds", with(form, "reason", "Paid too much.", "from", "till")).Status(http.StatusUnprocessableEntity).Says("out of what")
	for range 2 {
		office.Post(at+"/refunds", with(form, "reason", "Paid too much.")).Redirects(at + "/money")
	}
	office.Get(at + "/money").Says(`\$50\.00 sent back`).Says("Paid too much").Check(htmlcheck.Count(`form[action$="/reverse"]`, 2))
	s.As(s.Owner).Get(at + "/money").Says(`The shop sent you \$50\.00 back`).Says("Paid too much")
	s.As(s.Floor).Get(at + "/refunds/new").Status(http.StatusForbidden)
}

func TestReceivables(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	office.Get("/receivables").Status(http.StatusOK).Says("Nothing is open on any build")
	at := billedHeron(t, s, office)
	edit := formIn(t, office.Get(at+"/edit"), at+"/edit")
	office.Post(at+"/edit", with(edit, "nickname", `=1+1,"x"`)).Redirects(at)
	office.Post(at+"/payments", with(paymentOf(t, office, at), "amount", "1,000")).Redirects(at + "/money")
	s.Clock.Pass(15 * 24 * time.Hour) // 14 days to pay: a day late
	office.Get("/receivables").Says(`\$1,501\.00 is open, and \$1,501\.00 of it is late`).
		Check(htmlcheck.In(`td[data-label="1 to 30 days"]`, htmlcheck.HasText(`\$1,501\.00`)), htmlcheck.In(`a[href="/receivables.csv"]`))
	office.Get("/builds").Says("Two invoices are late")
	s.As(s.Floor).Get("/builds").Check(htmlcheck.In("main", htmlcheck.HasNoText("late")))

	reply := office.Get("/receivables.csv").Status(http.StatusOK)
	if got := reply.Header.Get("Content-Type"); !strings.HasPrefix(got, "text/csv") {
		t.Errorf("content type %q", got)
	}
	// Read by the standard library's reader of RFC 4180.
	table, err := csv.NewReader(strings.NewReader(reply.Body)).ReadAll()
	if err != nil || len(table) != 3 {
		t.Fatalf("%v, %v", table, err)
	}
	head := fmt.Sprint(table[0])
	if head != "[as_of build owners document number issued due days_late not_late late_1_30 late_31_60 late_61_90 late_over_90 in_favour currency]" {
		t.Errorf("the head is %s", head)
	}
	if first := table[1]; first[1] != `'=1+1,"x"` || first[3] != "invoice" || first[4] != "1" || first[7] != "1" || first[9] != "250.50" || first[8] != "0.00" || first[14] != "USD" {
		t.Errorf("the first line is %q", first)
	}
	if table[2][9] != "1250.50" {
		t.Errorf("the second line is %q", table[2])
	}
}

// A reminder goes out in the morning, once, and not when the invoice was paid
// before the mail server took it.
func TestReminder_ByMail(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	form := formIn(t, office.Get("/shop"), "/shop")
	office.Post("/shop", with(form, "reminder_days", "soon")).Status(http.StatusUnprocessableEntity).Says("such as: -3, 1, 14, 30").
		Check(htmlcheck.In(`input[name="reminder_days"]`, htmlcheck.HasAttr("value", "soon")))
	office.Post("/shop", with(form, "reminder_days", "14, 1 -3")).Redirects("/shop")
	office.Get("/shop").Check(htmlcheck.In(`input[name="reminder_days"]`, htmlcheck.HasAttr("value", "-3, 1, 14")))
	at := billedHeron(t, s, office)
	s.Settle()
	reminders := func() (n int) {
		t.Helper()
		s.Settle()
		for _, letter := range s.Mail.To(s.Owner.Email) {
			if strings.HasPrefix(letter.Subject, "Soon to pay") || strings.HasPrefix(letter.Subject, "Still to pay") {
				n++
			}
		}
		return n
	}
	remind := func() {
		t.Helper()
		if _, err := s.App.Steps().RemindDue(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	s.Clock.Pass(11 * 24 * time.Hour)
	remind()
	remind()
	if n := reminders(); n != 2 {
		t.Errorf("%d reminders of two invoices, three days before they are due", n)
	}
	// While the mail server is away the first invoice is paid.
	s.Clock.Pass(4 * 24 * time.Hour)
	s.Mail.FailWith(fmt.Errorf("the mail server is away"))
	remind()
	s.Settle()
	office.Post(at+"/payments", with(paymentOf(t, office, at), "amount", "1,250.50", "on", "2026-04-20")).Redirects(at + "/money")
	s.Mail.FailWith(nil)
	s.Clock.Pass(time.Hour)
	if n := reminders(); n != 3 {
		t.Errorf("%d reminders, want the two before and one of invoice 2", n)
	}
	office.Get("/outbox").Says("not sent").Says("settled meanwhile")
}
