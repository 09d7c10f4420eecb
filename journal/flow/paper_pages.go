package flow

import (
	"context"
	"reflect"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// asOwnersSee leaves out what the shop is still working on. What it returns is
// to be shown, never to be saved.
func asOwnersSee(p signoff.Paper) signoff.Paper {
	p.Draft, p.EntryID = signoff.Draft{}, ""
	return p
}

// PaperView is everything a paper's page shows.
type PaperView struct {
	Build     journal.Build
	Paper     signoff.Paper
	Sheet     signoff.Sheet // the last revision; zero before the first sending
	Revisions []signoff.Revision
	Decision  *signoff.Decision
	Questions []signoff.Question
	Names     map[journal.PersonID]string // of everybody named in it
	Stages    []journal.Stage
	Parties   []Party        // current owners and delegates who can sign in
	Find      *journal.Entry // the find it comes from, for the shop
	CanDecide bool
	Consent   *signoff.Consent // the reader's, if in force

	Confirmation *signoff.Confirmation // of an agreement by phone
	CanConfirm   bool
	Postings     []signoff.Posting         // of the last revision; for the shop
	ByPost       map[journal.PersonID]bool // parties who take papers by post; for the shop
}

// Party is a person with their part in a build.
type Party struct {
	Member journal.Member
	Person journal.Person
}

// SHA256 returns the hash of the last revision; "" before the first.
func (v PaperView) SHA256() string {
	if n := len(v.Revisions); n > 0 {
		return v.Revisions[n-1].SHA256
	}
	return ""
}

// Earlier returns the revisions that were replaced, newest first.
func (v PaperView) Earlier() ([]signoff.Sheet, error) {
	var sheets []signoff.Sheet
	for i := len(v.Revisions) - 2; i >= 0; i-- {
		sheet, err := signoff.ParseSheet(v.Revisions[i].Bytes)
		if err != nil {
			return nil, err
		}
		sheets = append(sheets, sheet)
	}
	return sheets, nil
}

// Changed reports whether the draft differs from the last revision.
func (v PaperView) Changed() bool {
	if v.Paper.Revision == 0 {
		return false
	}
	return !reflect.DeepEqual(draftOf(v.Sheet), v.Paper.Draft)
}

// Standing says, as [Steps.Decide] would, why a decision on what a page showed
// would not be recorded; nil when it would.
func (v PaperView) Standing(in DecideInput) error {
	if v.Decision != nil {
		if v.Decision.Outcome == in.Outcome && v.Decision.Revision == in.Revision {
			return nil
		}
		return alreadyDecided(*v.Decision)
	}
	if err := standing(v.Paper, in); err != nil {
		return err
	}
	if v.SHA256() != in.SHA256 {
		return notAsShown()
	}
	return nil
}

// PaperPage gathers the page of one paper.
func (s *Steps) PaperPage(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (v PaperView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		var member *journal.Member
		if v.Build, member, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Paper, err = s.paperOf(r, a, build, paper); err != nil {
			return err
		}
		if v.Revisions, err = r.Revisions(paper); err != nil {
			return err
		}
		if v.Paper.Revision > 0 {
			if v.Sheet, err = sheetOf(r, v.Paper); err != nil {
				return err
			}
		}
		d, decided, err := absent(r.Decision(paper))
		if err != nil {
			return err
		}
		if decided {
			v.Decision = &d
		}
		if err := v.addConfirmation(r, a, member); err != nil {
			return err
		}
		if v.Questions, err = r.Questions(paper); err != nil {
			return err
		}
		consent, ok, err := absent(r.Consent(a.Person.ID))
		if err != nil {
			return err
		}
		if ok {
			v.Consent = &consent
		}
		v.CanDecide = journal.CanDecide(a.Person, member)
		if !a.Person.Role.Staff() {
			v.Paper = asOwnersSee(v.Paper)
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		return s.paperParties(r, a, &v)
	})
	return v, err
}

// addConfirmation adds what stands about an agreement by phone.
func (v *PaperView) addConfirmation(r Reads, a Actor, member *journal.Member) error {
	if v.Decision == nil || v.Decision.Manner != signoff.ByPhone {
		return nil
	}
	c, said, err := absent(r.Confirmation(v.Paper.ID))
	if said {
		v.Confirmation = &c
	}
	v.CanConfirm = !said && canConfirm(a, member, *v.Decision)
	return err
}

// addPostings adds to whom the last revision goes by post.
func (v *PaperView) addPostings(r Reads) error {
	all, err := r.Postings(v.Paper.ID)
	if err != nil {
		return err
	}
	for _, x := range all {
		if x.Revision == v.Paper.Revision {
			v.Postings = append(v.Postings, x)
		}
	}
	v.ByPost = map[journal.PersonID]bool{}
	for _, p := range v.Parties {
		if v.ByPost[p.Person.ID], err = byPost(r, p.Person.ID); err != nil {
			return err
		}
	}
	return nil
}

// paperParties looks up the people of a paper's page, and for the shop its find.
func (s *Steps) paperParties(r Reads, a Actor, v *PaperView) error {
	owners, members, err := ownersOf(r, v.Build.ID)
	if err != nil {
		return err
	}
	for i := range owners {
		v.Parties = append(v.Parties, Party{Member: members[i], Person: owners[i]})
	}
	if v.Paper.EntryID != "" && a.Person.Role.Staff() {
		e, err := r.Entry(v.Build.ID, v.Paper.EntryID)
		if err != nil {
			return err
		}
		v.Find = &e
	}
	if a.Person.Role.Staff() {
		if err := v.addPostings(r); err != nil {
			return err
		}
	}
	ids := append(peopleOf(v.Questions), v.Paper.CreatedBy)
	for _, rev := range v.Revisions {
		ids = append(ids, rev.SentBy)
	}
	if v.Decision != nil {
		ids = append(ids, v.Decision.PersonID, v.Decision.RecordedBy)
	}
	v.Names = map[journal.PersonID]string{}
	return nameAll(r, v.Names, ids)
}

func peopleOf(questions []signoff.Question) []journal.PersonID {
	var ids []journal.PersonID
	for _, q := range questions {
		ids = append(ids, q.AskedBy, q.AnsweredBy)
	}
	return ids
}

// PaperLine is one paper in a list.
type PaperLine struct {
	Paper    signoff.Paper
	Sheet    signoff.Sheet // last revision; zero for drafts
	Decision *signoff.Decision
	SentAt   time.Time // of the last revision; zero for drafts
	Open     int       // unanswered questions
}

// PapersOf lists a build's papers, newest first; drafts for the shop only.
func (s *Steps) PapersOf(ctx context.Context, a Actor, build journal.BuildID) (b journal.Build, lines []PaperLine, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if b, _, err = readable(r, a, build); err != nil {
			return err
		}
		lines, err = s.paperLines(r, a, build)
		return err
	})
	return b, lines, err
}

func (s *Steps) paperLines(r Reads, a Actor, build journal.BuildID) ([]PaperLine, error) {
	papers, err := r.Papers(build)
	if err != nil {
		return nil, err
	}
	slices.Reverse(papers)
	var lines []PaperLine
	for _, p := range papers {
		line := PaperLine{Paper: p}
		if !a.Person.Role.Staff() {
			if p.Revision == 0 {
				continue
			}
			line.Paper = asOwnersSee(p)
		}
		if p.Revision > 0 {
			rev, err := r.Revision(p.ID, p.Revision)
			if err != nil {
				return nil, err
			}
			if line.Sheet, err = signoff.ParseSheet(rev.Bytes); err != nil {
				return nil, err
			}
			line.SentAt = rev.SentAt
		}
		d, decided, err := absent(r.Decision(p.ID))
		if err != nil {
			return nil, err
		}
		if decided {
			line.Decision = &d
		}
		questions, err := r.Questions(p.ID)
		if err != nil {
			return nil, err
		}
		for _, q := range questions {
			if q.AnsweredAt.IsZero() {
				line.Open++
			}
		}
		lines = append(lines, line)
	}
	return lines, nil
}

// RevisionOf returns one frozen revision, as kept and as read.
func (s *Steps) RevisionOf(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, number int) (p signoff.Paper, rev signoff.Revision, sheet signoff.Sheet, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if p, err = s.paperOf(r, a, build, paper); err != nil {
			return err
		}
		if rev, err = r.Revision(paper, number); err != nil {
			return err
		}
		sheet, err = signoff.ParseSheet(rev.Bytes)
		return err
	})
	return p, rev, sheet, err
}
