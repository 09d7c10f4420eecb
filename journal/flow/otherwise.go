package flow

import (
	"context"
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// Otherwise is a decision that did not come through the paper's page: what the
// office saw of the paper, who decided, and what.
type Otherwise struct {
	Revision  int
	SHA256    string
	Outcome   signoff.Outcome
	PersonID  journal.PersonID // a current owner or delegate of the build
	PartsBack bool
	Reason    string // of declining
}

// OnPaper is a decision signed by hand on the printed paper.
type OnPaper struct {
	Otherwise
	Name     string       // as signed
	On       journal.Date // the day that stands on it
	ScanName string
	Scan     []byte // PDF, JPEG or PNG
}

// ByPhone is a decision that was said by phone.
type ByPhone struct {
	Otherwise
	At        time.Time     // of the call
	Phone     string        // the number called
	SpokeWith string        // who spoke for the shop
	Delta     journal.Cents // read out: this change, with tax
	Total     journal.Cents // read out: the new total, with tax
}

// RecordOnPaper records a decision that was signed by hand, with a scan of the
// signed sheet. Office only; any kind of paper that is out.
//
// It returns [journal.Invalid] beside person, name, signed_on, reason and scan;
// otherwise as [Steps.Decide].
func (s *Steps) RecordOnPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, in OnPaper) (d signoff.Decision, err error) {
	return s.recordOtherwise(ctx, a, build, paper, in.Otherwise, func(tx Tx, m journal.Member, who journal.Person, rev signoff.Revision, sheet signoff.Sheet, d *signoff.Decision) error {
		bad := journal.Problems{}
		journal.CheckLine(bad, "name", in.Name, 2, 120, "Please type the name as it is signed.")
		kind := signoff.ScanType(in.Scan)
		switch {
		case len(in.Scan) == 0:
			bad.Add("scan", "Please choose the scan of the signed sheet: a PDF, or a photo of it.")
		case len(in.Scan) > signoff.MaxScanBytes:
			bad.Add("scan", "The scan is above 10 MB; please scan it in grey or in fewer dots.")
		case kind == "":
			bad.Add("scan", "The scan is no PDF, JPEG or PNG file; please choose another.")
		}
		sentOn := journal.Date(sheet.SentOn)
		if in.On.IsZero() || in.On > s.today(tx) || in.On < sentOn {
			bad.Add("signed_on", "Please give the day that stands on it: from the sending on %s to today.", sentOn)
		}
		if err := bad.Err(); err != nil {
			return err
		}
		scan := signoff.Scan{
			ID: journal.ScanID(s.NewID()), PaperID: paper, Revision: rev.Number, Name: scanName(in.ScanName), ContentType: kind,
			SHA256: signoff.Hash(in.Scan), Data: in.Scan, ByID: a.Person.ID, At: s.at(),
		}
		if err := tx.AddScan(scan); err != nil {
			return err
		}
		day := in.On.Time()
		d.Manner, d.ScanID, d.TypedName = signoff.OnPaper, scan.ID, in.Name
		d.HappenedAt = time.Date(day.Year(), day.Month(), day.Day(), 12, 0, 0, 0, sheet.Shop.Location()).UTC()
		d.Authenticated = "signed by hand; the scan has the SHA-256 " + scan.SHA256
		return s.record(tx, a, build, "scan kept", string(paper), map[string]any{"scan": scan.ID, "revision": rev.Number, "sha256": scan.SHA256, "bytes": len(in.Scan)})
	})
}

// scanName is the file name to keep, cut to what a page shows.
func scanName(name string) string {
	runes := []rune(journal.CleanLine(name))
	if len(runes) > 120 {
		runes = runes[len(runes)-120:]
	}
	if len(runes) == 0 {
		return "scan"
	}
	return string(runes)
}

// RecordByPhone records a decision that was said by phone, after the paper was
// sent, and asks the owners to confirm it. Office only; only for change orders
// and date changes that give nobody a power.
//
// What is kept is what C.R.S. 42-9-105 (Colorado) and the notices of the
// Californian trade ask for: date, time and manner, the number called, the names
// of who gave and who took the consent, the added amount and the new total.
//
// It returns [journal.Invalid] beside person, called_at, phone, spoke_with, total
// and reason; otherwise as [Steps.Decide].
func (s *Steps) RecordByPhone(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, in ByPhone) (d signoff.Decision, err error) {
	return s.recordOtherwise(ctx, a, build, paper, in.Otherwise, func(_ Tx, m journal.Member, who journal.Person, rev signoff.Revision, sheet signoff.Sheet, d *signoff.Decision) error {
		if !sheet.ByPhone() {
			return journal.Errorf(journal.Conflict, "This paper has to be signed; only change orders and date changes can be agreed by phone.")
		}
		bad := journal.Problems{}
		journal.CheckLine(bad, "phone", in.Phone, 5, 40, "Please type the number that was called.")
		journal.CheckLine(bad, "spoke_with", in.SpokeWith, 2, 120, "Please type who called for the shop.")
		if in.At.IsZero() || in.At.After(s.at()) || in.At.Before(rev.SentAt.Truncate(time.Minute)) {
			bad.Add("called_at", "Please give the time of the call: after the paper was sent, and not in the future.")
		}
		if in.Delta != sheet.DeltaWithTax || in.Total != sheet.TotalAfter {
			bad.Add("total", "What was read out is not what the paper says: %s, and a new total of %s. Nothing was recorded.", sheet.DeltaWithTax.Signed(), sheet.TotalAfter)
		}
		if err := bad.Err(); err != nil {
			return err
		}
		amount, total := sheet.DeltaWithTax.Signed()+" "+sheet.Currency, sheet.TotalAfter.String()+" "+sheet.Currency
		d.Manner, d.HappenedAt, d.Phone, d.SpokeWith, d.TypedName = signoff.ByPhone, in.At.UTC(), in.Phone, in.SpokeWith, who.Name
		d.Sentence = fmt.Sprintf("%s agreed by phone to %s, as it was read out: %s, which makes the new total %s.", who.Name, sheet.Name(), amount, total)
		if in.Outcome == signoff.OutcomeDeclined {
			d.Sentence = fmt.Sprintf("%s declined %s by phone, as it was read out: %s, which would have made the new total %s.", who.Name, sheet.Name(), amount, total)
		}
		d.Authenticated = "said by phone, called at " + in.Phone
		return nil
	})
}

// recordOtherwise keeps a decision that the office records for a person; fill
// completes it after it was checked that the paper is out as the office saw it.
func (s *Steps) recordOtherwise(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, in Otherwise,
	fill func(tx Tx, m journal.Member, who journal.Person, rev signoff.Revision, sheet signoff.Sheet, d *signoff.Decision) error) (d signoff.Decision, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		existing, decided, err := absent(tx.Decision(paper))
		if err != nil {
			return err
		}
		if decided {
			return alreadyDecided(existing)
		}
		member, known, err := absent(tx.Member(build, in.PersonID))
		if err != nil {
			return err
		}
		if !known {
			return journal.Problems{"person": "Please choose who decided: an owner of this build, or their delegate."}.Err()
		}
		who, err := tx.Person(in.PersonID)
		if err != nil {
			return err
		}
		rev, sheet, err := s.outFor(tx, p, member, DecideInput{Revision: in.Revision, SHA256: in.SHA256})
		if journal.CodeOf(err) == journal.Forbidden {
			return journal.Problems{"person": "Only an owner can decide this paper; please choose the owner."}.Err()
		}
		if err != nil {
			return err
		}
		sentence := sheet.Act
		bad := journal.Problems{}
		switch in.Outcome {
		case signoff.OutcomeSigned:
			if err := s.canTakeEffect(tx, b, p, sheet); err != nil {
				return err
			}
		case signoff.OutcomeDeclined:
			sentence = sheet.Decline
			journal.CheckText(bad, "reason", in.Reason, 1, 2000, "Please say in a few words why they decline.")
		default:
			bad.Add("outcome", "Please choose agreed or declined.")
		}
		if err := bad.Err(); err != nil {
			return err
		}
		d = signoff.Decision{
			PaperID: p.ID, Revision: rev.Number, SHA256: rev.SHA256, Outcome: in.Outcome, PersonID: who.ID, As: member.As, Sentence: sentence,
			Reason: in.Reason, PartsBack: in.PartsBack, At: s.at(), Zone: sheet.Shop.Zone, Address: a.Address, UserAgent: a.UserAgent,
			RecordedBy: a.Person.ID, CopyTo: who.Email,
		}
		if err := fill(tx, member, who, rev, sheet, &d); err != nil {
			return err
		}
		return s.conclude(tx, a, b, p, rev, sheet, &d)
	})
	if err != nil {
		return signoff.Decision{}, err
	}
	return d, nil
}

// ScanOf returns the scan of the signed sheet of a paper, for whoever may read
// the paper; [journal.NotFound] if it was not signed by hand.
func (s *Steps) ScanOf(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (scan signoff.Scan, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		p, err := s.paperOf(r, a, build, paper)
		if err != nil {
			return err
		}
		d, decided, err := absent(r.Decision(p.ID))
		if err != nil {
			return err
		}
		if !decided || d.ScanID == "" {
			return journal.Errorf(journal.NotFound, "There is no scan of this paper.")
		}
		scan, err = r.ScanOf(p.ID, d.ScanID)
		return err
	})
	return scan, err
}

// Confirm records what an owner says to a paper that was agreed by phone: that it
// is so, or, with a text, that it is not. Once; the same again changes nothing.
// A delegate may answer for what they said themselves.
//
// It returns [journal.Invalid] beside name and text, and [journal.Conflict] when
// nothing was agreed by phone or the other answer stands.
func (s *Steps) Confirm(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, confirmed bool, name, text string) error {
	return s.write(ctx, func(tx Tx) error {
		b, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		d, decided, err := absent(tx.Decision(paper))
		if err != nil {
			return err
		}
		if !decided || d.Manner != signoff.ByPhone {
			return journal.Errorf(journal.Conflict, "Nothing was agreed by phone here, so there is nothing to confirm.")
		}
		if !canConfirm(a, member, d) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner, or who spoke on the phone, can confirm this.")
		}
		before, said, err := absent(tx.Confirmation(paper))
		if err != nil {
			return err
		}
		if said {
			if before.Confirmed == confirmed {
				return nil
			}
			return journal.Errorf(journal.Conflict, "%s has answered this before, and that stands. Please call the shop.", before.TypedName)
		}
		bad := journal.Problems{}
		journal.CheckLine(bad, "name", name, 2, 120, "Please type your name, as your signature.")
		c := signoff.Confirmation{
			PaperID: paper, Confirmed: confirmed, PersonID: a.Person.ID, TypedName: name, Sentence: signoff.ConfirmSentence,
			At: s.at(), Authenticated: a.Session.How, Address: a.Address, UserAgent: a.UserAgent,
		}
		kind := "phone agreement confirmed"
		if !confirmed {
			c.Sentence, c.Text, kind = signoff.DisputeSentence, text, "phone agreement disputed"
			journal.CheckText(bad, "text", text, 1, 2000, "Please say what is not so, in a few words.")
		}
		if err := bad.Err(); err != nil {
			return err
		}
		if err := tx.AddConfirmation(c); err != nil {
			return err
		}
		err = s.record(tx, a, build, kind, string(paper), map[string]any{
			"number": p.Number, "sha256": d.SHA256, "name": name, "sentence": c.Sentence, "text": c.Text, "authenticated": c.Authenticated,
		})
		if err != nil {
			return err
		}
		sender, err := tx.Person(d.RecordedBy)
		if err != nil || !sender.Active() {
			return err
		}
		sheet, err := sheetOf(tx, p)
		if err != nil {
			return err
		}
		_, err = s.post(tx, b.ID, sender, ConfirmationLetter{To: sender, Sheet: sheet, Confirmation: c, Path: paperPath(p)})
		return err
	})
}

func canConfirm(a Actor, m *journal.Member, d signoff.Decision) bool {
	return m != nil && a.Person.Active() && (m.As == journal.AsOwner || m.PersonID == d.PersonID)
}
