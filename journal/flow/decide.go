package flow

import (
	"context"
	"errors"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// ErrConsent is returned by [Steps.Decide] when the person has not agreed to
// electronic records, or has withdrawn.
var ErrConsent = errors.New("no consent to electronic records in force")

// DecideInput is what the owner's form sends: what they were shown, and their
// act.
type DecideInput struct {
	Revision  int
	SHA256    string
	Outcome   signoff.Outcome
	TypedName string
	Reason    string // when declining
	PartsBack bool
	Passkey   *PasskeyAnswer // nil when no passkey confirms it
}

// Decide records an owner's or delegate's decision on a paper: one, for ever.
//
// Deciding again the same way is harmless and returns the decision there is.
// Otherwise it returns [journal.Conflict] with a sentence that says what stands
// and that nothing was recorded: another decision, a later revision, a paper
// taken back. [journal.Forbidden] for people who may not decide here,
// [journal.Invalid] for name and reason, and [ErrConsent].
func (s *Steps) Decide(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, in DecideInput) (d signoff.Decision, err error) {
	err = s.write(ctx, func(tx Tx) error {
		b, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		if !journal.CanDecide(a.Person, member) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner or their delegate can decide this paper.")
		}
		existing, decided, err := absent(tx.Decision(paper))
		if err != nil {
			return err
		}
		if decided {
			d = existing
			return sameDecision(existing, a, in)
		}
		rev, sheet, err := s.outFor(tx, p, *member, in)
		if err != nil {
			return err
		}
		if err := checkAct(in); err != nil {
			return err
		}
		if in.Outcome == signoff.OutcomeSigned {
			if err := s.canTakeEffect(tx, b, p, sheet); err != nil {
				return err
			}
		}
		consent, ok, err := absent(tx.Consent(a.Person.ID))
		if err != nil {
			return err
		}
		if !ok || consent.Version != s.ConsentVersion {
			return ErrConsent
		}
		d = s.decision(a, *member, p, rev, sheet, consent, in)
		if err := s.confirmByPasskey(tx, &d, in.Passkey); err != nil {
			return err
		}
		return s.conclude(tx, a, b, p, rev, sheet, &d)
	})
	if err != nil {
		return signoff.Decision{}, err
	}
	return d, nil
}

// outFor returns the revision that is out, if it is the one that was shown and the
// member may decide it.
func (s *Steps) outFor(r Reads, p signoff.Paper, m journal.Member, in DecideInput) (rev signoff.Revision, sheet signoff.Sheet, err error) {
	if err := standing(p, in); err != nil {
		return rev, sheet, err
	}
	if rev, err = r.Revision(p.ID, p.Revision); err != nil {
		return rev, sheet, err
	}
	if rev.SHA256 != in.SHA256 {
		return rev, sheet, notAsShown()
	}
	if sheet, err = signoff.ParseSheet(rev.Bytes); err != nil {
		return rev, sheet, err
	}
	if sheet.OwnerOnly() && m.As != journal.AsOwner {
		return rev, sheet, journal.Errorf(journal.Forbidden, "Only the truck's owner can decide this paper: it is the agreement itself, or it lets somebody decide or spend in their place.")
	}
	return rev, sheet, nil
}

// conclude keeps a decision, however it was made: in the proof log, with copies
// to everybody, and with all that signing does.
func (s *Steps) conclude(tx Tx, a Actor, b journal.Build, p signoff.Paper, rev signoff.Revision, sheet signoff.Sheet, d *signoff.Decision) error {
	receipt, err := s.recordDecision(tx, a, b.ID, p, sheet, *d)
	if err != nil {
		return err
	}
	if err := s.copies(tx, d, sheet, rev, p, receipt); err != nil {
		return err
	}
	if err := tx.AddDecision(*d); err != nil {
		return err
	}
	p.State = signoff.State(d.Outcome)
	if err := tx.SavePaper(p); err != nil || d.Outcome != signoff.OutcomeSigned {
		return err
	}
	return s.takeEffect(tx, a, b, p, sheet, *d)
}

// recordDecision puts a decision into the proof log, with all of it that a third
// party needs to tell what was agreed to, by whom and how, and returns the
// receipt.
func (s *Steps) recordDecision(tx Tx, a Actor, build journal.BuildID, p signoff.Paper, sheet signoff.Sheet, d signoff.Decision) ([]byte, error) {
	seq, err := s.recorded(tx, a, build, "paper "+string(d.Outcome), string(p.ID), map[string]any{
		"kind": p.Kind, "number": p.Number, "revision": d.Revision, "manner": d.Manner, "sha256": d.SHA256, "name": d.TypedName, "as": d.As,
		"sentence": d.Sentence, "reason": d.Reason, "parts_back": d.PartsBack, "zone": d.Zone, "authenticated": d.Authenticated,
		"consent_version": d.ConsentVersion, "consent_at": d.ConsentAt.UTC().Format(time.RFC3339),
		"delta": sheet.Delta, "agreed_after": sheet.AgreedAfter, "date_after": sheet.DateAfter,
		"happened_at": d.DecidedAt().UTC().Format(time.RFC3339), "phone": d.Phone, "spoke_with": d.SpokeWith, "scan": d.ScanID,
		"passkey_sha256": passkeyHash(d),
	})
	if err != nil {
		return nil, err
	}
	return s.receipt(tx, seq)
}

// standing refuses a decision on anything but the revision that is out.
func standing(p signoff.Paper, in DecideInput) error {
	switch {
	case p.State == signoff.Recalled:
		return journal.Errorf(journal.Conflict, "The shop has taken this paper back to change it. Nothing was recorded; you will hear when it is ready again.")
	case p.State != signoff.Sent:
		return journal.Errorf(journal.Conflict, "This paper is not out for sign-off. Nothing was recorded.")
	case in.Revision != p.Revision:
		return journal.Errorf(journal.Conflict, "Revision %d was replaced by revision %d. Nothing was recorded; please read the new one, which is shown here. What you typed is kept.", in.Revision, p.Revision)
	}
	return nil
}

func checkAct(in DecideInput) error {
	bad := journal.Problems{}
	journal.CheckLine(bad, "name", in.TypedName, 2, 120, "Please type your name, as your signature.")
	switch in.Outcome {
	case signoff.OutcomeSigned:
	case signoff.OutcomeDeclined:
		journal.CheckText(bad, "reason", in.Reason, 1, 2000, "Please say in a few words why, so that the shop knows what to do next.")
	default:
		bad.Add("outcome", "Please choose to agree or to decline.")
	}
	return bad.Err()
}

// sameDecision returns nil when the form repeats the decision there is.
func sameDecision(d signoff.Decision, a Actor, in DecideInput) error {
	if d.Manner == signoff.OnPage && d.PersonID == a.Person.ID && d.Outcome == in.Outcome && d.Revision == in.Revision {
		return nil
	}
	return alreadyDecided(d)
}

func alreadyDecided(d signoff.Decision) error {
	how := ""
	if d.Manner != signoff.OnPage {
		how = " " + string(d.Manner)
	}
	return journal.Errorf(journal.Conflict, "This paper was already %s%s by %s. That decision stands, and nothing more was recorded.", d.Outcome, how, d.TypedName)
}

func notAsShown() error {
	return journal.Errorf(journal.Conflict, "What your page showed is not this paper as it stands. Nothing was recorded; please read it again.")
}

// sentenceOf is the act's wording, as the paper shows it.
func sentenceOf(sheet signoff.Sheet, outcome signoff.Outcome) string {
	if outcome == signoff.OutcomeDeclined {
		return sheet.Decline
	}
	return sheet.Act
}

func (s *Steps) decision(a Actor, m journal.Member, p signoff.Paper, rev signoff.Revision, sheet signoff.Sheet, consent signoff.Consent, in DecideInput) signoff.Decision {
	return signoff.Decision{
		PaperID: p.ID, Revision: rev.Number, SHA256: rev.SHA256, Outcome: in.Outcome,
		PersonID: a.Person.ID, As: m.As, TypedName: in.TypedName, Sentence: sentenceOf(sheet, in.Outcome),
		Reason: in.Reason, PartsBack: in.PartsBack, At: s.at(), Zone: sheet.Shop.Zone,
		Authenticated: a.Session.How, Address: a.Address, UserAgent: a.UserAgent,
		ConsentVersion: consent.Version, ConsentAt: consent.At, CopyTo: a.Person.Email, Manner: signoff.OnPage,
	}
}

// copies posts the decision, with the paper's bytes, the receipt and the print,
// to every owner, and tells the person in the office who began the paper.
func (s *Steps) copies(tx Tx, d *signoff.Decision, sheet signoff.Sheet, rev signoff.Revision, p signoff.Paper, receipt []byte) error {
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, _, err := ownersOf(tx, p.BuildID)
	if err != nil {
		return err
	}
	files := []journal.LetterFile{
		{Name: RecordName(p, rev.Number), ContentType: "application/json", Data: rev.Bytes},
		{Name: ReceiptName(p), ContentType: "text/plain; charset=utf-8", Data: receipt},
		{Name: PrintName(p, rev.Number), ContentType: PrintType}, // made when it is sent: pictures take time
	}
	for _, owner := range owners {
		post, err := byPost(tx, owner.ID)
		if err != nil {
			return err
		}
		if post {
			if owner.ID == d.PersonID {
				d.CopyTo = "" // the office posts a printed copy
			}
			continue
		}
		letter := DecisionLetter{ShopName: shop.Name, To: owner, Sheet: sheet, Decision: *d, Zone: shop.Location(), Path: paperPath(p)}
		id, err := s.post(tx, p.BuildID, owner, letter, files...)
		if err != nil {
			return err
		}
		if owner.ID == d.PersonID {
			d.CopyLetterID = id
		}
	}
	sender, err := tx.Person(p.CreatedBy)
	if err != nil || !sender.Active() {
		return err
	}
	_, err = s.post(tx, p.BuildID, sender, DecidedLetter{To: sender, Sheet: sheet, Decision: *d, Path: paperPath(p)})
	return err
}

// Ask records a question of the owner's side about a paper. It decides nothing.
func (s *Steps) Ask(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, text string) error {
	bad := journal.Problems{}
	journal.CheckText(bad, "text", text, 1, 2000, "Please type your question, at most 2,000 characters.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		_, member, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		if !journal.CanDecide(a.Person, member) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner or their delegate can ask here.")
		}
		asked, err := tx.Questions(paper)
		if err != nil {
			return err
		}
		if n := len(asked); n > 0 && asked[n-1].Text == text && asked[n-1].AskedBy == a.Person.ID && asked[n-1].AnsweredAt.IsZero() {
			return nil // a double tap
		}
		if len(asked) >= 200 {
			return journal.Errorf(journal.TooMany, "There are very many questions under this paper already; please call the shop.")
		}
		q := signoff.Question{ID: journal.QuestionID(s.NewID()), PaperID: paper, Revision: p.Revision, AskedBy: a.Person.ID, Text: text, AskedAt: s.at()}
		if err := tx.AddQuestion(q); err != nil {
			return err
		}
		if err := s.record(tx, a, build, "question asked", string(paper), map[string]any{"question": q.ID, "text": text}); err != nil {
			return err
		}
		return s.postQuestion(tx, p, q, p.CreatedBy)
	})
}

// Answer records the office's answer to a question; the first one stands.
func (s *Steps) Answer(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, question journal.QuestionID, text string) error {
	if err := asOffice(a); err != nil {
		return err
	}
	bad := journal.Problems{}
	journal.CheckText(bad, "text", text, 1, 2000, "Please type your answer, at most 2,000 characters.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		asked, err := tx.Questions(paper)
		if err != nil {
			return err
		}
		for _, q := range asked {
			if q.ID != question {
				continue
			}
			if !q.AnsweredAt.IsZero() {
				if q.Answer == text {
					return nil
				}
				return journal.Errorf(journal.Conflict, "This question was answered already; what you typed was not sent. The answer there is: %s", q.Answer)
			}
			q.Answer, q.AnsweredBy, q.AnsweredAt = text, a.Person.ID, s.at()
			if err := tx.AnswerQuestion(q); err != nil {
				return err
			}
			if err := s.record(tx, a, build, "question answered", string(paper), map[string]any{"question": q.ID, "text": text}); err != nil {
				return err
			}
			return s.postQuestion(tx, p, q, q.AskedBy)
		}
		return journal.Errorf(journal.NotFound, "There is no such question.")
	})
}

func (s *Steps) postQuestion(tx Tx, p signoff.Paper, q signoff.Question, to journal.PersonID) error {
	person, err := tx.Person(to)
	if err != nil || !person.Active() {
		return err
	}
	asker, err := tx.Person(q.AskedBy)
	if err != nil {
		return err
	}
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	sheet, err := sheetOf(tx, p)
	if err != nil {
		return err
	}
	_, err = s.post(tx, p.BuildID, person, QuestionLetter{ShopName: shop.Name, To: person, Sheet: sheet, Question: q, AskedBy: asker.Name, Path: paperPath(p)})
	return err
}
