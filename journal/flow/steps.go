package flow

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/prooflog"
	"farbay/journal/schedule"
)

// Steps are the acts of the job. All fields must be set; the zero value is of
// no use. Safe for concurrent use if its Store is.
type Steps struct {
	Store   Store
	Now     func() time.Time // UTC
	NewID   func() string    // random, at least 80 bits, fit for addresses and URLs
	Compose Composer
	// ConsentVersion is the version of the disclosures on electronic records that
	// are shown now; a consent to another one is asked for anew.
	ConsentVersion string
	LogKey         prooflog.Key // signs the proof log's checkpoints
	Nudge          func()       // wakes the job worker after a step that added jobs; may do nothing
}

// Composer writes the text of the program's e-mails.
type Composer interface {
	// Compose returns subject and text for one of the letters of this package
	// ([PaperSentLetter] and so on), with a signed checkpoint of the proof log at
	// its foot unless that is "". An unknown type is an error.
	Compose(letter any, checkpoint string) (subject, text string, err error)
}

// Actor is the person doing a step, and how they are known.
type Actor struct {
	Person    journal.Person
	Session   journal.Session // zero for the command line
	Address   string
	UserAgent string
}

// At returns the present time, in UTC and whole milliseconds, as it is stored.
func (s *Steps) at() time.Time { return s.Now().UTC().Truncate(time.Millisecond) }

// write runs f in one write transaction, renews the early stops that it gave other
// figures, and, if all succeeded, wakes the worker.
func (s *Steps) write(ctx context.Context, f func(Tx) error) error {
	err := s.Store.Write(ctx, func(tx Tx) error {
		n := &noting{Tx: tx}
		if err := f(n); err != nil {
			return err
		}
		return s.renewStops(n)
	})
	if err != nil {
		return err
	}
	if s.Nudge != nil {
		s.Nudge()
	}
	return nil
}

// onBuild runs f in one write transaction, with a build that the actor may read.
func (s *Steps) onBuild(ctx context.Context, a Actor, id journal.BuildID, f func(Tx, journal.Build) error) error {
	return s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, id)
		if err != nil {
			return err
		}
		return f(tx, b)
	})
}

// asOfficeOn is onBuild for the office alone.
func (s *Steps) asOfficeOn(ctx context.Context, a Actor, id journal.BuildID, f func(Tx, journal.Build) error) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.onBuild(ctx, a, id, f)
}

// record adds an event to the append-only record. detail is kept as JSON with
// sorted keys.
func (s *Steps) record(tx Tx, a Actor, build journal.BuildID, kind, subject string, detail map[string]any) error {
	_, err := s.recorded(tx, a, build, kind, subject, detail)
	return err
}

// recorded is record, and returns the event's number.
func (s *Steps) recorded(tx Tx, a Actor, build journal.BuildID, kind, subject string, detail map[string]any) (seq int64, err error) {
	text, err := json.Marshal(detail)
	if err != nil {
		return 0, fmt.Errorf("flow: record %s: %w", kind, err)
	}
	e, err := tx.AddEvent(journal.Event{
		At: s.at(), BuildID: build, PersonID: a.Person.ID, Kind: kind, Subject: subject, Detail: string(text),
	})
	return e.Seq, err
}

// post queues a letter to one person. Its text is written by the Composer.
func (s *Steps) post(tx Tx, build journal.BuildID, to journal.Person, content any, files ...journal.LetterFile) (journal.LetterID, error) {
	letter := journal.Letter{ID: journal.LetterID(s.NewID()), BuildID: build, Files: files}
	return letter.ID, s.postLetter(tx, to, letter, content)
}

// postLetter is post for a letter with more to it.
func (s *Steps) postLetter(tx Tx, to journal.Person, letter journal.Letter, content any) error {
	checkpoint := ""
	if letter.BuildID != "" && to.Role == journal.Owner {
		// Kept by people outside the shop, so that a rewritten log is found out.
		c, err := s.checkpoint(tx)
		if err != nil {
			return err
		}
		checkpoint = string(c.Note)
	}
	subject, text, err := s.Compose.Compose(content, checkpoint)
	if err != nil {
		return fmt.Errorf("flow: compose %T: %w", content, err)
	}
	if letter.ID == "" {
		letter.ID = journal.LetterID(s.NewID())
	}
	letter.PersonID, letter.To, letter.ToName = to.ID, to.Email, to.Name
	letter.Subject, letter.Text, letter.CreatedAt = subject, text, s.at()
	if err := tx.AddLetter(letter); err != nil {
		return err
	}
	return tx.AddJob(journal.JobMail, string(letter.ID), s.at())
}

// readable returns the build if the actor may read it; [journal.NotFound]
// otherwise, so that a stranger learns nothing. member is nil for staff.
func readable(r Reads, a Actor, id journal.BuildID) (b journal.Build, member *journal.Member, err error) {
	if !a.Person.Role.Staff() {
		m, err := r.Member(id, a.Person.ID)
		if err != nil {
			return b, nil, err
		}
		member = &m
	}
	if !journal.CanRead(a.Person, member) {
		return b, nil, journal.Errorf(journal.NotFound, "There is no such build.")
	}
	b, err = r.Build(id)
	return b, member, err
}

// asOffice refuses everybody but the office.
func asOffice(a Actor) error {
	if a.Person.Role != journal.Office || !a.Person.Active() {
		return journal.Errorf(journal.Forbidden, "Only the office can do this. Please ask them.")
	}
	return nil
}

// asStaff refuses everybody outside the shop.
func asStaff(a Actor) error {
	if !a.Person.Role.Staff() || !a.Person.Active() {
		return journal.Errorf(journal.Forbidden, "Only the shop can do this.")
	}
	return nil
}

// ownersOf returns the current owners and delegates of a build as people who
// may still sign in, owners first.
func ownersOf(r Reads, id journal.BuildID) (people []journal.Person, members []journal.Member, err error) {
	all, err := r.Members(id)
	if err != nil {
		return nil, nil, err
	}
	for _, m := range all {
		p, err := r.Person(m.PersonID)
		if err != nil {
			return nil, nil, err
		}
		if p.Active() {
			people = append(people, p)
			members = append(members, m)
		}
	}
	return people, members, nil
}

// calendar returns the shop's working-day calendar.
func calendar(shop journal.Shop) schedule.Calendar {
	closed := make([]journal.Date, 0, len(shop.Closures))
	for _, c := range shop.Closures {
		closed = append(closed, c.Day)
	}
	return schedule.Calendar{Closures: closed}
}

// absent turns a NotFound into ok == false.
func absent[T any](v T, err error) (T, bool, error) {
	var e *journal.Error
	if errors.As(err, &e) && e.Code == journal.NotFound {
		return v, false, nil
	}
	return v, err == nil, err
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

func namesOf(people []journal.Person) []string {
	var names []string
	for _, p := range people {
		names = append(names, p.Name)
	}
	return names
}

// today is the present day at the shop; in UTC before its settings are there.
func (s *Steps) today(r Reads) journal.Date {
	shop, err := r.Shop()
	if err != nil {
		return journal.DateOf(s.at(), time.UTC)
	}
	return journal.DateOf(s.at(), shop.Location())
}
