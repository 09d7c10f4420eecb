package flow

import (
	"context"
	"fmt"

	"farbay/journal"
)

// AskBelonging asks the owners what is to become of a find that is somebody's
// property. what names it in a few words. Staff only; asking twice changes
// nothing.
//
// It returns [journal.Invalid] beside "what", and [journal.Conflict] when the
// entry is no standing find that the owner can see.
func (s *Steps) AskBelonging(ctx context.Context, a Actor, build journal.BuildID, entry journal.EntryID, what string) error {
	if err := asStaff(a); err != nil {
		return err
	}
	what = journal.CleanLine(what)
	bad := journal.Problems{}
	journal.CheckLine(bad, "what", what, 1, 120, "Please say in a few words what it is, such as: a toolbox with its tools.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		e, err := tx.Entry(build, entry)
		if err != nil {
			return err
		}
		switch {
		case e.Kind != journal.KindFind || !e.WithdrawnAt.IsZero():
			return journal.Errorf(journal.Conflict, "Only a find that stands in the journal can be asked about.")
		case e.Audience != journal.OwnerToo:
			return journal.Errorf(journal.Conflict, "The owner cannot see this find yet. Please let them see it first; then ask.")
		}
		if _, asked, err := absent(tx.Belonging(build, entry)); err != nil || asked {
			return err
		}
		if err := tx.AddBelonging(journal.Belonging{EntryID: entry, BuildID: build, What: what, AskedBy: a.Person.ID, AskedAt: s.at()}); err != nil {
			return err
		}
		if err := s.record(tx, a, build, "belonging asked", string(entry), map[string]any{"what": what}); err != nil {
			return err
		}
		shop, err := tx.Shop()
		if err != nil {
			return err
		}
		owners, _, err := ownersOf(tx, build)
		if err != nil {
			return err
		}
		for _, owner := range owners {
			letter := BelongingLetter{ShopName: shop.Name, To: owner, Nickname: b.Nickname, What: what, Path: entryPath(build, entry)}
			if _, err := s.post(tx, build, owner, letter); err != nil {
				return err
			}
		}
		return nil
	})
}

func entryPath(build journal.BuildID, entry journal.EntryID) string {
	return fmt.Sprintf("/builds/%s/entries/%s", build, entry)
}

// AnswerBelonging records what an owner or delegate wants done with a find. The
// last answer counts, until it is carried out; the same one again changes
// nothing.
//
// It returns [journal.Invalid] beside "answer" and "note" (where to ship it),
// [journal.Forbidden] for people who do not decide here, and [journal.Conflict]
// once it is carried out.
func (s *Steps) AnswerBelonging(ctx context.Context, a Actor, build journal.BuildID, entry journal.EntryID, answer journal.BelongingAnswer, note string) error {
	bad := journal.Problems{}
	if !answer.Valid() {
		bad.Add("answer", "Please choose: keep it, ship it, or discard it.")
	}
	journal.CheckText(bad, "note", note, 0, 400, "Please keep the note to 400 characters.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		if !journal.CanDecide(a.Person, member) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner or their delegate can say what is to become of it.")
		}
		x, err := tx.Belonging(build, entry)
		if err != nil {
			return err
		}
		last, answered := x.Last()
		if answered && last.Answer == answer && last.Note == note {
			return nil
		}
		if !x.DoneAt.IsZero() {
			return journal.Errorf(journal.Conflict, "The shop has done what was said before: %s. Please call them.", last.Answer)
		}
		now := journal.Answered{
			Answer: answer, Note: note, PersonID: a.Person.ID, At: s.at(), Authenticated: a.Session.How, Address: a.Address, UserAgent: a.UserAgent,
		}
		if err := tx.AnswerBelonging(entry, len(x.Answers)+1, now); err != nil {
			return err
		}
		err = s.record(tx, a, build, "belonging answered", string(entry), map[string]any{
			"what": x.What, "answer": answer, "note": note, "name": a.Person.Name, "as": member.As, "authenticated": a.Session.How,
		})
		if err != nil {
			return err
		}
		asker, err := tx.Person(x.AskedBy)
		if err != nil || !asker.Active() {
			return err
		}
		_, err = s.post(tx, build, asker, BelongingAnsweredLetter{
			To: asker, Nickname: b.Nickname, What: x.What, Answer: now, By: a.Person.Name, Path: entryPath(build, entry),
		})
		return err
	})
}

// DoneBelonging notes that the shop has done what the owner wants. Staff only;
// [journal.Conflict] while there is no answer.
func (s *Steps) DoneBelonging(ctx context.Context, a Actor, build journal.BuildID, entry journal.EntryID) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.onBuild(ctx, a, build, func(tx Tx, _ journal.Build) error {
		x, err := tx.Belonging(build, entry)
		if err != nil {
			return err
		}
		last, answered := x.Last()
		switch {
		case !answered:
			return journal.Errorf(journal.Conflict, "The owner has not said yet what is to become of it.")
		case !x.DoneAt.IsZero():
			return nil
		}
		if err := tx.DoneBelonging(entry, a.Person.ID, s.at()); err != nil {
			return err
		}
		return s.record(tx, a, build, "belonging done", string(entry), map[string]any{"what": x.What, "answer": last.Answer})
	})
}

// BelongingView is what stands about a find that is somebody's property.
type BelongingView struct {
	Belonging journal.Belonging
	Names     map[journal.PersonID]string // of everybody named in it
	CanAnswer bool
}

// belongingOf reads what stands about a find; nil when nobody was asked.
func belongingOf(r Reads, a Actor, member *journal.Member, build journal.BuildID, entry journal.EntryID) (*BelongingView, error) {
	x, asked, err := absent(r.Belonging(build, entry))
	if err != nil || !asked {
		return nil, err
	}
	v := BelongingView{Belonging: x, Names: map[journal.PersonID]string{}}
	v.CanAnswer = x.DoneAt.IsZero() && journal.CanDecide(a.Person, member)
	ids := []journal.PersonID{x.AskedBy, x.DoneBy}
	for _, answer := range x.Answers {
		ids = append(ids, answer.PersonID)
	}
	return &v, nameAll(r, v.Names, ids)
}
