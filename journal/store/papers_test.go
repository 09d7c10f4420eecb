package store

import (
	"context"
	"slices"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func TestPapers(t *testing.T) {
	s := yard(t)
	paper := func(id string, number, n int) signoff.Paper {
		return signoff.Paper{
			ID: journal.PaperID(id), BuildID: heron, Kind: signoff.ChangeOrder, Number: number, State: signoff.Drafted, CreatedBy: pat, CreatedAt: hours(n),
		}
	}
	write(t, s, func(tx flow.Tx) error {
		for _, p := range []signoff.Paper{paper("c", 0, 2), paper("b", 0, 2), paper("a", 1, 1)} {
			if err := tx.AddPaper(p); err != nil {
				return err
			}
		}
		return nil
	})
	papers := get(t, s, func(r flow.Reads) ([]signoff.Paper, error) { return r.Papers(heron) })
	if got := names(papers, func(p signoff.Paper) string { return string(p.ID) }); got != "a c b " {
		t.Errorf("papers come as %q, want by time, equal ones as added", got)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPaper(paper("d", 1, 1)) })  // the number
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SavePaper(paper("b", 1, 1)) }) // the number
	stale := paper("b", 0, 2)
	stale.Version = 4
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SavePaper(stale) })
	elsewhere := paper("b", 0, 2)
	elsewhere.BuildID = juniper
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SavePaper(elsewhere) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Paper(juniper, "b"); return err })
}

func TestRevisions(t *testing.T) {
	s := yard(t)
	sendPaper(t, s, "paper")
	rev := func(n int) signoff.Revision {
		bytes := sheet(t, heron, n)
		return signoff.Revision{PaperID: "paper", Number: n, Bytes: bytes, SHA256: signoff.Hash(bytes), SentAt: noon}
	}
	write(t, s, func(tx flow.Tx) error { return tx.AddRevision(rev(2)) })
	numbers := get(t, s, func(r flow.Reads) ([]signoff.Revision, error) { return r.Revisions("paper") })
	if len(numbers) != 2 || numbers[0].Number != 1 || numbers[1].Number != 2 {
		t.Errorf("revisions are %+v, want both by number", numbers)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Revision("paper", 3); return err })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddRevision(rev(2)) }) // sent from two pages
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.AddRevision(rev(4)) }) // leaves out 3
	refused(t, s, journal.NotFound, func(tx flow.Tx) error {
		r := rev(1)
		r.PaperID = "nowhere"
		return tx.AddRevision(r)
	})
	refused(t, s, journal.Internal, func(tx flow.Tx) error { // the hash of other bytes
		r := rev(3)
		r.SHA256 = signoff.Hash([]byte("other"))
		return tx.AddRevision(r)
	})
	refused(t, s, journal.Internal, func(tx flow.Tx) error { // no sheet: its evidence is not known
		r := rev(3)
		r.Bytes = []byte("{}")
		r.SHA256 = signoff.Hash(r.Bytes)
		return tx.AddRevision(r)
	})
	write(t, s, func(tx flow.Tx) error { return tx.AddPhoto(photo(juniper, 1)) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { // another build's photo as evidence
		r := rev(3)
		r.Bytes = sheet(t, heron, 3, photo(juniper, 1).ID)
		r.SHA256 = signoff.Hash(r.Bytes)
		return tx.AddRevision(r)
	})
}

func TestDecisions(t *testing.T) {
	s := yard(t)
	sendPaper(t, s, "paper")
	bytes := sheet(t, heron, 2)
	write(t, s, func(tx flow.Tx) error {
		return tx.AddRevision(signoff.Revision{PaperID: "paper", Number: 2, Bytes: bytes, SHA256: signoff.Hash(bytes), SentAt: noon})
	})
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Decision("paper"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.AddDecision(decision("nowhere", 1, bytes)) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddDecision(decision("paper", 1, sheet(t, heron, 1))) }) // an old revision
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddDecision(decision("paper", 3, bytes)) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddDecision(decision("paper", 2, sheet(t, heron, 1))) }) // other bytes

	// The copy's letter may be added after the decision, but must be there in
	// the end.
	withCopy := decision("paper", 2, bytes)
	withCopy.CopyLetterID = "letter"
	err := s.Write(context.Background(), func(tx flow.Tx) error { return tx.AddDecision(withCopy) })
	if err == nil {
		t.Error("a decision was kept with a letter that is not there")
	}

	const phones = 50
	var wg sync.WaitGroup
	results := make(chan error, phones)
	for range phones {
		wg.Go(func() {
			results <- s.Write(context.Background(), func(tx flow.Tx) error { return tx.AddDecision(decision("paper", 2, bytes)) })
		})
	}
	wg.Wait()
	close(results)
	decided := 0
	for err := range results {
		switch journal.CodeOf(err) {
		case "":
			decided++
		case journal.Conflict:
		default:
			t.Errorf("got %v, want nil or Conflict", err)
		}
	}
	if decided != 1 {
		t.Errorf("%d of %d simultaneous decisions were kept, want 1", decided, phones)
	}
	next := sheet(t, heron, 3)
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { // a decided paper stays as it is
		return tx.AddRevision(signoff.Revision{PaperID: "paper", Number: 3, Bytes: next, SHA256: signoff.Hash(next), SentAt: noon})
	})
}

func TestQuestions(t *testing.T) {
	s := yard(t)
	sendPaper(t, s, "paper")
	write(t, s, func(tx flow.Tx) error {
		for i, id := range []journal.QuestionID{"b", "a", "c"} {
			q := signoff.Question{ID: id, PaperID: "paper", Revision: 1, AskedBy: ada, Text: "Why?", AskedAt: hours([]int{2, 2, 1}[i])}
			if err := tx.AddQuestion(q); err != nil {
				return err
			}
		}
		return nil
	})
	questions := get(t, s, func(r flow.Reads) ([]signoff.Question, error) { return r.Questions("paper") })
	if got := names(questions, func(q signoff.Question) string { return string(q.ID) }); got != "c b a " {
		t.Errorf("questions come as %q, want by time, equal ones as added", got)
	}
	a := questions[0]
	a.Answer, a.AnsweredBy, a.AnsweredAt = "Rust.", pat, hours(3)
	write(t, s, func(tx flow.Tx) error { return tx.AnswerQuestion(a) })
	a.Answer = "Something else."
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AnswerQuestion(a) })
	a.PaperID = "other"
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.AnswerQuestion(a) })
	now := get(t, s, func(r flow.Reads) ([]signoff.Question, error) { return r.Questions("paper") })
	if now[0].Answer != "Rust." || now[1].Answer != "" {
		t.Errorf("answers are %q and %q, want the first answer, to its question", now[0].Answer, now[1].Answer)
	}
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.AnswerQuestion(now[1]) }) // no answer in it
}

func TestConsent(t *testing.T) {
	s := yard(t)
	none := func(p journal.PersonID) func(flow.Tx) error {
		return func(tx flow.Tx) error { _, err := tx.Consent(p); return err }
	}
	refused(t, s, journal.NotFound, none(ada))
	write(t, s, func(tx flow.Tx) error {
		if err := tx.EndConsent(ada, noon); err != nil { // none in force
			return err
		}
		for i, version := range []string{"1", "2"} {
			if err := tx.AddConsent(signoff.Consent{PersonID: ada, Version: version, At: hours(i)}); err != nil {
				return err
			}
		}
		return nil
	})
	if c := get(t, s, func(r flow.Reads) (signoff.Consent, error) { return r.Consent(ada) }); c.Version != "2" {
		t.Errorf("version %q is in force, want the later", c.Version)
	}
	refused(t, s, journal.NotFound, none(ben))
	write(t, s, func(tx flow.Tx) error { return tx.EndConsent(ada, hours(2)) })
	refused(t, s, journal.NotFound, none(ada))
	var ends []instant
	if err := s.reader.Raw("SELECT ended_at FROM consents ORDER BY added").Scan(&ends).Error; err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(ends, []instant{at(hours(1)), at(hours(2))}) {
		t.Errorf("the consents ended at %v, want the first when the second began", ends)
	}
}
