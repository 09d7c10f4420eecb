package views

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode"

	"farbay/journal"
	"farbay/journal/billing"
)

// bookColumn is one column of a table: its name, what it holds in one sentence for
// the README, and its cell of a row.
type bookColumn[R any] struct {
	name, holds string
	cell        func(R) string
}

// writeTable writes a table as RFC 4180 has it: a line of names, lines that end in
// CR LF, cells with commas or quotes in quotes.
func writeTable[R any](w io.Writer, columns []bookColumn[R], rows []R) error {
	out := csv.NewWriter(w)
	out.UseCRLF = true
	line := make([]string, len(columns))
	for i, c := range columns {
		line[i] = c.name
	}
	if err := out.Write(line); err != nil {
		return err
	}
	for _, row := range rows {
		for i, c := range columns {
			line[i] = c.cell(row)
		}
		if err := out.Write(line); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// cellText makes one line of a text, and puts an apostrophe before one that a
// spreadsheet would take for a formula, or that begins with an apostrophe itself,
// so that taking one away always gives the text back.
// Source: OWASP, "CSV Injection": = + - @, also in full width, tab and CR; tabs and
// CRs are blanks here.
func cellText(s string) string {
	s = oneLine(s)
	if strings.ContainsAny(firstRune(s), "=+-@'＝＋－＠") {
		return "'" + s
	}
	return s
}

func firstRune(s string) string {
	for _, r := range s {
		return string(r)
	}
	return "\x00"
}

// oneLine makes blanks of all that is no visible character, and one of several.
func oneLine(s string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if !unicode.IsGraphic(r) || unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, s)), " ")
}

// cellMoney is an amount with two decimals, a dot, and a minus when negative.
func cellMoney(c journal.Cents) string { return strings.ReplaceAll(c.String(), ",", "") }

func cellYes(yes bool) string {
	if yes {
		return "yes"
	}
	return ""
}

type bookLine struct {
	Booked
	charge billing.Charge
}

type bookTax struct {
	Booked
	share billing.TaxShare
}

type bookAccount struct {
	build *BookBuild
	BookTotal
}

func (b Booked) document() BookDocument { return b.Build.Documents[b.Document.ID] }

// documentHead are the columns with which each table about documents begins.
func documentHead[R any](booked func(R) Booked) []bookColumn[R] {
	return []bookColumn[R]{
		{"kind", "invoice, credit memo, or holdback release.", func(r R) string { return string(booked(r).Document.Kind) }},
		{"number", "Its number; each kind has its own, without gaps.", func(r R) string { return strconv.Itoa(booked(r).Document.Number) }},
		{"issued_on", "The day of issue, by which it belongs to the period; year-month-day, as all days.", func(r R) string { return string(booked(r).Document.IssuedOn) }},
		{"build", "The build's nickname.", func(r R) string { return cellText(booked(r).Build.Nickname) }},
	}
}

var documentColumns = append(documentHead(func(b Booked) Booked { return b }), []bookColumn[Booked]{
	{"stage", "The stage whose close issued it; empty for others.", func(b Booked) string { return cellText(b.document().Stage) }},
	{"bill_to", "The owners' names when it was issued.", func(b Booked) string { return cellText(b.document().BillTo) }},
	{"due_on", "The day on which it is to be paid; empty for credit memos.", func(b Booked) string { return string(b.Document.DueOn) }},
	{"subtotal", "The sum of its lines, before tax. On credit memos amounts are negative.", func(b Booked) string { return cellMoney(b.Document.Subtotal) }},
	{"tax", "Sales tax on it.", func(b Booked) string { return cellMoney(b.Document.Tax) }},
	{"total", "Subtotal and tax.", func(b Booked) string { return cellMoney(b.Document.Total()) }},
	{"deposit_credit", "What the deposit covers of it; negative: given back to the deposit.", func(b Booked) string { return cellMoney(b.Document.DepositCredit) }},
	{"holdback", "What is kept back until the delivery; negative: no longer kept back.", func(b Booked) string { return cellMoney(b.Document.Holdback) }},
	{"payable", "What is to be paid: total less deposit_credit and holdback.", func(b Booked) string { return cellMoney(b.Document.Payable) }},
	{"takes_back", "The invoice that a credit memo takes back as a whole; empty for others.", func(b Booked) string { return b.Build.Documents[b.Document.Cancels].Name }},
	{"reason", "Why it is taken back.", func(b Booked) string { return cellText(b.Document.Reason) }},
	{"id", "What the program calls it.", func(b Booked) string { return cellText(b.Document.ID) }},
}...)

var lineColumns = append(documentHead(func(l bookLine) Booked { return l.Booked }), []bookColumn[bookLine]{
	{"charge", "What is billed, as it stands on the document.", func(l bookLine) string { return cellText(l.charge.Text) }},
	{"stage", "The stage that bears it; empty when none does.", func(l bookLine) string { return cellText(l.Build.Stages[l.charge.StageID]) }},
	{"agreed_by", "What made it agreed: agreement, change order, standing allowance, early stop, logged work, or ceiling.", func(l bookLine) string { return string(l.charge.Source) }},
	{"labour", "Of it labour, before tax.", func(l bookLine) string { return cellMoney(l.charge.Split.Labour) }},
	{"parts", "Of it parts, before tax.", func(l bookLine) string { return cellMoney(l.charge.Split.Parts) }},
	{"outside_work", "Of it outside work, before tax.", func(l bookLine) string { return cellMoney(l.charge.Split.Outside) }},
	{"delivery", "Of it delivery, before tax.", func(l bookLine) string { return cellMoney(l.charge.Split.Delivery) }},
	{"other", "Of it everything else, before tax.", func(l bookLine) string { return cellMoney(l.charge.Split.Other) }},
	{"total", "The five together.", func(l bookLine) string { return cellMoney(l.charge.Split.Total()) }},
	{"id", "What the program calls the charge. After its invoice was taken back a charge may be billed again, under the same id.", func(l bookLine) string { return cellText(l.charge.Ref) }},
}...)

var taxColumns = append(documentHead(func(t bookTax) Booked { return t.Booked }), []bookColumn[bookTax]{
	{"line_kind", "What is taxed: labour, parts, outside work, delivery, or other; empty when it is not known.", func(t bookTax) string { return string(t.share.Kind) }},
	{"rate_percent", "The rate in per cent at which the document was issued; 0 for what was not taxed.", func(t bookTax) string { return billing.FormatRate(t.share.Rate) }},
	{"base", "What the document charges of that kind, before tax.", func(t bookTax) string { return cellMoney(t.share.Base) }},
	{"tax", "Of the document's tax, what is on that kind. They add up to the document's tax.", func(t bookTax) string { return cellMoney(t.share.Tax) }},
}...)

var taxTotalColumns = []bookColumn[billing.TaxShare]{
	{"line_kind", "As in tax.csv.", func(t billing.TaxShare) string { return string(t.Kind) }},
	{"rate_percent", "As in tax.csv.", func(t billing.TaxShare) string { return billing.FormatRate(t.Rate) }},
	{"base", "All of that kind at that rate in the period, before tax, credit memos taken off.", func(t billing.TaxShare) string { return cellMoney(t.Base) }},
	{"tax", "The tax on it.", func(t billing.TaxShare) string { return cellMoney(t.Tax) }},
}

// paymentColumns are those of payments.csv and late.csv.
func paymentColumns(zone *time.Location) []bookColumn[Booked] {
	return []bookColumn[Booked]{
		{"on", "The day on which the money came or went, by which it belongs to the period.", func(b Booked) string { return string(b.Payment.On) }},
		{"recorded_on", "The day on which it was recorded.", func(b Booked) string { return string(journal.DateOf(b.RecordedAt, zone)) }},
		{"build", "The build's nickname.", func(b Booked) string { return cellText(b.Build.Nickname) }},
		{"for", "document, deposit, or on account (for no document in particular: it settles the oldest that is open).", func(b Booked) string { return b.purpose() }},
		{"document", "The document it is for, by kind and number; empty for others.", func(b Booked) string { return b.Build.Documents[string(b.Payment.InvoiceID)].Name }},
		{"amount", "What came in; negative: what went out or was reversed.", func(b Booked) string { return cellMoney(b.Payment.Amount) }},
		{"means", "cheque, wire, card, or cash.", func(b Booked) string { return string(b.Payment.Means) }},
		{"reference", "Number of the cheque, reference of the wire or card.", func(b Booked) string { return cellText(b.Payment.Reference) }},
		{"refund", "yes when it was sent back to the owner, and on what reverses that.", func(b Booked) string { return cellYes(b.Payment.Refund) }},
		{"reverses", "The id of the record that it takes back; empty for others.", func(b Booked) string { return cellText(string(b.Payment.ReversesID)) }},
		{"reason", "Why it is taken back, or sent back.", func(b Booked) string { return cellText(b.Payment.Reason) }},
		{"receipt", "The same for all that came in one sum; empty for what came alone.", func(b Booked) string { return cellText(string(b.Payment.ReceiptID)) }},
		{"recorded_by", "Who recorded it.", func(b Booked) string { return cellText(b.Build.Names[b.Payment.RecordedBy]) }},
		{"id", "What the program calls it.", func(b Booked) string { return cellText(string(b.Payment.ID)) }},
	}
}

// purpose says what money is for.
func (b Booked) purpose() string {
	switch {
	case b.Payment.OnAccount:
		return "on account"
	case b.Payment.InvoiceID == "":
		return "deposit"
	}
	return "document"
}

var accountColumns = []bookColumn[bookAccount]{
	{"account", "The account of the books, as in the journal files, without the build.", func(a bookAccount) string { return string(a.Place) }},
	{"build", "The build's nickname.", func(a bookAccount) string { return cellText(a.build.Nickname) }},
	{"opening", "What stood on it before the period; debits positive. Income begins at 0.", func(a bookAccount) string { return cellMoney(a.Opening) }},
	{"debits", "What was debited in the period, 0 or more.", func(a bookAccount) string { return cellMoney(a.Debits) }},
	{"credits", "What was credited in the period, 0 or more.", func(a bookAccount) string { return cellMoney(a.Credits) }},
	{"closing", "What stands on it at the end: opening and debits less credits.", func(a bookAccount) string { return cellMoney(a.Closing) }},
}
