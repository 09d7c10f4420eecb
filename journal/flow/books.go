package flow

import (
	"context"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// Books are the records of money of all builds, for the accountant.
type Books struct {
	Shop     journal.Shop
	From, To journal.Date // both days within
	Builds   []BuildBooks // those with any record up to To
	First    journal.Date // of any record, within or not; "" when there is none
}

// BuildBooks are the books of one build.
type BuildBooks struct {
	Build    journal.Build
	Tax      billing.Tax // the rates in force, and how tax is rounded
	Stages   []journal.Stage
	Invoices []Invoice // in order of issue, after To too: payments name them
	// Records are all documents and payments, in no order, after To too.
	Records []billing.Record
	Names   map[journal.PersonID]string // of those who recorded payments
}

// BooksOf gathers the books of a period: documents by their day of issue, payments
// by the day on which the money came or went. Office only.
//
// It returns [journal.Invalid] beside from and to when a day is missing or the
// period ends before it begins.
func (s *Steps) BooksOf(ctx context.Context, a Actor, from, to journal.Date) (books Books, err error) {
	if err := asOffice(a); err != nil {
		return books, err
	}
	bad := journal.Problems{}
	if from.IsZero() {
		bad.Add("from", "Please give the first day of the period.")
	}
	switch {
	case to.IsZero():
		bad.Add("to", "Please give the last day of the period.")
	case to < from:
		bad.Add("to", "The period ends before it begins; please change one of the days.")
	}
	if err := bad.Err(); err != nil {
		return books, err
	}
	books = Books{From: from, To: to}
	err = s.Store.Read(ctx, func(r Reads) error {
		if books.Shop, err = r.Shop(); err != nil {
			return err
		}
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		for _, b := range builds {
			if err := books.add(r, b); err != nil {
				return err
			}
		}
		return nil
	})
	return books, err
}

func (books *Books) add(r Reads, b journal.Build) (err error) {
	bb := BuildBooks{Build: b, Names: map[journal.PersonID]string{}}
	if bb.Invoices, err = r.Invoices(b.ID); err != nil {
		return err
	}
	payments, err := r.Payments(b.ID)
	if err != nil {
		return err
	}
	for _, inv := range bb.Invoices {
		bb.Records = append(bb.Records, billing.Record{Document: inv.Document, RecordedAt: inv.IssuedAt})
	}
	for _, p := range payments {
		if err := nameAll(r, bb.Names, []journal.PersonID{p.RecordedBy}); err != nil {
			return err
		}
		bb.Records = append(bb.Records, billing.Record{Payment: p, RecordedAt: p.RecordedAt})
	}
	for _, record := range bb.Records {
		if books.First.IsZero() || record.On() < books.First {
			books.First = record.On()
		}
	}
	if !slices.ContainsFunc(bb.Records, func(record billing.Record) bool { return record.On() <= books.To }) {
		return nil
	}
	terms, err := r.Terms(b.ID)
	if err != nil {
		return err
	}
	bb.Tax = terms.Tax
	if bb.Stages, err = r.Stages(b.ID); err != nil {
		return err
	}
	books.Builds = append(books.Builds, bb)
	return nil
}

// RatesOf returns the tax rates at which a document was issued. A credit memo that
// takes an invoice back has that invoice's.
func (b BuildBooks) RatesOf(inv Invoice) billing.Tax {
	if inv.Document.Cancels != "" {
		for _, other := range b.Invoices {
			if other.Document.ID == inv.Document.Cancels {
				inv = other
			}
		}
	}
	rates := billing.Tax{PerLine: b.Tax.PerLine}
	for _, line := range inv.TaxLines {
		switch line.Kind {
		case journal.Labour:
			rates.Labour = line.Rate
		case journal.Parts:
			rates.Parts = line.Rate
		case journal.Outside:
			rates.Outside = line.Rate
		case journal.Delivery:
			rates.Delivery = line.Rate
		case journal.Other:
			rates.Other = line.Rate
		}
	}
	return rates
}
