package flow

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

// readyToSend says what stands against sending a paper.
func (s *Steps) readyToSend(r Reads, p signoff.Paper) error {
	if err := p.Draft.Validate(p.Kind); err != nil {
		return err
	}
	b, err := r.Build(p.BuildID)
	if err != nil {
		return err
	}
	if p.Kind != signoff.BuildAgreement || b.State != journal.Scoping {
		if err := placeFor(r, b, p.Kind); err != nil {
			return err
		}
	}
	owners, members, err := ownersOf(r, p.BuildID)
	if err != nil {
		return err
	}
	if len(owners) == 0 {
		return journal.Errorf(journal.Conflict, "Nobody can sign this yet: the build has no owner who can sign in. Please add one first.")
	}
	ownerOnly := p.Kind == signoff.BuildAgreement || p.Kind == signoff.EarlyStop || p.Draft.Delegate != nil || p.Draft.Allowance != nil
	if ownerOnly && members[0].As != journal.AsOwner { // owners come first
		return journal.Errorf(journal.Conflict, "Only an owner can sign this, and the build has a delegate alone. Please add the owner first.")
	}
	if err := delegateFits(r, p.Draft.Delegate); err != nil {
		return err
	}
	switch p.Kind {
	case signoff.BuildAgreement:
		return agreementReady(r, b)
	case signoff.Teardown:
		st, err := r.Stage(b.ID, p.Draft.StageID)
		if err == nil && !st.Teardown {
			err = journal.Problems{"stage": "That stage does not take the truck apart. If it does, please say so on the stage's page first."}.Err()
		}
		return err
	case signoff.DateChange:
		if b.ReadyOn.IsZero() {
			return journal.Errorf(journal.Conflict, "No ready date is agreed yet, so there is none to change.")
		}
	case signoff.DeliveryAcceptance:
		return nothingElseOut(r, p)
	case signoff.ChangeOrder:
		return s.restageReady(r, b, p)
	case signoff.EarlyStop:
		return s.stopReady(r, b, p.Draft)
	}
	return nil
}

// delegateFits refuses a delegate whose address belongs to the shop.
func delegateFits(r Reads, d *signoff.Delegate) error {
	if d == nil {
		return nil
	}
	person, known, err := absent(r.PersonByEmail(d.Email))
	switch {
	case err != nil || !known:
		return err
	case person.Role != journal.Owner:
		return journal.Problems{"delegate_email": "That is an address of somebody who works here; a delegate decides for the owner."}.Err()
	case !person.Active():
		return journal.Problems{"delegate_email": "The account with this address has ended; please use another address."}.Err()
	}
	return nil
}

// agreementReady says what a build lacks for its agreement.
func agreementReady(r Reads, b journal.Build) error {
	stages, err := r.Stages(b.ID)
	if err != nil {
		return err
	}
	if _, err := agreedTotal(stages); err != nil {
		return err
	}
	terms, err := r.Terms(b.ID)
	if err != nil {
		return err
	}
	return terms.Validate()
}

// nothingElseOut refuses the acceptance while another paper waits for a
// decision.
func nothingElseOut(r Reads, p signoff.Paper) error {
	papers, err := r.Papers(p.BuildID)
	if err != nil {
		return err
	}
	for _, other := range papers {
		if other.ID != p.ID && other.State == signoff.Sent {
			return journal.Errorf(journal.Conflict, "%s %d is still out for sign-off; please have it decided, or take it back, before the delivery.", other.Kind.Title(), other.Number)
		}
	}
	return nil
}
