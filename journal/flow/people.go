package flow

import (
	"context"
	"fmt"

	"farbay/journal"
)

// AddPerson adds an account. Of p only name, e-mail, phone and role are taken;
// it has no password yet and belongs to no build.
//
// Errors: [journal.Forbidden] unless the office does it; [journal.Invalid]
// field by field, the address of an existing account included.
func (s *Steps) AddPerson(ctx context.Context, a Actor, p journal.Person) (journal.Person, error) {
	if err := asOffice(a); err != nil {
		return journal.Person{}, err
	}
	p = s.newPerson(p)
	if err := p.Validate(); err != nil {
		return journal.Person{}, err
	}
	err := s.write(ctx, func(tx Tx) error { return s.addPerson(tx, a, p) })
	return p, err
}

func (s *Steps) newPerson(p journal.Person) journal.Person {
	return journal.Person{
		ID:        journal.PersonID(s.NewID()),
		Name:      journal.CleanLine(p.Name),
		Email:     journal.NormalEmail(p.Email),
		Phone:     journal.CleanLine(p.Phone),
		Postal:    journal.CleanText(p.Postal),
		Role:      p.Role,
		CreatedAt: s.at(),
	}
}

func (s *Steps) addPerson(tx Tx, a Actor, p journal.Person) error {
	if err := emailFree(tx, p); err != nil {
		return err
	}
	if err := tx.AddPerson(p); err != nil {
		return err
	}
	return s.record(tx, a, "", "person added", string(p.ID), map[string]any{"name": p.Name, "role": string(p.Role)})
}

// emailFree refuses p's address when another account has it.
func emailFree(r Reads, p journal.Person) error {
	other, found, err := absent(r.PersonByEmail(p.Email))
	if err != nil || !found || other.ID == p.ID {
		return err
	}
	bad := journal.Problems{}
	bad.Add("email", "%s has an account with this address already.", other.Name)
	return bad.Err()
}

// ChangePerson changes name, e-mail, phone and role of an account.
//
// Errors: those of [Steps.AddPerson]; [journal.Invalid] when an owner would
// become staff or the reverse (their record would change its meaning), or the
// last office account would be gone.
func (s *Steps) ChangePerson(ctx context.Context, a Actor, p journal.Person) (journal.Person, error) {
	if err := asOffice(a); err != nil {
		return journal.Person{}, err
	}
	var now journal.Person
	err := s.write(ctx, func(tx Tx) error {
		was, err := tx.Person(p.ID)
		if err != nil {
			return err
		}
		now = was
		now.Name, now.Email = journal.CleanLine(p.Name), journal.NormalEmail(p.Email)
		now.Phone, now.Postal, now.Role = journal.CleanLine(p.Phone), journal.CleanText(p.Postal), p.Role
		if err := now.Validate(); err != nil {
			return err
		}
		if err := s.mayChange(tx, was, now); err != nil {
			return err
		}
		if err := tx.SavePerson(now); err != nil {
			return err
		}
		if was.Email == now.Email && was.Role == now.Role {
			return nil
		}
		return s.record(tx, a, "", "person changed", string(now.ID), map[string]any{
			"email": now.Email, "email was": was.Email, "role": string(now.Role), "role was": string(was.Role),
		})
	})
	return now, err
}

func (s *Steps) mayChange(tx Tx, was, now journal.Person) error {
	bad := journal.Problems{}
	if was.Role.Staff() != now.Role.Staff() {
		bad.Add("role", "An owner's account cannot become one of the shop, nor the reverse; please add a second account.")
		return bad.Err()
	}
	if was.Role == journal.Office && now.Role != journal.Office {
		last, err := lastOffice(tx, was)
		if err != nil {
			return err
		}
		if last {
			bad.Add("role", "This is the last office account; please add another before changing it.")
			return bad.Err()
		}
	}
	return emailFree(tx, now)
}

// lastOffice reports whether p is the only office account that may sign in.
func lastOffice(r Reads, p journal.Person) (bool, error) {
	people, err := r.People()
	if err != nil {
		return false, err
	}
	for _, other := range people {
		if other.Role == journal.Office && other.Active() && other.ID != p.ID {
			return false, nil
		}
	}
	return p.Role == journal.Office && p.Active(), nil
}

// EndPerson closes an account and ends its sessions; what the person wrote and
// signed stays. Ending an ended account changes nothing.
//
// Errors: [journal.Forbidden] unless the office does it; [journal.Conflict] for
// one's own account and for the last office account.
func (s *Steps) EndPerson(ctx context.Context, a Actor, id journal.PersonID) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if id == a.Person.ID {
		return journal.Errorf(journal.Conflict, "You cannot end your own account. Please ask another person of the office.")
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := tx.Person(id)
		if err != nil || !p.Active() {
			return err
		}
		last, err := lastOffice(tx, p)
		if err != nil {
			return err
		}
		if last {
			return journal.Errorf(journal.Conflict, "This is the last office account; please add another before ending it.")
		}
		p.EndedAt = s.at()
		if err := tx.SavePerson(p); err != nil {
			return err
		}
		if err := tx.EndSessions(id, s.at()); err != nil {
			return err
		}
		return s.record(tx, a, "", "person ended", string(id), map[string]any{"name": p.Name})
	})
}

// EndSessionsOf signs a person out everywhere. The office may do it.
func (s *Steps) EndSessionsOf(ctx context.Context, a Actor, id journal.PersonID) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		if _, err := tx.Person(id); err != nil {
			return err
		}
		return tx.EndSessions(id, s.at())
	})
}

// SetPassword stores the encoded hash of a password for a person of the shop
// and signs them out everywhere. The office may do it from the command line;
// people do it themselves by a link, see [Steps.SetPasswordByLink].
func (s *Steps) SetPassword(ctx context.Context, a Actor, id journal.PersonID, hash string) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := tx.Person(id)
		if err != nil {
			return err
		}
		return s.setPassword(tx, p, hash)
	})
}

func (s *Steps) setPassword(tx Tx, p journal.Person, hash string) error {
	if !p.Role.Staff() {
		return journal.Errorf(journal.Forbidden, "Owners sign in with a link sent by e-mail and have no password.")
	}
	if hash == "" {
		return fmt.Errorf("flow: set password: no hash")
	}
	p.PasswordHash = hash
	if err := tx.SavePerson(p); err != nil {
		return err
	}
	return tx.EndSessions(p.ID, s.at())
}
