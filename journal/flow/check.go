package flow

import (
	"context"
	"fmt"
	"strings"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// Fault is one thing that [Steps.Check] found to be wrong.
type Fault struct {
	Build   journal.BuildID `json:"build,omitempty"`
	Subject string          `json:"subject"` // id or hash of what is wrong
	Text    string          `json:"text"`    // one sentence
}

// Checked counts what [Steps.Check] looked at.
type Checked struct {
	Builds      int `json:"builds"`
	Photos      int `json:"photos"`
	Revisions   int `json:"revisions"`
	Documents   int `json:"documents"`
	Events      int `json:"events"`
	Checkpoints int `json:"checkpoints"` // of the proof log
	Kept        int `json:"kept"`        // checkpoints that somebody kept outside the database
}

// fault makes a fault of a sentence, which may begin with a small letter.
func fault(b journal.BuildID, subject, text string, args ...any) Fault {
	text = fmt.Sprintf(text, args...)
	return Fault{b, subject, strings.ToUpper(text[:1]) + text[1:]}
}

// Check looks for anything that breaks a promise: a proof log that is not what
// its checkpoints were given out for, nor a continuation of those that somebody
// kept; decisions, revisions, invoices, payments, closes and uses of allowances
// that are not what the log says of them; originals that are missing or changed
// (through verify, which re-reads one by its hash), statements that do not add
// up, or are not what the record makes of them, stages closed and not billed or billed twice, gaps in the numbers of
// invoices, papers whose bytes do not match their hash.
//
// The faults of the log come first, in its order, so the first fault names the
// first bad place there. It changes nothing. err means that the check itself
// could not be finished; faults holds what was found until then.
func (s *Steps) Check(ctx context.Context, verify func(sha256 string) error, kept ...Kept) (faults []Fault, n Checked, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		add := func(b journal.BuildID, subject, text string, args ...any) {
			faults = append(faults, fault(b, subject, text, args...))
		}
		inLog, said, err := checkLog(ctx, r, &n, kept)
		if err != nil {
			return err
		}
		faults = append(faults, inLog...)
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		for _, b := range builds {
			n.Builds++
			if err := checkRows(r, said, b.ID, add); err != nil {
				return err
			}
		}
		checkGone(said, add)
		for _, b := range builds {
			if err := checkPapers(r, said, b, &n, add); err != nil {
				return err
			}
		}
		for _, b := range builds {
			if err := s.checkMoney(r, b, said, &n, add); err != nil {
				return err
			}
		}
		if err := checkNumbers(r, add); err != nil {
			return err
		}
		return r.AllPhotos(func(p journal.Photo) error {
			n.Photos++
			if err := verify(p.SHA256); err != nil {
				add(p.BuildID, p.SHA256, "The original of photo %s is not what was stored: %v.", p.ID, err)
			}
			return ctx.Err()
		})
	})
	return faults, n, err
}

func checkNumbers(r Reads, add func(journal.BuildID, string, string, ...any)) error {
	for _, kind := range []billing.DocumentKind{billing.Invoice, billing.CreditMemo, billing.HoldbackRelease} {
		numbers, err := r.Numbers(kind)
		if err != nil {
			return err
		}
		for i, number := range numbers {
			if number != i+1 {
				add("", fmt.Sprint(number), "The numbers of the kind %q have a gap or a double before %d.", kind, number)
				break
			}
		}
	}
	return nil
}

func (s *Steps) checkMoney(r Reads, b journal.Build, said *said, n *Checked, add func(journal.BuildID, string, string, ...any)) error {
	acc, err := s.account(r, b)
	if err != nil {
		return err
	}
	if err := billing.StatementOf(acc).Check(); err != nil {
		add(b.ID, string(b.ID), "The statement of %s does not add up: %v", b.Nickname, err)
	}
	checkFromLog(r, b, acc, said.money[b.ID], add)
	billed, ever, everOn := map[string]int{}, map[string]bool{}, map[string]bool{}
	for _, d := range acc.Documents {
		n.Documents++
		if d.Subtotal+d.Tax != d.DepositCredit+d.Holdback+d.Payable {
			add(b.ID, d.ID, "The figures of %s do not add up.", d.Name())
		}
		for _, c := range d.Charges {
			if d.Cancels == "" {
				billed[c.Ref]++
				ever[c.Ref], everOn[c.StageID] = true, true
			} else {
				billed[c.Ref]--
			}
		}
	}
	for ref, times := range billed {
		if times > 1 {
			add(b.ID, ref, "%s was billed %d times.", ref, times)
		}
	}
	stages, err := r.Stages(b.ID)
	if err != nil {
		return err
	}
	for _, st := range stages {
		billed := ever["stage:"+string(st.ID)]
		due := st.Value != (journal.Split{})
		if st.Metered { // its value is only a ceiling; what is billed is the logged work
			m, _ := billing.MeteringOf(acc, string(st.ID))
			billed, due = everOn[string(st.ID)], m.Worked > m.Beyond()
		}
		if st.State == journal.Closed && st.DroppedBy == "" && due && !billed { // one taken back bills with the next
			add(b.ID, string(st.ID), "%s is closed and was not billed.", st.Name)
		}
	}
	return nil
}

func checkPapers(r Reads, said *said, b journal.Build, n *Checked, add func(journal.BuildID, string, string, ...any)) error {
	papers, err := r.Papers(b.ID)
	if err != nil {
		return err
	}
	for _, p := range papers {
		revisions, err := r.Revisions(p.ID)
		if err != nil {
			return err
		}
		hashes := map[int]string{}
		for _, rev := range revisions {
			n.Revisions++
			hashes[rev.Number] = signoff.Hash(rev.Bytes)
			if hashes[rev.Number] != rev.SHA256 {
				add(b.ID, string(p.ID), "revision %d of %s does not match its hash.", rev.Number, paperName(p))
			}
			if _, err := signoff.ParseSheet(rev.Bytes); err != nil {
				add(b.ID, string(p.ID), "revision %d of %s cannot be read: %v.", rev.Number, paperName(p), err)
			}
		}
		if p.Revision != len(revisions) {
			add(b.ID, string(p.ID), "%s says it has %d revisions, and %d are kept.", paperName(p), p.Revision, len(revisions))
		}
		d, decided, err := absent(r.Decision(p.ID))
		if err != nil {
			return err
		}
		if decided != (p.State == signoff.Signed || p.State == signoff.Declined) || decided && string(d.Outcome) != string(p.State) {
			add(b.ID, string(p.ID), "%s stands as %s, and its decision does not say so.", paperName(p), p.State)
		}
		if decided && hashes[d.Revision] != d.SHA256 {
			add(b.ID, string(p.ID), "the decision on %s is about other bytes than are kept.", paperName(p))
		}
	}
	return checkPasskeys(r, said, b, papers, add)
}
