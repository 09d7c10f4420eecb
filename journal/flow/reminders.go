package flow

import (
	"context"
	"fmt"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// remindFrom is the hour at the shop before which no reminder is written, so that
// owners get them by day.
const remindFrom = 8

// RemindDue writes the reminders that are due and returns of how many invoices. Of
// each invoice it is the last step due alone, so that a pause is not made up for by
// a pile of letters, and each step once, whoever calls this how often. Steps that
// lie on or before the day of issue are left out: the invoice itself said it.
// Nothing is written before eight in the morning at the shop, nor while nobody owns
// the build.
//
// A failure on one invoice does not keep back the others; the first is returned.
func (s *Steps) RemindDue(ctx context.Context) (reminded int, err error) {
	type due struct {
		build   journal.BuildID
		invoice journal.InvoiceID
	}
	var all []due
	err = s.Store.Read(ctx, func(r Reads) error {
		shop, there, err := absent(r.Shop())
		if err != nil || !there || len(shop.ReminderDays) == 0 || s.at().In(shop.Location()).Hour() < remindFrom {
			return err
		}
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		for _, b := range builds {
			open, err := s.openOf(r, b)
			if err != nil {
				return err
			}
			for _, o := range open {
				_, wanted, err := reminderDue(r, shop, o, s.today(r))
				if err != nil {
					return err
				}
				if wanted {
					all = append(all, due{b.ID, o.Invoice.ID})
				}
			}
		}
		return nil
	})
	if err != nil {
		return 0, err
	}
	for _, d := range all {
		did := false
		failed := s.write(ctx, func(tx Tx) (err error) {
			did, err = s.remind(tx, d.build, d.invoice)
			return err
		})
		switch {
		case failed == nil && did:
			reminded++
		case failed != nil && journal.CodeOf(failed) != journal.Conflict && err == nil: // in a conflict somebody else was faster
			err = fmt.Errorf("flow: reminder of invoice %s: %w", d.invoice, failed)
		}
	}
	return reminded, err
}

// openOf returns the invoices of a build with something left to pay.
func (s *Steps) openOf(r Reads, b journal.Build) ([]OpenInvoice, error) {
	acc, err := s.account(r, b)
	if err != nil {
		return nil, err
	}
	return openInvoices(r, b.ID, acc, s.today(r))
}

// openNow returns one of them; ok is false when nothing is open on it any more.
func (s *Steps) openNow(r Reads, build journal.BuildID, invoice journal.InvoiceID) (b journal.Build, o OpenInvoice, ok bool, err error) {
	if b, err = r.Build(build); err != nil {
		return b, o, false, err
	}
	open, err := s.openOf(r, b)
	i := slices.IndexFunc(open, func(o OpenInvoice) bool { return o.Invoice.ID == invoice })
	if err != nil || i < 0 {
		return b, o, false, err
	}
	return b, open[i], true, nil
}

// reminderDue returns the last step due of an open invoice; ok is false when there
// is none, or it or a later one was written already.
func reminderDue(r Reads, shop journal.Shop, o OpenInvoice, today journal.Date) (step int, ok bool, err error) {
	d := o.Invoice.Document
	if d.DueOn.IsZero() {
		return 0, false, nil
	}
	for _, day := range shop.ReminderDays {
		if on := d.DueOn.AddDays(day); on <= today && on > d.IssuedOn {
			step, ok = day, true
		}
	}
	if !ok {
		return 0, false, nil
	}
	sent, err := r.Reminders(o.Invoice.ID)
	for _, reminder := range sent {
		ok = ok && reminder.Step < step
	}
	return step, ok, err
}

// remind writes the reminder of one invoice if it is still due.
func (s *Steps) remind(tx Tx, build journal.BuildID, invoice journal.InvoiceID) (did bool, err error) {
	shop, err := tx.Shop()
	if err != nil {
		return false, err
	}
	b, o, open, err := s.openNow(tx, build, invoice)
	if err != nil || !open {
		return false, err
	}
	step, wanted, err := reminderDue(tx, shop, o, s.today(tx))
	if err != nil || !wanted {
		return false, err
	}
	owners, _, err := ownersOf(tx, build)
	if err != nil || len(owners) == 0 {
		return false, err
	}
	if err := tx.AddReminder(journal.Reminder{InvoiceID: invoice, Step: step, At: s.at()}); err != nil {
		return false, err
	}
	if err := s.record(tx, Actor{}, build, "invoice reminded", string(invoice), reminderDetail(step, o.Open)); err != nil {
		return false, err
	}
	for _, owner := range owners {
		if err := s.writeReminder(tx, shop, b, o, owner); err != nil {
			return false, err
		}
	}
	return true, nil
}

func reminderDetail(step int, open journal.Cents) map[string]any {
	return map[string]any{"step": step, "open": open}
}

func (s *Steps) writeReminder(tx Tx, shop journal.Shop, b journal.Build, o OpenInvoice, to journal.Person) error {
	return s.postLetter(tx, to, journal.Letter{BuildID: b.ID, Reminds: o.Invoice.ID, RemindsOpen: o.Open}, ReminderLetter{
		ShopName: shop.Name, To: to, Document: o.Invoice.Document, Nickname: b.Nickname, Open: o.Open, Late: o.Late > 0,
		Path: fmt.Sprintf("/builds/%s/invoices/%s", b.ID, o.Invoice.ID),
	})
}

// ReminderStands is asked right before a letter is sent and reports whether it may
// be: any letter that is no reminder, and a reminder of which every word still
// holds. One of an invoice that is settled meanwhile, or to somebody who has left
// the build, is dropped for ever; one whose figures are out of date is replaced by
// a new letter.
func (s *Steps) ReminderStands(ctx context.Context, letter journal.Letter) (stands bool, err error) {
	if letter.Reminds == "" {
		return true, nil
	}
	err = s.write(ctx, func(tx Tx) error {
		now, err := tx.Letter(letter.ID)
		if err != nil {
			return err
		}
		if now.Dropped != "" || !now.SentAt.IsZero() {
			stands = false
			return nil
		}
		why, renew, err := s.reminderFault(tx, now)
		if err != nil {
			return err
		}
		if stands = why == ""; stands {
			return nil
		}
		now.Dropped = why
		if err := tx.SaveLetter(now); err != nil {
			return err
		}
		if err := s.record(tx, Actor{}, now.BuildID, "reminder not sent", string(now.Reminds), map[string]any{"letter": now.ID, "why": why}); err != nil {
			return err
		}
		if renew == nil {
			return nil
		}
		return renew()
	})
	return stands && err == nil, err
}

// reminderFault says why a reminder cannot be sent as it is written, "" if it can;
// renew writes it anew where it is only out of date.
func (s *Steps) reminderFault(tx Tx, l journal.Letter) (why string, renew func() error, err error) {
	b, o, open, err := s.openNow(tx, l.BuildID, l.Reminds)
	if err != nil {
		return "", nil, err
	}
	if !open {
		return "It was not sent, because the invoice was settled meanwhile.", nil, nil
	}
	owners, _, err := ownersOf(tx, l.BuildID)
	if err != nil {
		return "", nil, err
	}
	at := slices.IndexFunc(owners, func(p journal.Person) bool { return p.ID == l.PersonID })
	if at < 0 {
		return "It was not sent, because its reader has left the build.", nil, nil
	}
	shop, err := tx.Shop()
	if err != nil {
		return "", nil, err
	}
	written := journal.DateOf(l.CreatedAt, shop.Location())
	if o.Open == l.RemindsOpen && (o.Late > 0) == lateOn(o.Invoice.Document, written) {
		return "", nil, nil
	}
	return "It was not sent, because its figures had changed; a new letter took its place.", func() error {
		return s.writeReminder(tx, shop, b, o, owners[at])
	}, nil
}

func lateOn(d billing.Document, on journal.Date) bool { return d.DueOn.DaysUntil(on) > 0 }

// Reminders returns when the owners were reminded of an invoice, for whoever may
// read the build.
func (s *Steps) Reminders(ctx context.Context, a Actor, build journal.BuildID, invoice journal.InvoiceID) (all []journal.Reminder, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		if _, err := r.Invoice(build, invoice); err != nil {
			return err
		}
		all, err = r.Reminders(invoice)
		return err
	})
	return all, err
}
