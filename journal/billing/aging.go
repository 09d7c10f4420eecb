package billing

import "farbay/journal"

// AgeBucket is one column of what is open, by how long it is past due.
type AgeBucket int

// The columns, in order. That they are 30 days wide and end at 90: common practice,
// no source.
const (
	NotLate      AgeBucket = iota // not due yet, or due on the day itself
	LateTo30                      // 1 to 30 calendar days past due
	LateTo60                      // 31 to 60
	LateTo90                      // 61 to 90
	LateOver90                    // 91 and more
	AgeBuckets   = 5              // how many there are
	bucketOfDays = 30
)

// BucketOf returns the column of a document by the calendar days past its due
// day; 0 or less is not late.
func BucketOf(late int) AgeBucket {
	if late <= 0 {
		return NotLate
	}
	return min(AgeBucket((late-1)/bucketOfDays+1), LateOver90)
}

// Aged is a document with something open on it.
type Aged struct {
	Document Document
	Open     journal.Cents // above zero
	Late     int           // calendar days past due; 0 when not late
}

// Bucket returns the column it stands in.
func (d Aged) Bucket() AgeBucket { return BucketOf(d.Late) }

// Aging is what is open on one build on a day, by how long it is past due.
type Aging struct {
	Documents []Aged // in order of issue
	Open      [AgeBuckets]journal.Cents
	// Credits are the documents with something in the owner's favour left on them.
	Credits   []Balance
	OnAccount journal.Cents // money on account that has settled nothing; 0 or more
	// Favour is what stands in the owner's favour: both of these together; 0 or more.
	Favour journal.Cents
	// OwedAgain is what was sent back to the owner and bounced from under it, so
	// that it is owed again without a document; 0 or more.
	OwedAgain journal.Cents
}

// Total returns what is open in all columns.
func (a Aging) Total() journal.Cents {
	var sum journal.Cents
	for _, c := range a.Open {
		sum += c
	}
	return sum + a.OwedAgain
}

// Due returns the same as the account's [Due].
func (a Aging) Due() journal.Cents { return a.Total() - a.Favour }

// Plus adds the columns of another build; the documents are left out.
func (a Aging) Plus(b Aging) Aging {
	sum := Aging{Open: a.Open, OnAccount: a.OnAccount + b.OnAccount, Favour: a.Favour + b.Favour, OwedAgain: a.OwedAgain + b.OwedAgain}
	for i, c := range b.Open {
		sum.Open[i] += c
	}
	return sum
}

// AgingOf returns what is open on the account, with lateness counted to the given
// day. A document without a due day counts from its issue. Pure.
func AgingOf(a Account, on journal.Date) Aging {
	var aging Aging
	balances, onAccount := settled(a)
	for _, b := range balances {
		if b.Open <= 0 {
			if b.Open < 0 {
				aging.Credits = append(aging.Credits, b)
				aging.Favour -= b.Open
			}
			continue
		}
		due := b.Document.DueOn
		if due.IsZero() {
			due = b.Document.IssuedOn
		}
		d := Aged{Document: b.Document, Open: b.Open, Late: max(due.DaysUntil(on), 0)}
		aging.Documents = append(aging.Documents, d)
		aging.Open[d.Bucket()] += d.Open
	}
	aging.OnAccount = max(onAccount, 0)
	aging.Favour += aging.OnAccount
	aging.OwedAgain = max(-onAccount, 0)
	return aging
}
