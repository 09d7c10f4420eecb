package flow

import (
	"context"
	"fmt"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// NewUse is what the office books against a build's standing allowance.
type NewUse struct {
	ID      journal.UseID // random, from the form, so that sending it twice books once
	EntryID journal.EntryID
	StageID journal.StageID // which bears it; "" for the find's
	Title   string
	Reason  string
	Lines   []signoff.Line
	Photos  []signoff.Evidence
}

// draft is the use as a change order would say it, so that both are held to the
// same rules.
func (n NewUse) draft() signoff.Draft {
	return signoff.Draft{Title: n.Title, Reason: n.Reason, StageID: n.StageID, Lines: n.Lines, Photos: n.Photos}
}

// BookUse books a find against the standing allowance and tells the owners at
// once. Office only. Booking the same id again returns what is booked.
//
// It returns [journal.Invalid] field by field as [signoff.Draft.Validate], with
// a sentence beside "photos" when there is none, and beside "lines" when it
// costs nothing or more than is left for the find and for the month at the
// shop, tax included; [journal.Conflict] when no allowance is in force or the
// entry is no standing find.
func (s *Steps) BookUse(ctx context.Context, a Actor, build journal.BuildID, n NewUse) (u signoff.Use, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		uses, err := tx.Uses(build)
		if err != nil {
			return err
		}
		for _, old := range uses {
			if old.ID == n.ID {
				u = old
				return nil
			}
		}
		allowance, inForce, err := absent(tx.Allowance(build))
		if err != nil {
			return err
		}
		if !inForce {
			return journal.Errorf(journal.Conflict, "No standing allowance is in force on this build. Please send a change order instead.")
		}
		if n.StageID, err = findsStage(tx, build, n.EntryID, n.StageID); err != nil {
			return err
		}
		if u, err = s.priceUse(tx, b, n); err != nil {
			return err
		}
		u.AllowanceID, u.Number, u.ByID = allowance.ID, len(uses)+1, a.Person.ID
		if err := withinLimits(allowance, uses, u); err != nil {
			return err
		}
		if err := tx.AddUse(u); err != nil {
			return err
		}
		if err := s.recordUse(tx, a, u); err != nil {
			return err
		}
		uses = append(uses, u)
		if err := s.tellUse(tx, b, u, allowance.Left(uses, "", u.Month)); err != nil {
			return err
		}
		return s.renewOut(tx, a, build, fmt.Sprintf("The shop used the standing allowance for %s, so what this paper says of totals is worked out afresh.", u.Title))
	})
	return u, err
}

// findsStage checks that the entry is a standing find, and returns the stage
// named, or else the find's.
func findsStage(r Reads, build journal.BuildID, entry journal.EntryID, stage journal.StageID) (journal.StageID, error) {
	e, err := r.Entry(build, entry)
	if err != nil {
		return "", err
	}
	if e.Kind != journal.KindFind || !e.WithdrawnAt.IsZero() {
		return "", journal.Errorf(journal.Conflict, "The allowance is for finds. Please begin from a find that stands in the journal.")
	}
	if stage == "" {
		stage = e.StageID
	}
	return stage, nil
}

// priceUse completes a use: hashes, amounts, tax and month.
func (s *Steps) priceUse(r Reads, b journal.Build, n NewUse) (u signoff.Use, err error) {
	draft := n.draft()
	if err := settle(r, b.ID, &draft); err != nil {
		return u, err
	}
	bad := journal.ProblemsOf(draft.Validate(signoff.ChangeOrder))
	if len(draft.Photos) == 0 {
		bad.Add("photos", "Please choose at least one photo that shows it; the owner is told with it.")
	}
	u = signoff.Use{
		ID: n.ID, BuildID: b.ID, EntryID: n.EntryID, StageID: n.StageID, Title: n.Title, Reason: n.Reason,
		Lines: draft.Lines, Photos: draft.Photos, At: s.at(), Month: signoff.MonthOf(s.today(r)),
	}
	for i := range u.Lines {
		u.Lines[i].StageID = ""
	}
	acc, err := s.account(r, b)
	if err != nil {
		return u, err
	}
	u.Amount = u.Split().Total()
	_, _, before := billing.Totals(acc.Agreed, acc.Terms.Tax)
	_, _, after := billing.Totals(append(slices.Clone(acc.Agreed), useCharge(u)), acc.Terms.Tax)
	u.Tax = after - before - u.Amount
	if u.WithTax() <= 0 {
		bad.Add("lines", "This costs nothing, so there is nothing to book.")
	}
	return u, bad.Err()
}

// withinLimits refuses what is more than is left.
func withinLimits(a signoff.Allowance, uses []signoff.Use, u signoff.Use) error {
	month, find := a.Left(uses, "", u.Month), a.Left(uses, u.EntryID, u.Month)
	if u.WithTax() <= find {
		return nil
	}
	return journal.Problems{"lines": fmt.Sprintf(
		"With tax this comes to %s, and %s is left for this find and %s for this month. Nothing was booked; please send a change order instead.",
		u.WithTax(), find, month)}.Err()
}

func (s *Steps) recordUse(tx Tx, a Actor, u signoff.Use) error {
	hashes := make([]string, 0, len(u.Photos))
	for _, p := range u.Photos {
		hashes = append(hashes, p.SHA256)
	}
	lines := make([]map[string]any, 0, len(u.Lines))
	for _, l := range u.Lines {
		lines = append(lines, map[string]any{"kind": l.Kind, "text": l.Text, "minutes": l.Minutes, "rate": l.Rate, "amount": l.Amount})
	}
	return s.record(tx, a, u.BuildID, "allowance used", string(u.ID), map[string]any{
		"allowance": u.AllowanceID, "number": u.Number, "entry": u.EntryID, "stage": u.StageID, "title": u.Title,
		"amount": u.Amount, "tax": u.Tax, "month": u.Month, "lines": lines, "photos": hashes,
	})
}

func (s *Steps) tellUse(tx Tx, b journal.Build, u signoff.Use, left journal.Cents) error {
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, _, err := ownersOf(tx, b.ID)
	if err != nil {
		return err
	}
	for _, owner := range owners {
		letter := UseLetter{ShopName: shop.Name, To: owner, Nickname: b.Nickname, Use: u, Left: left, Path: allowancePath(b.ID)}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return err
		}
	}
	return nil
}

func allowancePath(build journal.BuildID) string { return fmt.Sprintf("/builds/%s/allowance", build) }

// EndAllowance ends the build's standing allowance: by an owner of the build, not
// by a delegate, or by the office. What was booked stays. Ending it again
// changes nothing.
func (s *Steps) EndAllowance(ctx context.Context, a Actor, build journal.BuildID) error {
	return s.write(ctx, func(tx Tx) error {
		b, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		if a.Person.Role != journal.Office && (member == nil || member.As != journal.AsOwner) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner, or the office, can end the standing allowance.")
		}
		allowance, inForce, err := absent(tx.Allowance(build))
		if err != nil || !inForce {
			return err
		}
		if err := tx.EndAllowance(build, a.Person.ID, s.at()); err != nil {
			return err
		}
		if err := s.record(tx, a, build, "allowance ended", string(allowance.ID), map[string]any{}); err != nil {
			return err
		}
		return s.renewOut(tx, a, build, fmt.Sprintf("The standing allowance of %s was ended.", b.Nickname))
	})
}

// AllowanceView is everything the page of a build's standing allowance shows.
type AllowanceView struct {
	Build  journal.Build
	Stages []journal.Stage
	// InForce is the allowance; nil for none.
	InForce *signoff.Allowance
	SetBy   string        // the paper that set it: "Change order 3"
	Month   string        // the shop's present calendar month, "2026-04"
	Left    journal.Cents // of it in this month, tax included
	Uses    []signoff.Use // newest first
	Photos  map[journal.PhotoID]journal.Photo
	Names   map[journal.PersonID]string
	CanEnd  bool
}

// AllowanceOf gathers the page of a build's standing allowance, for whoever may
// read the build.
func (s *Steps) AllowanceOf(ctx context.Context, a Actor, build journal.BuildID) (v AllowanceView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		var member *journal.Member
		if v.Build, member, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.Uses, err = r.Uses(build); err != nil {
			return err
		}
		v.Month = signoff.MonthOf(s.today(r))
		allowance, inForce, err := absent(r.Allowance(build))
		if err != nil {
			return err
		}
		if inForce {
			v.InForce, v.Left = &allowance, allowance.Left(v.Uses, "", v.Month)
			v.CanEnd = a.Person.Role == journal.Office || member != nil && member.As == journal.AsOwner
			p, err := r.Paper(build, allowance.PaperID)
			if err != nil {
				return err
			}
			v.SetBy = fmt.Sprintf("%s %d", p.Kind.Title(), p.Number)
		}
		var photos []journal.PhotoID
		v.Names = map[journal.PersonID]string{}
		for _, u := range v.Uses {
			for _, p := range u.Photos {
				photos = append(photos, p.PhotoID)
			}
			if err := nameAll(r, v.Names, []journal.PersonID{u.ByID}); err != nil {
				return err
			}
		}
		slices.Reverse(v.Uses)
		if v.Photos, err = r.Photos(build, photos); err != nil {
			return err
		}
		for id, p := range v.Photos {
			v.Photos[id] = photoSeen(a, p)
		}
		return nil
	})
	return v, err
}
