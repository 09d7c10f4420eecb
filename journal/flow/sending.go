package flow

import (
	"context"
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
	var evidence []journal.PhotoID
	for _, e := range change.Photos {
		evidence = append(evidence, e.PhotoID)
	}
	photos, err := r.Photos(b.ID, evidence)
	if err != nil {
		return signoff.Sheet{}, err
	}
	for _, e := range change.Photos {
		sheet.Photos = append(sheet.Photos, signoff.SheetPhoto{ID: e.PhotoID, SHA256: e.SHA256, Caption: e.Caption, Shown: signoff.ShownOf(photos[e.PhotoID])})
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
