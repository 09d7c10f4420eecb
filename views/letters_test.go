package views

import (
	"maps"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

func givenLetters() map[string]Letter {
	f := MailFrame{Words: givenWords, ShopName: "Tern Hollow Truck Works", ShopPhone: "555 0142", ToName: "Ada Lindqvist"}
	signed, declined := givenDecision(signoff.OutcomeSigned), givenDecision(signoff.OutcomeDeclined)
	link := "https://farbay.example/x"
	letters := map[string]Letter{
		"sign-in":           SignInLetter{f, link, at("2026-04-15", 10, 30)},
		"set-password":      SetPasswordLetter{f, link, at("2026-04-15", 10, 30)},
		"paper":             PaperSentLetter{MailFrame: f, Sheet: givenView(), Link: link},
		"renewed":           PaperSentLetter{MailFrame: f, Sheet: givenView(), Link: link, Renewed: "Change order 3 was signed, so the new total is worked out afresh."},
		"question":          QuestionLetter{f, givenView(), "Ada Lindqvist", "Could the old pans be patched?", link},
		"answer":            AnswerLetter{f, givenView(), "Could the old pans be patched?", "They could.", link},
		"signed":            DecisionLetter{f, givenView(), signed, link},
		"declined":          DecisionLetter{f, givenView(), declined, link},
		"decided":           DecidedLetter{f, givenView(), signed, link},
		"invoice":           InvoiceLetter{f, givenInvoice().Document, "Heron", "Frame and coat", link},
		"credit":            InvoiceLetter{f, billing.Document{Kind: billing.CreditMemo, Number: 1, Subtotal: -5000, Payable: -5000}, "Heron", "", link},
		"payment":           PaymentLetter{f, journal.Payment{Amount: 300000, On: "2026-04-09", Means: journal.Cheque, Reference: "0092"}, "Heron", []PaidFor{{What: "invoice 31", Amount: 300000}}, 681800, link},
		"taken back":        PaymentLetter{f, journal.Payment{Amount: -300000, On: "2026-04-11", Means: journal.Cheque, ReversesID: "y", Reason: "Cheque returned by the bank."}, "Heron", []PaidFor{{What: "invoice 31", Amount: -300000}}, 981800, link},
		"reminder":          ReminderLetter{f, givenInvoice().Document, "Heron", 681800, true, link},
		"reminder before":   ReminderLetter{f, givenInvoice().Document, "Heron", 681800, false, link},
		"one sum":           PaymentLetter{f, journal.Payment{Amount: 350000, On: "2026-04-09", Means: journal.Wire}, "Heron", []PaidFor{{What: "invoice 31", Amount: 300000}, {What: "the account", OnAccount: true, Amount: 50000}}, -50000, link},
		"refund":            PaymentLetter{f, journal.Payment{Amount: -50000, On: "2026-04-10", Means: journal.Cheque, Reference: "77", OnAccount: true, Refund: true, Reason: "Not needed any more."}, "Heron", []PaidFor{{What: "the account", OnAccount: true, Amount: -50000}}, 0, link},
		"refund taken back": PaymentLetter{f, journal.Payment{Amount: 50000, On: "2026-04-12", Means: journal.Cheque, Refund: true, ReversesID: "y", Reason: "Never cashed."}, "Heron", []PaidFor{{What: "the deposit", Amount: 50000}}, 0, link},
	}
	maps.Copy(letters, givenUseLetters(f, link))
	letters["stopped"] = StoppedLetter{f, "Heron", "2026-04-14", "No answer since March.", link}
	letters["spoken"] = DecisionLetter{f, givenView(), givenSpoken(), link}
	letters["disputed"] = PhoneConfirmationLetter{f, givenView(), false, "Ada Lindqvist", signoff.DisputeSentence, "I said I would think.", link}
	letters["ceiling near"] = CeilingLetter{f, "Heron", "Body metal", 80, billing.Metering{Ceiling: 400_000, Worked: 325_000}, link}
	letters["ceiling passed"] = CeilingLetter{f, "Heron", "Body metal", 100, billing.Metering{Ceiling: 400_000, Worked: 425_000}, link}
	letters["delegate"] = DelegateNamedLetter{f, "Heron", "Ada Lindqvist", "Change order 3", link}
	return letters
}

func TestLetters(t *testing.T) {
	set := mustNew(t)
	says := map[string][]string{
		"sign-in":           {"works once, until Wednesday 15 April, 10:30 am at the shop"},
		"paper":             {"+ $2,339.00 and 6 working days", "$98,679.00 with tax, from $96,340.00", "2 October, 6 working days later than 24 September"},
		"renewed":           {"Change order 3 was signed", "Revision 2 of this paper takes the place"},
		"answer":            {"you asked:", "They could."},
		"signed":            {"signed by Ada Lindqvist, as owner", givenHash, "wanted back", signoff.ChangeOrder.SignSentence()},
		"declined":          {"declined by Ada Lindqvist", "old pans patched", signoff.ChangeOrder.DeclineSentence()},
		"invoice":           {"Frame and coat is closed.", "$9,818.00, to pay by Sunday 12 April", "Tax: $318.00"},
		"credit":            {"Credit memo 1 is issued: $50.00 in your favour"},
		"payment":           {"$3,000.00 for invoice 31 arrived on Thursday 9 April, by cheque, 0092", "Still due: $6,818.00"},
		"spoken":            {"agreed by phone: Ada Lindqvist, as owner", "Called at 555 0199 by Greta Holm", "Please confirm it"},
		"disputed":          {"I did not agree", "I said I would think."},
		"delegate":          {"Change order 3", "Heron"},
		"use":               {"A cracked spring bracket", "Taken from the allowance: $182.88", "Left for this month: $567.12"},
		"belonging":         {"found the first owner's toolbox"},
		"belonging wants":   {"Bo Reed says of the first owner's toolbox: ship it.", "9 Lake Street"},
		"reminder":          {"$6,818.00 of invoice 31 for Heron was due on Sunday 12 April and is still open.", "please tell the shop"},
		"reminder before":   {"$6,818.00 of invoice 31 for Heron is to pay by Sunday 12 April."},
		"one sum":           {"$3,500.00 arrived on Thursday 9 April, by wire", "$3,000.00 for invoice 31\n$500.00 for your account", "Money on your account pays the oldest open invoice by itself.", "Nothing is due now; $500.00 stands in your favour."},
		"refund":            {"$500.00 of what stood in your favour was sent back to you on Friday 10 April, by cheque, 77.", "The reason: Not needed any more."},
		"refund taken back": {"the refund of $500.00 out of the deposit was taken back on Sunday 12 April, so that the money stands in your favour again. The reason: Never cashed."},
		"taken back":        {"$3,000.00 for invoice 31 was taken back", "Cheque returned by the bank."},
		"ceiling near":      {"has used 80 % of its ceiling", "$3,250.00 of $4,000.00", "send the owner a change order"},
		"ceiling passed":    {"is not charged", "Beyond the ceiling: $250.00"},
	}
	for name, letter := range givenLetters() {
		subject, text, err := set.Letter(letter)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if subject == "" || strings.HasPrefix(subject, "Subject") || strings.ContainsAny(subject, "\r\n") {
			t.Errorf("%s: subject %q", name, subject)
		}
		for _, want := range append(says[name], "Hello Ada Lindqvist,", "https://farbay.example/x", "Tern Hollow Truck Works\n555 0142") {
			if !strings.Contains(plain(text), want) {
				t.Errorf("%s does not say %q:\n%s", name, want, text)
			}
		}
		if strings.Contains(text, "\n\n\n") || strings.Contains(text, "<no value>") || strings.Contains(text, "&amp;") {
			t.Errorf("%s has gaps or markup:\n%s", name, text)
		}
	}
}

// A title with line breaks adds no header to the e-mail. Source: RFC 5322,
// 2.2: a header field ends with CRLF.
func TestLetters_SubjectIsOneLine(t *testing.T) {
	set := mustNew(t)
	sheet := givenView()
	sheet.Sheet.Title = "Pans\r\nBcc: all@example.org\n\nHello"
	subject, text, err := set.Letter(PaperSentLetter{MailFrame: MailFrame{Words: givenWords, ToName: "Ada"}, Sheet: sheet, Link: "https://farbay.example/x"})
	if err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(subject, "\r\n") || !strings.HasPrefix(text, "Hello Ada") {
		t.Errorf("subject %q, text begins %q", subject, text[:40])
	}
}
