package flow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PrintType is the content type of a paper's print. A letter's file of this type
// without data is made when the letter is sent, from the record attached beside
// it and the decision on it; neither ever changes.
const PrintType = "application/pdf"

// PrintName is the file name of a revision's print.
func PrintName(p signoff.Paper, revision int) string {
	return fmt.Sprintf("%s-%d-revision-%d.pdf", p.Kind.Slug(), p.Number, revision)
}

// PaperKept is all that is kept of a paper that went out, for prints and
// bundles.
type PaperKept struct {
	Build        journal.Build
	Paper        signoff.Paper
	Revisions    []signoff.Revision // by number
	Decision     *signoff.Decision
	Confirmation *signoff.Confirmation
	Scan         *signoff.Scan // of a sheet signed by hand
	Questions    []signoff.Question
	Names        map[journal.PersonID]string // of everybody named in it
}

// Revision returns one revision; [journal.NotFound] if there is none of that
// number.
func (k PaperKept) Revision(number int) (signoff.Revision, error) {
	for _, rev := range k.Revisions {
		if rev.Number == number {
			return rev, nil
		}
	}
	return signoff.Revision{}, journal.Errorf(journal.NotFound, "There is no such revision.")
}

// AsDecided leaves out what was added after the decision, so that a copy of it
// is the same whenever it is made.
func (k PaperKept) AsDecided() PaperKept {
	k.Confirmation = nil
	questions := k.Questions
	k.Questions = nil
	for _, q := range questions {
		if k.Decision == nil || q.AskedAt.After(k.Decision.At) {
			continue
		}
		if q.AnsweredAt.After(k.Decision.At) {
			q.Answer, q.AnsweredBy, q.AnsweredAt = "", "", time.Time{}
		}
		k.Questions = append(k.Questions, q)
	}
	return k
}

// PaperKept gathers it; [journal.NotFound] for a paper that never went out.
func (s *Steps) PaperKept(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (k PaperKept, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		k, err = s.paperKept(r, a, build, paper)
		return err
	})
	return k, err
}

func (s *Steps) paperKept(r Reads, a Actor, build journal.BuildID, paper journal.PaperID) (k PaperKept, err error) {
	if k.Build, _, err = readable(r, a, build); err != nil {
		return k, err
	}
	if k.Paper, err = s.paperOf(r, a, build, paper); err != nil {
		return k, err
	}
	if k.Paper.Revision == 0 {
		return k, journal.Errorf(journal.NotFound, "This paper was not sent yet, so there is nothing to keep of it.")
	}
	if !a.Person.Role.Staff() {
		k.Paper = asOwnersSee(k.Paper)
	}
	if k.Revisions, err = r.Revisions(paper); err != nil {
		return k, err
	}
	if k.Questions, err = r.Questions(paper); err != nil {
		return k, err
	}
	people := peopleOf(k.Questions)
	d, decided, err := absent(r.Decision(paper))
	if err != nil {
		return k, err
	}
	if decided {
		k.Decision = &d
		people = append(people, d.PersonID, d.RecordedBy)
		if err := k.addDecided(r, d); err != nil {
			return k, err
		}
	}
	k.Names = map[journal.PersonID]string{}
	return k, nameAll(r, k.Names, people)
}

// addDecided adds what belongs to a decision.
func (k *PaperKept) addDecided(r Reads, d signoff.Decision) error {
	c, confirmed, err := absent(r.Confirmation(d.PaperID))
	if err != nil {
		return err
	}
	if confirmed {
		k.Confirmation = &c
	}
	if d.ScanID == "" {
		return nil
	}
	scan, err := r.ScanOf(d.PaperID, d.ScanID)
	k.Scan = &scan
	return err
}

// PapersKept returns the ids of a build's papers that went out, by the time they
// were begun.
func (s *Steps) PapersKept(ctx context.Context, a Actor, build journal.BuildID) (b journal.Build, ids []journal.PaperID, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if b, _, err = readable(r, a, build); err != nil {
			return err
		}
		papers, err := r.Papers(build)
		for _, p := range papers {
			if p.Revision > 0 {
				ids = append(ids, p.ID)
			}
		}
		return err
	})
	return b, ids, err
}

// LetterPaper returns the paper whose record is attached to a letter, as its
// reader may have it, and which revision it is.
func (s *Steps) LetterPaper(ctx context.Context, l journal.Letter) (a Actor, k PaperKept, revision int, err error) {
	at := slices.IndexFunc(l.Files, func(f journal.LetterFile) bool { return f.ContentType == "application/json" })
	if at < 0 {
		return a, k, 0, fmt.Errorf("flow: letter %s has no record attached", l.ID)
	}
	sheet, err := signoff.ParseSheet(l.Files[at].Data)
	if err != nil {
		return a, k, 0, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if a.Person, err = r.Person(l.PersonID); err != nil {
			return err
		}
		papers, err := r.Papers(l.BuildID)
		if err != nil {
			return err
		}
		for _, p := range papers {
			if p.Kind == sheet.Kind && p.Number == sheet.Number {
				k, err = s.paperKept(r, a, l.BuildID, p.ID)
				return err
			}
		}
		return journal.Errorf(journal.NotFound, "There is no such paper.")
	})
	if err != nil {
		return a, k, 0, err
	}
	rev, err := k.Revision(sheet.Revision)
	if err == nil && rev.SHA256 != signoff.Hash(l.Files[at].Data) {
		err = fmt.Errorf("flow: the record attached to letter %s is not that of %s", l.ID, k.Paper.ID)
	}
	return a, k, sheet.Revision, err
}
