package flow

import (
	"context"
	"slices"

	"farbay/journal"
)

// Leads returns who may lead a build or a stage, by name: the people of the
// shop who may sign in, and those of stay, who lead already, whether or not
// they still may. Office only.
func (s *Steps) Leads(ctx context.Context, a Actor, stay ...journal.PersonID) ([]journal.Person, error) {
	return s.choose(ctx, a, func(r Reads, p journal.Person) (bool, error) {
		return p.Role.Staff() && p.Active() || slices.Contains(stay, p.ID), nil
	})
}

// OwnersToAdd returns the owner-role people who may sign in and do not belong
// to the build, by name. Office only.
func (s *Steps) OwnersToAdd(ctx context.Context, a Actor, build journal.BuildID) ([]journal.Person, error) {
	return s.choose(ctx, a, func(r Reads, p journal.Person) (bool, error) {
		if p.Role != journal.Owner || !p.Active() {
			return false, nil
		}
		_, member, err := absent(r.Member(build, p.ID))
		return !member, err
	})
}

// choose returns the people that fit, by name, without their password hashes.
func (s *Steps) choose(ctx context.Context, a Actor, fits func(Reads, journal.Person) (bool, error)) (chosen []journal.Person, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		people, err := r.People()
		if err != nil {
			return err
		}
		for _, p := range people {
			ok, err := fits(r, p)
			if err != nil {
				return err
			}
			if ok {
				p.PasswordHash = ""
				chosen = append(chosen, p)
			}
		}
		return nil
	})
	return chosen, err
}

// FailedLetters counts the letters whose last try failed and that are not sent.
// Office only.
func (s *Steps) FailedLetters(ctx context.Context, a Actor) (n int, err error) {
	if err := asOffice(a); err != nil {
		return 0, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		n, err = r.FailedLetters()
		return err
	})
	return n, err
}
