package billing

import "farbay/journal"

// Rest is what of one stage is agreed and not billed when a build ends early.
type Rest struct {
	StageID string
	Agreed  journal.Cents // its value and signed changes, before tax
	Billed  journal.Cents // of it, credit memos taken off
	Earned  journal.Cents // what closing it now would bill; the most that a stop can leave
	Metered bool
	Over    journal.Split // what is not billed by kind; of a metered stage its whole ceiling
}

// NotDone returns what a stop takes off the stage, by kind, when of what is not
// billed only earned stays: in all Agreed - Billed - earned. It is divided over
// the kinds as [PartOf] divides what is not billed, or, on a metered stage, its
// ceiling. Nothing is taken off where less than nothing would be. Pure.
func (r Rest) NotDone(earned journal.Cents) journal.Split {
	part, err := PartOf(r.Over, r.Agreed-r.Billed-earned)
	if err != nil {
		return journal.Split{}
	}
	return part
}

// Rests returns what is agreed and not billed, stage by stage in the order in
// which their charges were agreed; stages without charges are left out. Pure.
func Rests(a Account) []Rest {
	t := tallyOf(a)
	var rests []Rest
	at := map[string]int{}
	row := func(stageID string) *Rest {
		i, known := at[stageID]
		if !known {
			i = len(rests)
			at[stageID], rests = i, append(rests, Rest{StageID: stageID, Metered: t.meters[stageID] != nil})
		}
		return &rests[i]
	}
	for _, c := range a.Agreed {
		r := row(c.StageID)
		r.Agreed += c.Split.Total()
		if r.Metered || t.times[c.Ref] <= 0 {
			r.Over = r.Over.Add(c.Split)
		}
	}
	for i := range rests {
		r := &rests[i]
		if m := t.meters[r.StageID]; m != nil {
			r.Billed = m.billed.Total()
			r.Earned = m.target() - r.Billed
			continue
		}
		r.Earned = r.Over.Total()
		r.Billed = r.Agreed - r.Earned
	}
	return rests
}

// PartOf returns the share of s that comes to part, kind by kind: 0 is nothing,
// s.Total() is s itself. What is above zero and what is below is taken in the
// same proportion, half away, and each of the two is divided by largest
// remainder (package comment, "Shares"), so the kinds add up to exactly part.
//
// It returns [journal.Invalid] unless part is from 0 to s.Total(). Pure.
func PartOf(s journal.Split, part journal.Cents) (journal.Split, error) {
	whole := s.Total()
	switch {
	case part < 0 || part > whole:
		return journal.Split{}, journal.Errorf(journal.Invalid, "%s is no part of %s.", part, whole)
	case part == 0:
		return journal.Split{}, nil
	}
	var above journal.Cents
	for _, k := range journal.LineKinds {
		above += max(s.Of(k), 0)
	}
	up := above.MulDiv(int64(part), int64(whole))
	var out journal.Split
	for _, side := range []struct{ amount, sign journal.Cents }{{up, 1}, {part - up, -1}} {
		if side.amount == 0 {
			continue
		}
		weights := make([]int64, len(journal.LineKinds))
		for i, k := range journal.LineKinds {
			weights[i] = max(int64(side.sign*s.Of(k)), 0)
		}
		shares, err := Apportion(side.amount, weights)
		if err != nil {
			return journal.Split{}, err
		}
		for i, k := range journal.LineKinds {
			out = out.Plus(k, shares[i])
		}
	}
	return out, nil
}

// Final returns the documents that settle an account whose build ends early, in
// the order of issue: the release of what is held back, and the invoice or
// credit memo for all that is agreed and not billed, which holds nothing back.
// Either is left out when there is nothing of it. Metered stages must be closed.
// IDs and numbers are left for the caller.
//
// Errors are those of [Next]. Pure.
func Final(a Account, on journal.Date) ([]Document, error) {
	release, held, err := Release(a, on)
	if err != nil {
		return nil, err
	}
	var docs []Document
	if held {
		docs = append(docs, release)
		a.Documents = append(a.Documents[:len(a.Documents):len(a.Documents)], release)
	}
	a.Terms.HoldbackRate, a.Terms.HoldbackCap = 0, ""
	last, ok, err := Next(a, a.Unbilled(), on, "")
	if err != nil {
		return nil, err
	}
	if ok {
		docs = append(docs, last)
	}
	return docs, nil
}
