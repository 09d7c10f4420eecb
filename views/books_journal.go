package views

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"unicode"

	"farbay/journal"
	"farbay/journal/billing"
)

// The journal files are plain text that ledger and hledger both read. Each
// transaction has the document's name or the payment's id as its code.

// accountName is a build's part of the names of its accounts: its nickname where
// that has nothing in it that means something to those programs, else what can be
// kept of it and the build's id, so that no two builds share one.
func accountName(id journal.BuildID, nickname string) string {
	name := plainName(nickname)
	if name == nickname {
		return name
	}
	return name + "~" + plainName(string(id))
}

func plainName(s string) string {
	return oneLine(strings.Map(func(r rune) rune {
		if r < 0x80 && !unicode.IsLetter(r) && !unicode.IsDigit(r) && !strings.ContainsRune(" -_.'&+", r) {
			return '-'
		}
		return r
	}, s))
}

// bookText is a text fit for a description: no line end, nothing that begins a
// comment or divides it.
func bookText(s string) string {
	return strings.NewReplacer(";", ",", "|", "/").Replace(oneLine(s))
}

// bookCode is a text fit for a transaction's code.
func bookCode(s string) string {
	return strings.NewReplacer("(", "-", ")", "-").Replace(bookText(s))
}

// commodity is the currency's code; XXX, which ISO 4217 has for none, for what is
// no code.
func (b Books) commodity() string {
	if len(b.Currency) != 3 || strings.ContainsFunc(b.Currency, func(r rune) bool { return r < 'A' || r > 'Z' }) {
		return "XXX"
	}
	return b.Currency
}

// transaction writes one balanced transaction.
func (b Books) transaction(out *strings.Builder, on journal.Date, code, text string, build *BookBuild, postings []billing.Posting) {
	fmt.Fprintf(out, "%s * (%s) %s\n", on, bookCode(code), bookText(text))
	if len(postings) == 0 { // a document that comes to nothing
		postings = []billing.Posting{{Place: billing.Receivable}}
	}
	name := accountName(build.ID, build.Nickname)
	for _, p := range postings {
		fmt.Fprintf(out, "    %s:%s  %s %s\n", p.Place, name, cellMoney(p.Amount), b.commodity())
	}
	out.WriteByte('\n')
}

// about says in words what an entry is.
func (b Booked) about() string {
	if b.IsDocument() {
		return strings.TrimSuffix(b.Build.Nickname+": "+b.Document.Name()+", "+b.document().Stage, ", ")
	}
	p := b.Payment
	what := b.purpose()
	if name := b.Build.Documents[string(p.InvoiceID)].Name; name != "" {
		what = "for " + name
	}
	if what == "deposit" {
		what = "of the deposit"
	}
	switch {
	case p.ReversesID != "" && p.Refund:
		what = "refund reversed, " + what
	case p.ReversesID != "":
		what = "reversed, " + what
	case p.Refund:
		what = "sent back, " + what
	}
	said := fmt.Sprintf("%s: %s, by %s", b.Build.Nickname, what, p.Means)
	for _, more := range []string{p.Reference, p.Reason} {
		if more != "" {
			said += ", " + more
		}
	}
	return said
}

func (b Booked) code() string {
	if b.IsDocument() {
		return b.Document.Name()
	}
	return "payment " + string(b.Payment.ID)
}

// openingJournal has what stood on each build's accounts before the period.
func (b Books) openingJournal(w io.Writer) error {
	var out strings.Builder
	fmt.Fprintf(&out, "; What stood on the accounts before %s. Leave this file out where the books of the time before are there.\n\n", b.From)
	for i := range b.Builds {
		build := &b.Builds[i]
		var postings []billing.Posting
		var sum journal.Cents
		for _, t := range b.TotalsOf(build) {
			if t.Opening != 0 {
				postings = append(postings, billing.Posting{Place: t.Place, Amount: t.Opening})
				sum += t.Opening
			}
		}
		if len(postings) > 0 {
			postings = append(postings, billing.Posting{Place: billing.OpeningBalances, Amount: -sum})
			b.transaction(&out, b.From.AddDays(-1), "opening", build.Nickname+": what stood before", build, postings)
		}
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// entriesJournal has every document and payment of the period.
func (b Books) entriesJournal(w io.Writer) error {
	var out strings.Builder
	fmt.Fprintf(&out, "; Documents by their day of issue, payments by the day on which the money came or went, from %s to %s.\n\n", b.From, b.To)
	for _, e := range b.Entries() {
		b.transaction(&out, e.On(), e.code(), e.about(), e.Build, e.Postings)
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// closingJournal asserts what each build's statement says stands on its accounts.
func (b Books) closingJournal(w io.Writer) error {
	var out strings.Builder
	fmt.Fprintf(&out, "; What the statements say stands on the accounts at the end of %s. A program that reads this fails if it does not.\n\n", b.To)
	for _, build := range b.Builds {
		fmt.Fprintf(&out, "%s * (closing) %s: as its statement says\n", b.To, bookText(build.Nickname))
		for _, p := range build.Standing {
			fmt.Fprintf(&out, "    %s:%s  0.00 %s = %s %s\n", p.Place, accountName(build.ID, build.Nickname), b.commodity(), cellMoney(p.Amount), b.commodity())
		}
		out.WriteByte('\n')
	}
	_, err := io.WriteString(w, out.String())
	return err
}

// booksJournal names the currency and every account and brings in the others.
func (b Books) booksJournal(w io.Writer) error {
	accounts := map[string]bool{}
	for i := range b.Builds {
		build := &b.Builds[i]
		places := []billing.Place{billing.OpeningBalances}
		for _, t := range b.TotalsOf(build) {
			places = append(places, t.Place)
		}
		for _, p := range build.Standing {
			places = append(places, p.Place)
		}
		for _, place := range places {
			accounts[fmt.Sprintf("account %s:%s\n", place, accountName(build.ID, build.Nickname))] = true
		}
	}
	var out strings.Builder
	fmt.Fprintf(&out, "; %s: the books from %s to %s, for ledger or hledger.\n\ncommodity %s\n    format 1000.00 %s\n\n",
		bookText(b.ShopName), b.From, b.To, b.commodity(), b.commodity())
	for _, line := range slices.Sorted(maps.Keys(accounts)) {
		out.WriteString(line)
	}
	out.WriteString("\ninclude opening.journal\ninclude entries.journal\ninclude closing.journal\n")
	_, err := io.WriteString(w, out.String())
	return err
}
