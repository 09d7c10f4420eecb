package flow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// Notices that stand on every change order above the signature.
const (
	WorkNotice  = "Nothing is done or billed for this until you agree."
	LegalNotice = "Local law decides what must be signed and how; this page is no legal advice."
)

// NewPaper begins a change order, from a find when entry is not "".
func (s *Steps) NewPaper(ctx context.Context, a Actor, build journal.BuildID, entry journal.EntryID) (p signoff.Paper, err error) {
	if err := asOffice(a); err != nil {
		return p, err
	}
	err = s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		if b.State == journal.Scoping {
			return journal.Errorf(journal.Conflict, "The agreement of %s is not recorded yet; until then, change the stage values in its scope.", b.Nickname)
		}
		p = signoff.Paper{
			ID: journal.PaperID(s.NewID()), BuildID: build, Kind: signoff.ChangeOrder, State: signoff.Draft,
			EntryID: entry, CreatedBy: a.Person.ID, CreatedAt: s.at(), Version: firstVersion,
		}
		if entry != "" {
			e, err := tx.Entry(build, entry)
			if err != nil {
				return err
			}
			p.Draft.Reason, p.Draft.StageID = e.Text, e.StageID
			for _, ph := range e.Photos {
				p.Draft.Photos = append(p.Draft.Photos, signoff.Evidence{PhotoID: ph.PhotoID, Caption: ph.Caption})
			}
			if len(p.Draft.Photos) > signoff.MaxEvidence {
				p.Draft.Photos = p.Draft.Photos[:signoff.MaxEvidence]
			}
			if err := fillHashes(tx, build, &p.Draft); err != nil {
				return err
			}
		}
		if err := tx.AddPaper(p); err != nil {
			return err
		}
		return s.record(tx, a, build, "paper begun", string(p.ID), map[string]any{"entry": entry})
	})
	return p, err
}

// SavePaper keeps what the office typed, complete or not; version is the one
// the form was made from. A sent revision stands until the paper is sent again.
// Decided papers are refused with [journal.Conflict].
func (s *Steps) SavePaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, version int, change signoff.Change) (p signoff.Paper, err error) {
	if err := asOffice(a); err != nil {
		return p, err
	}
	err = s.write(ctx, func(tx Tx) error {
		if p, err = s.paperOf(tx, a, build, paper); err != nil {
			return err
		}
		if err := undecided(tx, p); err != nil {
			return err
		}
		if p.Version != version {
			return staleDraft()
		}
		if err := settle(tx, build, &change); err != nil {
			return err
		}
		p.Draft = change
		if err := tx.SavePaper(p); err != nil {
			return err
		}
		p.Version++
		return nil
	})
	return p, err
}

// settle completes a change from the database: the photos' hashes and the
// labour lines' amounts. The stage and the photos must be this build's.
func settle(r Reads, build journal.BuildID, c *signoff.Change) error {
	if c.StageID != "" {
		if _, err := r.Stage(build, c.StageID); err != nil {
			return journal.Problems{"stage": "Please choose one of this build's stages."}.Err()
		}
	}
	for i, l := range c.Lines {
		if l.Kind == journal.Labour {
			c.Lines[i].Amount = signoff.LabourAmount(l.Minutes, l.Rate)
		}
	}
	return fillHashes(r, build, c)
}

func fillHashes(r Reads, build journal.BuildID, c *signoff.Change) error {
	var ids []journal.PhotoID
	for _, e := range c.Photos {
		ids = append(ids, e.PhotoID)
	}
	photos, err := r.Photos(build, ids)
	if err != nil {
		return err
	}
	for i, e := range c.Photos {
		photo, ok := photos[e.PhotoID]
		if !ok {
			return journal.Problems{"photos": "One of these photos is not in this build; please choose again."}.Err()
		}
		c.Photos[i].SHA256 = photo.SHA256
	}
	return nil
}

func staleDraft() error {
	return journal.Errorf(journal.Conflict, "Somebody else saved this paper while you were working on it. What you typed is still here; please compare before saving again.")
}

// PreviewPaper returns the sheet as sending it now would freeze it. missing
// holds what must be completed first.
func (s *Steps) PreviewPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (p signoff.Paper, sheet signoff.Sheet, missing error, err error) {
	if err := asOffice(a); err != nil {
		return p, sheet, nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if p, err = s.paperOf(r, a, build, paper); err != nil {
			return err
		}
		missing = readyToSend(r, p)
		sheet, err = s.freeze(r, a.Person.Name, p, p.Draft)
		return err
	})
	return p, sheet, missing, err
}

// readyToSend says what stands against sending a paper.
func readyToSend(r Reads, p signoff.Paper) error {
	if err := p.Draft.Validate(); err != nil {
		return err
	}
	owners, _, err := ownersOf(r, p.BuildID)
	if err != nil {
		return err
	}
	if len(owners) == 0 {
		return journal.Errorf(journal.Conflict, "Nobody can sign this yet: the build has no owner who can sign in. Please add one first.")
	}
	return nil
}

// SendPaper freezes the draft as the next revision and tells the owners.
// version is the one the office saw in the preview, so that what is sent is
// what was looked at, and a double tap sends once.
func (s *Steps) SendPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, version int) (p signoff.Paper, err error) {
	if err := asOffice(a); err != nil {
		return p, err
	}
	err = s.write(ctx, func(tx Tx) error {
		if p, err = s.paperOf(tx, a, build, paper); err != nil {
			return err
		}
		if err := undecided(tx, p); err != nil {
			return err
		}
		if p.Version != version {
			return journal.Errorf(journal.Conflict, "This paper was changed or sent a moment ago. Please look at it again before sending.")
		}
		if err := readyToSend(tx, p); err != nil {
			return err
		}
		if p.Number == 0 {
			if p.Number, err = nextPaperNumber(tx, p); err != nil {
				return err
			}
		}
		p, err = s.sendRevision(tx, a, p, p.Draft, "")
		return err
	})
	return p, err
}

func nextPaperNumber(r Reads, p signoff.Paper) (int, error) {
	papers, err := r.Papers(p.BuildID)
	if err != nil {
		return 0, err
	}
	last := 0
	for _, other := range papers {
		if other.Kind == p.Kind {
			last = max(last, other.Number)
		}
	}
	return last + 1, nil
}

// sendRevision freezes change as the paper's next revision and tells the
// owners. renewed says why when nobody asked for it.
func (s *Steps) sendRevision(tx Tx, a Actor, p signoff.Paper, change signoff.Change, renewed string) (signoff.Paper, error) {
	// freeze counts one revision on from p.Revision.
	sentBy := a.Person.Name
	if renewed != "" {
		before, err := sheetOf(tx, p)
		if err != nil {
			return p, err
		}
		sentBy = before.SentBy
	}
	sheet, err := s.freeze(tx, sentBy, p, change)
	if err != nil {
		return p, err
	}
	text, err := sheet.Bytes()
	if err != nil {
		return p, err
	}
	rev := signoff.Revision{PaperID: p.ID, Number: sheet.Revision, Bytes: text, SHA256: signoff.Hash(text), SentAt: s.at(), SentBy: a.Person.ID}
	if renewed != "" {
		rev.SentBy = ""
	}
	if err := tx.AddRevision(rev); err != nil {
		return p, err
	}
	p.Revision, p.State = rev.Number, signoff.Sent
	if err := tx.SavePaper(p); err != nil {
		return p, err
	}
	p.Version++
	err = s.record(tx, a, p.BuildID, "paper sent", string(p.ID), map[string]any{
		"kind": p.Kind, "number": p.Number, "revision": rev.Number, "sha256": rev.SHA256, "renewed": renewed,
	})
	if err != nil {
		return p, err
	}
	owners, _, err := ownersOf(tx, p.BuildID)
	if err != nil {
		return p, err
	}
	for _, owner := range owners {
		letter := PaperSentLetter{ShopName: sheet.Shop.Name, To: owner, Sheet: sheet, Path: paperPath(p), Renewed: renewed}
		if _, err := s.post(tx, p.BuildID, owner, letter); err != nil {
			return p, err
		}
	}
	return p, nil
}

func paperPath(p signoff.Paper) string {
	return fmt.Sprintf("/builds/%s/papers/%s", p.BuildID, p.ID)
}

// freeze makes the sheet that sending change now as the next revision of p
// would show.
func (s *Steps) freeze(r Reads, sentBy string, p signoff.Paper, change signoff.Change) (signoff.Sheet, error) {
	b, err := r.Build(p.BuildID)
	if err != nil {
		return signoff.Sheet{}, err
	}
	shop, err := r.Shop()
	if err != nil {
		return signoff.Sheet{}, err
	}
	acc, err := s.account(r, b)
	if err != nil {
		return signoff.Sheet{}, err
	}
	owners, _, err := ownersOf(r, b.ID)
	if err != nil {
		return signoff.Sheet{}, err
	}
	number := p.Number
	if number == 0 { // a preview before the first sending
		if number, err = nextPaperNumber(r, p); err != nil {
			return signoff.Sheet{}, err
		}
	}
	now := s.at()
	sheet := signoff.Sheet{
		Format: signoff.Format, Kind: p.Kind, Number: number, Revision: p.Revision + 1,
		SentAt: now.Format(time.RFC3339), SentOn: string(journal.DateOf(now, shop.Location())), SentBy: sentBy,
		Shop:  signoff.SheetShop{Name: shop.Name, Address: shop.Address, Phone: shop.Phone, Zone: shop.Zone},
		Build: signoff.SheetBuild{ID: b.ID, Nickname: b.Nickname, Truck: b.Truck.Name(), Serial: b.Truck.Serial, Owners: append([]string{}, namesOf(owners)...)},
		Title: change.Title, Reason: change.Reason, Currency: shop.Currency,
		Photos: []signoff.SheetPhoto{}, Lines: []signoff.SheetLine{}, TaxRates: []signoff.SheetRate{},
		Days: change.Days, DateBefore: b.ReadyOn, DateAfter: b.ReadyOn,
		Act: signoff.SignSentence, Notices: []string{WorkNotice, LegalNotice},
	}
	for _, e := range change.Photos {
		sheet.Photos = append(sheet.Photos, signoff.SheetPhoto{ID: e.PhotoID, SHA256: e.SHA256, Caption: e.Caption})
	}
	for _, l := range change.Lines {
		sheet.Lines = append(sheet.Lines, signoff.SheetLine(l))
	}
	if change.StageID != "" {
		st, err := r.Stage(b.ID, change.StageID)
		if err != nil {
			return signoff.Sheet{}, err
		}
		sheet.Stage = signoff.SheetStage{ID: st.ID, Name: st.Name}
	}
	for _, k := range journal.LineKinds {
		if rate := acc.Terms.Tax.Rate(k); rate != 0 {
			sheet.TaxRates = append(sheet.TaxRates, signoff.SheetRate{Kind: k, BasisPoints: rate})
		}
	}
	if change.Days != 0 && !b.ReadyOn.IsZero() {
		sheet.DateAfter = calendar(shop).AddWorkingDays(b.ReadyOn, change.Days)
	}
	this := changeCharge(p.ID, sheet)
	sheet.AgreedBefore, _, sheet.TotalBefore = billing.Totals(acc.Agreed, acc.Terms.Tax)
	sheet.AgreedAfter, _, sheet.TotalAfter = billing.Totals(append(slices.Clone(acc.Agreed), this), acc.Terms.Tax)
	sheet.Delta = this.Split.Total()
	// The tax of the change is what it adds to the tax of the whole, so that
	// before + change = after holds to the cent on the page.
	sheet.DeltaWithTax = sheet.TotalAfter - sheet.TotalBefore
	sheet.DeltaTax = sheet.DeltaWithTax - sheet.Delta
	return sheet, nil
}

// changeOf gives back the content of a frozen sheet, to send it anew.
func changeOf(sheet signoff.Sheet) signoff.Change {
	c := signoff.Change{Title: sheet.Title, Reason: sheet.Reason, StageID: sheet.Stage.ID, Days: sheet.Days}
	for _, p := range sheet.Photos {
		c.Photos = append(c.Photos, signoff.Evidence{PhotoID: p.ID, SHA256: p.SHA256, Caption: p.Caption})
	}
	for _, l := range sheet.Lines {
		c.Lines = append(c.Lines, signoff.Line(l))
	}
	return c
}

// sheetOf reads the last frozen revision of a paper.
func sheetOf(r Reads, p signoff.Paper) (signoff.Sheet, error) {
	rev, err := r.Revision(p.ID, p.Revision)
	if err != nil {
		return signoff.Sheet{}, err
	}
	return signoff.ParseSheet(rev.Bytes)
}

// RecallPaper takes a sent paper back before it is decided.
func (s *Steps) RecallPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		if p.State == signoff.Recalled {
			return nil
		}
		if err := undecided(tx, p); err != nil {
			return err
		}
		if p.State != signoff.Sent {
			return journal.Errorf(journal.Conflict, "This paper is not out for sign-off.")
		}
		p.State = signoff.Recalled
		if err := tx.SavePaper(p); err != nil {
			return err
		}
		return s.record(tx, a, build, "paper recalled", string(p.ID), map[string]any{"number": p.Number, "revision": p.Revision})
	})
}

// paperOf returns a paper the actor may see: the shop all of them, the owner's
// side those that were sent at least once.
func (s *Steps) paperOf(r Reads, a Actor, build journal.BuildID, paper journal.PaperID) (signoff.Paper, error) {
	if _, _, err := readable(r, a, build); err != nil {
		return signoff.Paper{}, err
	}
	p, err := r.Paper(build, paper)
	if err == nil && p.Revision == 0 && !a.Person.Role.Staff() {
		return signoff.Paper{}, journal.Errorf(journal.NotFound, "There is no such paper.")
	}
	return p, err
}

// asOwnersSee leaves out what the shop is still working on. What it returns is
// to be shown, never to be saved.
func asOwnersSee(p signoff.Paper) signoff.Paper {
	p.Draft, p.EntryID = signoff.Change{}, ""
	return p
}

// undecided refuses papers that are signed or declined.
func undecided(r Reads, p signoff.Paper) error {
	d, decided, err := absent(r.Decision(p.ID))
	if err != nil {
		return err
	}
	if !decided {
		return nil
	}
	return journal.Errorf(journal.Conflict, "This paper was %s by %s and can no longer be changed. For anything further, please begin a new change order.", d.Outcome, d.TypedName)
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
	sent, draft := changeOf(v.Sheet), v.Paper.Draft
	return sent.Title != draft.Title || sent.Reason != draft.Reason || sent.StageID != draft.StageID ||
		sent.Days != draft.Days || !slices.Equal(sent.Photos, draft.Photos) || !slices.Equal(sent.Lines, draft.Lines)
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
	ids := append(peopleOf(v.Questions), v.Paper.CreatedBy)
	for _, rev := range v.Revisions {
		ids = append(ids, rev.SentBy)
	}
	if v.Decision != nil {
		ids = append(ids, v.Decision.PersonID)
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

// nameAll looks up the names of people into names, leaving out "".
func nameAll(r Reads, names map[journal.PersonID]string, ids []journal.PersonID) error {
	for _, id := range ids {
		if _, known := names[id]; known || id == "" {
			continue
		}
		p, err := r.Person(id)
		if err != nil {
			return err
		}
		names[id] = p.Name
	}
	return nil
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

// ErrConsent is returned by [Steps.Decide] when the person has not agreed to
// electronic records, or has withdrawn.
var ErrConsent = errors.New("no consent to electronic records in force")
