package flow

import (
	"context"

	"farbay/journal"
)

// EndDelegate ends what an owner let a delegate do; from then on the delegate sees
// nothing of the build. What they decided stays. By an owner of the build.
//
// It returns [journal.Forbidden] for everybody else and [journal.NotFound] when
// the person is no delegate of the build.
func (s *Steps) EndDelegate(ctx context.Context, a Actor, build journal.BuildID, person journal.PersonID) error {
	return s.write(ctx, func(tx Tx) error {
		b, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		if member == nil || member.As != journal.AsOwner {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner can end what a delegate may do.")
		}
		m, err := tx.Member(build, person)
		if err != nil || m.As != journal.AsDelegate {
			return journal.Errorf(journal.NotFound, "There is no such delegate of this build.")
		}
		return s.endMember(tx, a, b, m)
	})
}

// endMember ends a membership; a delegate and the owners are told.
func (s *Steps) endMember(tx Tx, a Actor, b journal.Build, m journal.Member) error {
	if err := tx.EndMember(b.ID, m.PersonID, a.Person.ID, s.at()); err != nil {
		return err
	}
	if err := s.record(tx, a, b.ID, "owner ended", string(m.PersonID), map[string]any{"as": string(m.As)}); err != nil {
		return err
	}
	if m.As != journal.AsDelegate {
		return nil
	}
	who, err := tx.Person(m.PersonID)
	if err != nil {
		return err
	}
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, members, err := ownersOf(tx, b.ID)
	if err != nil {
		return err
	}
	told := []journal.Person{who}
	for i, owner := range owners {
		if members[i].As == journal.AsOwner {
			told = append(told, owner)
		}
	}
	for _, to := range told {
		if !to.Active() {
			continue
		}
		if _, err := s.post(tx, b.ID, to, DelegateEndedLetter{ShopName: shop.Name, To: to, Nickname: b.Nickname, Delegate: who.Name}); err != nil {
			return err
		}
	}
	return nil
}
