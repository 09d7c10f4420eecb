package flow

import (
	"context"
	"fmt"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// SaveTerms stores a build's money terms. version is the build's as read: the
// save counts as a change of the build. After the agreement only tax rates can
// change, and only for what is invoiced from then on; papers that are out are
// sent once more, as the totals they show change with the rates. Office only.
//
// It returns [journal.Invalid] field by field (see [billing.Terms.Check], and
// tax_basis) and [journal.Conflict] when the version is not the one stored.
func (s *Steps) SaveTerms(ctx context.Context, a Actor, id journal.BuildID, version int, t billing.Terms) error {
	return s.changeBuild(ctx, a, id, version, func(tx Tx, b *journal.Build) (string, map[string]any, error) {
		was, err := tx.Terms(id)
		if err != nil {
			return "", nil, err
		}
		bad := journal.Problems{}
		t.Check(bad)
		if b.State != journal.Scoping {
			checkFixed(bad, was, t)
		}
		if err := bad.Err(); err != nil {
			return "", nil, err
		}
		if err := tx.SaveTerms(id, t); err != nil {
			return "", nil, err
		}
		why := scopeChanged
		if t.Tax != was.Tax {
			why = "The tax rates were changed, so the totals are worked out afresh."
		}
		if err := s.renewOut(tx, a, id, why); err != nil {
			return "", nil, err
		}
		return "terms changed", map[string]any{"terms": termsDetail(t)}, nil
	})
}

// checkFixed records a problem for each term, other than tax rates, that
// differs from what was agreed.
func checkFixed(bad journal.Problems, agreed, t billing.Terms) {
	const sentence = "This is part of the recorded agreement and cannot change any more."
	for _, term := range []struct {
		field   string
		changed bool
	}{
		{"deposit", t.Deposit != agreed.Deposit},
		{"crediting", t.Crediting != agreed.Crediting},
		{"deposit_share", t.DepositShare != agreed.DepositShare},
		{"refill_floor", t.RefillFloor != agreed.RefillFloor},
		{"holdback_rate", t.HoldbackRate != agreed.HoldbackRate},
		{"due_days", t.DueDays != agreed.DueDays},
		{"tax_basis", t.Tax.PerLine != agreed.Tax.PerLine},
		{"holdback_cap", t.HoldbackCap != agreed.HoldbackCap},
		{"hour_rate", t.HourRate != agreed.HourRate},
		{"mark_up", t.MarkUp != agreed.MarkUp},
		{"bill_days", !slices.Equal(t.BillDays, agreed.BillDays)},
		{"late_asks", t.LateAsks != agreed.LateAsks},
		{"transport", t.Transport != agreed.Transport},
		{"deliver_to", t.DeliverTo != agreed.DeliverTo},
	} {
		if term.changed {
			bad.Add(term.field, sentence)
		}
	}
}

// Agreement is what the office records of the signed build agreement.
type Agreement struct {
	Version int // of the build, as read
	On      journal.Date
	How     string // e.g. "signed on paper, in the file"
	ReadyOn journal.Date
	Total   journal.Cents // before tax, as it stands on the signed paper; the stages must add up to it
}

// RecordAgreement records the owner's signed agreement: from then on stage
// values and terms are fixed, and the build can be billed. Office only.
//
// It returns [journal.Invalid] beside agreed_on, agreed_how, ready_on and total,
// and with a sentence of its own when the build has no owner or no value;
// [journal.Conflict] when an agreement is recorded already or the build was
// changed meanwhile.
func (s *Steps) RecordAgreement(ctx context.Context, a Actor, id journal.BuildID, g Agreement) error {
	return s.changeBuild(ctx, a, id, g.Version, func(tx Tx, b *journal.Build) (string, map[string]any, error) {
		if b.State != journal.Scoping {
			return "", nil, journal.Errorf(journal.Conflict, "The agreement of this build is recorded already, signed on %s.", b.AgreedOn)
		}
		g.How = journal.CleanLine(g.How)
		if err := checkAgreement(g, s.today(tx)); err != nil {
			return "", nil, err
		}
		owners, err := ownerNames(tx, id)
		if err != nil {
			return "", nil, err
		}
		if len(owners) == 0 {
			return "", nil, journal.Errorf(journal.Invalid, "Please add the truck's owner to this build first; an agreement needs somebody who agrees.")
		}
		stages, err := tx.Stages(id)
		if err != nil {
			return "", nil, err
		}
		total, err := agreedTotal(stages)
		if err != nil {
			return "", nil, err
		}
		values := make([]map[string]any, 0, len(stages))
		for _, st := range stages {
			values = append(values, stageDetail(st))
		}
		if err := checkSignedTotal(g.Total, total); err != nil {
			return "", nil, err
		}
		terms, err := tx.Terms(id)
		if err != nil {
			return "", nil, err
		}
		if err := terms.Validate(); err != nil {
			return "", nil, err
		}
		b.State, b.AgreedOn, b.AgreedHow, b.ReadyOn = journal.Agreed, g.On, g.How, g.ReadyOn
		return "agreement recorded", map[string]any{
			"agreed_on": string(g.On), "agreed_how": g.How, "ready_on": string(g.ReadyOn),
			"owners": owners, "stages": values, "total": int64(total), "terms": termsDetail(terms),
		}, nil
	})
}

// agreedTotal returns what the stages come to before tax, or why there is
// nothing to agree to yet.
func agreedTotal(stages []journal.Stage) (journal.Cents, error) {
	var total journal.Cents
	for _, st := range stages {
		total += st.Value.Total()
	}
	if total <= 0 {
		return 0, journal.Errorf(journal.Invalid, "Please give the stages their values first; the agreement would come to nothing.")
	}
	for _, st := range stages {
		if st.Metered && st.Value.Total() == 0 {
			return 0, journal.Errorf(journal.Invalid,
				"%s is by time and materials and has no value, so nothing of its work could be billed. Please give it the most it may cost, or make it a fixed price.", st.Name)
		}
	}
	return total, nil
}

func checkAgreement(g Agreement, today journal.Date) error {
	bad := journal.Problems{}
	journal.CheckDay(bad, "agreed_on", g.On)
	journal.CheckDay(bad, "ready_on", g.ReadyOn)
	switch {
	case g.On.IsZero():
		bad.Add("agreed_on", "Please say on which day the agreement was signed.")
	case g.On > today:
		bad.Add("agreed_on", "That day is still to come; please record the agreement once it is signed.")
	}
	journal.CheckLine(bad, "agreed_how", g.How, 1, 200,
		"Please say how it was agreed, such as: signed on paper, in the file.")
	switch {
	case g.ReadyOn.IsZero():
		bad.Add("ready_on", "Please give the day for which the truck is agreed to be ready.")
	case g.ReadyOn < g.On:
		bad.Add("ready_on", "The truck cannot be ready before the agreement; please check both days.")
	}
	if g.Total <= 0 {
		bad.Add("total", "Please type the total before tax as it stands on the signed paper.")
	}
	return bad.Err()
}

// checkSignedTotal refuses, beside total, a signed figure that the stages do not
// add up to: what is billed later is what the stages say.
func checkSignedTotal(signed, stages journal.Cents) error {
	if signed == stages {
		return nil
	}
	apart := "more"
	if stages < signed {
		apart = "less"
	}
	return journal.Problems{"total": fmt.Sprintf(
		"The signed paper says %s, and the stages here come to %s before tax, %s %s. Please save the stages with the values that were signed, or correct this figure.",
		signed, stages, max(stages-signed, signed-stages), apart)}.Err()
}

// ownerNames returns the names of a build's current owners, without delegates.
func ownerNames(r Reads, id journal.BuildID) ([]string, error) {
	people, members, err := ownersOf(r, id)
	if err != nil {
		return nil, err
	}
	var names []string
	for i, m := range members {
		if m.As == journal.AsOwner {
			names = append(names, people[i].Name)
		}
	}
	return names, nil
}

// termsDetail is what an event keeps of the terms: cents, basis points, days.
func termsDetail(t billing.Terms) map[string]any {
	rates := map[string]any{}
	for _, k := range journal.LineKinds {
		rates[string(k)] = int64(t.Tax.Rate(k))
	}
	return map[string]any{
		"deposit": int64(t.Deposit), "crediting": string(t.Crediting),
		"deposit_share": int64(t.DepositShare), "refill_floor": int64(t.RefillFloor), "holdback_rate": int64(t.HoldbackRate),
		"tax": rates, "tax_per_line": t.Tax.PerLine, "due_days": t.DueDays,
		"holdback_cap": t.HoldbackCap, "hour_rate": int64(t.HourRate), "mark_up": int64(t.MarkUp), "bill_days": append([]int{}, t.BillDays...),
		"late_asks": t.LateAsks, "transport": string(t.Transport), "deliver_to": t.DeliverTo,
	}
}
