package flow

import (
	"fmt"
	"reflect"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// canTakeEffect refuses to sign what cannot be carried out as shown any more.
func (s *Steps) canTakeEffect(r Reads, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	switch p.Kind {
	case signoff.BuildAgreement:
		if b.State != journal.Scoping {
			return journal.Errorf(journal.Conflict, "The agreement of %s stands already. Nothing was recorded.", b.Nickname)
		}
		return sameScope(r, b, sheet)
	case signoff.DeliveryAcceptance:
		if today := s.today(r); sheet.Acceptance.DeliveredOn > today {
			return journal.Errorf(journal.Conflict, "The truck is to be handed over on %s. Please sign this when you have received it; nothing was recorded.", sheet.Acceptance.DeliveredOn)
		}
	case signoff.ChangeOrder:
		if err := s.canRestage(r, b, p, sheet); err != nil {
			return err
		}
	case signoff.EarlyStop:
		if today := s.today(r); sheet.Stop.On > today {
			return journal.Errorf(journal.Conflict, "The build is to end on %s. Please sign this on that day or later; nothing was recorded.", sheet.Stop.On)
		}
		return s.asShown(r, p, sheet)
	}
	return delegateFits(r, draftOf(sheet).Delegate)
}

// sameScope refuses an agreement whose stages or terms were changed after it was
// sent.
func sameScope(r Reads, b journal.Build, sheet signoff.Sheet) error {
	stages, err := r.Stages(b.ID)
	if err != nil {
		return err
	}
	terms, err := r.Terms(b.ID)
	if err != nil {
		return err
	}
	if !reflect.DeepEqual(agreementSheet(stages, terms), *sheet.Agreement) {
		return journal.Errorf(journal.Conflict, "The shop has changed the scope since it sent this agreement. Nothing was recorded; the shop will send it once more.")
	}
	return nil
}

// takeEffect carries out what a signed paper says, and sends those that are out
// once more where they show something else now.
func (s *Steps) takeEffect(tx Tx, a Actor, b journal.Build, p signoff.Paper, sheet signoff.Sheet, d signoff.Decision) error {
	switch p.Kind {
	case signoff.BuildAgreement:
		b.State, b.AgreedOn, b.ReadyOn = journal.Agreed, journal.DateOf(d.DecidedAt(), sheet.Shop.Location()), sheet.DateAfter
		b.AgreedHow = fmt.Sprintf("%s, revision %d, signed %s by %s", sheet.Name(), d.Revision, d.Manner, d.TypedName)
		if err := tx.SaveBuild(b); err != nil {
			return err
		}
		terms, err := tx.Terms(b.ID)
		if err != nil {
			return err
		}
		err = s.record(tx, a, b.ID, "agreement recorded", string(b.ID), map[string]any{
			"paper": p.ID, "sha256": d.SHA256, "agreed_on": b.AgreedOn, "agreed_how": b.AgreedHow, "ready_on": b.ReadyOn,
			"owners": sheet.Build.Owners, "stages": sheet.Agreement.Stages, "total": sheet.AgreedAfter, "terms": termsDetail(terms),
		})
		if err != nil {
			return err
		}
	case signoff.ChangeOrder, signoff.DateChange:
		if err := s.restageNow(tx, a, b, p, sheet); err != nil {
			return err
		}
		if sheet.DateAfter != b.ReadyOn {
			b.ReadyOn = sheet.DateAfter
			if err := tx.SaveBuild(b); err != nil {
				return err
			}
		}
	case signoff.DeliveryAcceptance:
		if err := s.accepted(tx, a, b, sheet); err != nil {
			return err
		}
	case signoff.EarlyStop:
		if err := s.stopBuild(tx, a, b, p, sheet); err != nil {
			return err
		}
	}
	if err := s.givePowers(tx, a, b, p, sheet); err != nil {
		return err
	}
	why := fmt.Sprintf("%s, %s, was signed, so what this paper says of totals and dates is worked out afresh.", sheet.Name(), sheet.Title)
	return s.renewOut(tx, a, b.ID, why)
}

// accepted records the delivery, and releases the holdback once every stage is
// closed.
func (s *Steps) accepted(tx Tx, a Actor, b journal.Build, sheet signoff.Sheet) error {
	b.State, b.DeliveredOn = journal.Delivered, sheet.Acceptance.DeliveredOn
	if err := tx.SaveBuild(b); err != nil {
		return err
	}
	err := s.record(tx, a, b.ID, "build delivered", string(b.ID), map[string]any{"delivered_on": string(b.DeliveredOn)})
	if err != nil {
		return err
	}
	stages, err := tx.Stages(b.ID)
	if err != nil {
		return err
	}
	for _, st := range stages {
		if st.State != journal.Closed {
			return nil // the office releases it when the last one is closed
		}
	}
	acc, err := s.account(tx, b)
	if err != nil {
		return err
	}
	doc, held, err := billing.Release(acc, s.today(tx))
	if err != nil || !held {
		return err
	}
	_, err = s.issue(tx, a, b, acc.Terms.Tax, doc, "", "")
	return err
}

// givePowers carries out what a paper says of delegates and allowances.
func (s *Steps) givePowers(tx Tx, a Actor, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	if sheet.Delegate != nil {
		if err := s.nameDelegate(tx, a, b, p, sheet); err != nil {
			return err
		}
	}
	if sheet.Allowance == nil {
		return nil
	}
	if err := tx.EndAllowance(b.ID, a.Person.ID, s.at()); err != nil {
		return err
	}
	given := signoff.Allowance{
		ID: journal.AllowanceID(s.NewID()), BuildID: b.ID, PaperID: p.ID,
		Limits: signoff.Limits{PerFind: sheet.Allowance.PerFind, PerMonth: sheet.Allowance.PerMonth}, FromAt: s.at(),
	}
	if err := tx.AddAllowance(given); err != nil {
		return err
	}
	return s.record(tx, a, b.ID, "allowance given", string(given.ID), map[string]any{
		"paper": p.ID, "per_find": given.Limits.PerFind, "per_month": given.Limits.PerMonth,
	})
}

// nameDelegate makes the person whom a signed paper names a delegate, with an
// account if they have none.
func (s *Steps) nameDelegate(tx Tx, a Actor, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	d := sheet.Delegate
	person, known, err := absent(tx.PersonByEmail(d.Email))
	if err != nil {
		return err
	}
	if !known {
		person = journal.Person{ID: journal.PersonID(s.NewID()), Name: d.Name, Email: d.Email, Phone: d.Phone, Role: journal.Owner, CreatedAt: s.at()}
		if err := tx.AddPerson(person); err != nil {
			return err
		}
	}
	if _, already, err := absent(tx.Member(b.ID, person.ID)); err != nil || already {
		return err
	}
	m := journal.Member{
		BuildID: b.ID, PersonID: person.ID, As: journal.AsDelegate, PaperID: p.ID, AddedAt: s.at(),
		NamedBy: fmt.Sprintf("%s, revision %d", sheet.Name(), sheet.Revision),
	}
	if err := tx.AddMember(m); err != nil {
		return err
	}
	err = s.record(tx, a, b.ID, "owner added", string(person.ID), map[string]any{
		"name": person.Name, "as": string(m.As), "named_by": m.NamedBy, "paper": p.ID,
	})
	if err != nil {
		return err
	}
	_, err = s.post(tx, b.ID, person, DelegateNamedLetter{
		ShopName: sheet.Shop.Name, To: person, Nickname: b.Nickname, By: sheet.Build.Owners, Paper: sheet.Name(), Path: "/builds/" + string(b.ID),
	})
	return err
}
