package flow

import (
	"context"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// sessionSeenEvery is how often a session's last use is written down.
const sessionSeenEvery = time.Minute

// Known returns the session of a cookie's token and its person, live or not; ok
// is false when the token is unknown.
func (s *Steps) Known(ctx context.Context, token string) (session journal.Session, p journal.Person, ok bool, err error) {
	err = s.Store.Read(ctx, func(r Reads) (err error) {
		session, ok, err = absent(r.Session(TokenHash(token)))
		if err != nil || !ok {
			return err
		}
		p, err = r.Person(session.PersonID)
		return err
	})
	return session, p, ok && err == nil, err
}

// Seen notes that a session was used now, at most once a minute, and moves its
// expiry to idle from now, but not beyond life after its beginning.
func (s *Steps) Seen(ctx context.Context, session journal.Session, idle, life time.Duration) (journal.Session, error) {
	now := s.at()
	if now.Sub(session.LastSeenAt) < sessionSeenEvery {
		return session, nil
	}
	err := s.Store.Write(ctx, func(tx Tx) error {
		latest, err := tx.Session(session.TokenHash)
		if err != nil || !latest.Live(now) {
			return err // ended meanwhile: nothing to note
		}
		latest.LastSeenAt = now
		latest.ExpiresAt = latest.CreatedAt.Add(life)
		if until := now.Add(idle); until.Before(latest.ExpiresAt) {
			latest.ExpiresAt = until
		}
		session = latest
		return tx.SaveSession(latest)
	})
	return session, err
}

// Leave ends the actor's session. Ending an ended one changes nothing.
func (s *Steps) Leave(ctx context.Context, a Actor) error {
	return s.Store.Write(ctx, func(tx Tx) error {
		latest, err := tx.Session(a.Session.TokenHash)
		if err != nil || !latest.EndedAt.IsZero() {
			return err
		}
		latest.EndedAt = s.at()
		return tx.SaveSession(latest)
	})
}

// EndOtherSessions ends all of the actor's sessions and begins the present one
// anew under another token, so that a copied one is worth nothing either.
func (s *Steps) EndOtherSessions(ctx context.Context, a Actor, n NewSession) error {
	return s.Store.Write(ctx, func(tx Tx) error {
		latest, err := tx.Session(a.Session.TokenHash)
		if err != nil {
			return err
		}
		if !latest.Live(s.at()) || latest.PersonID != a.Person.ID {
			return journal.Errorf(journal.SignedOut, "Your session has ended. Please sign in again.")
		}
		if err := tx.EndSessions(a.Person.ID, s.at()); err != nil {
			return err
		}
		latest.TokenHash, latest.LastSeenAt = TokenHash(n.Token), s.at()
		latest.Address, latest.UserAgent = n.Address, n.UserAgent
		return tx.AddSession(latest)
	})
}

// sessionsOf returns a person's live sessions and when they were last here.
func (s *Steps) sessionsOf(r Reads, id journal.PersonID) (live []journal.Session, lastSeen time.Time, err error) {
	all, err := r.Sessions(id)
	for _, one := range all {
		if one.LastSeenAt.After(lastSeen) {
			lastSeen = one.LastSeenAt
		}
		if one.Live(s.at()) {
			live = append(live, one)
		}
	}
	return live, lastSeen, err
}

// PersonView is an account with what belongs to it.
type PersonView struct {
	Person   journal.Person
	Builds   []journal.Build   // of owners and delegates
	Sessions []journal.Session // live ones, the one used last first
	LastSeen time.Time         // zero if never signed in
	Consent  signoff.Consent   // in force; zero if none
}

func (s *Steps) personView(r Reads, p journal.Person) (v PersonView, err error) {
	v.Person = p
	if v.Builds, err = r.BuildsOf(p.ID); err != nil {
		return v, err
	}
	if v.Consent, _, err = absent(r.Consent(p.ID)); err != nil {
		return v, err
	}
	v.Sessions, v.LastSeen, err = s.sessionsOf(r, p.ID)
	return v, err
}

// PersonShow returns one account. The office sees all, others their own.
func (s *Steps) PersonShow(ctx context.Context, a Actor, id journal.PersonID) (v PersonView, err error) {
	if a.Person.ID != id {
		if err := asOffice(a); err != nil {
			return v, err
		}
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		p, err := r.Person(id)
		if err != nil {
			return err
		}
		v, err = s.personView(r, p)
		return err
	})
	return v, err
}

// PeopleShow returns all accounts, sorted by name. Office only.
func (s *Steps) PeopleShow(ctx context.Context, a Actor) (all []PersonView, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		people, err := r.People()
		if err != nil {
			return err
		}
		for _, p := range people {
			v, err := s.personView(r, p)
			if err != nil {
				return err
			}
			all = append(all, v)
		}
		return nil
	})
	return all, err
}

// KeepForm keeps what a person had typed when their session had run out, under
// token.
func (s *Steps) KeepForm(ctx context.Context, token string, f journal.KeptForm) error {
	f.TokenHash = TokenHash(token)
	return s.Store.Write(ctx, func(tx Tx) error { return tx.AddKeptForm(f) })
}

// KeptForm returns the form kept under token if it is this person's and was
// posted to path; ok is false otherwise, and once it has run out.
func (s *Steps) KeptForm(ctx context.Context, a Actor, token, path string) (f journal.KeptForm, ok bool, err error) {
	err = s.Store.Read(ctx, func(r Reads) (err error) {
		f, ok, err = absent(r.KeptForm(TokenHash(token)))
		return err
	})
	ok = ok && err == nil && f.PersonID == a.Person.ID && f.Path == path && s.at().Before(f.ExpiresAt)
	return f, ok, err
}

// DropKeptForm forgets the form kept under token; an unknown token is no error.
func (s *Steps) DropKeptForm(ctx context.Context, token string) error {
	return s.Store.Write(ctx, func(tx Tx) error {
		_, found, err := absent(tx.KeptForm(TokenHash(token)))
		if err != nil || !found {
			return err
		}
		return tx.DropKeptForm(TokenHash(token))
	})
}
