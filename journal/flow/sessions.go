package flow

import (
	"context"
	"time"

	"farbay/journal"
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

// EndOtherSessions ends the actor's sessions but the one in use.
func (s *Steps) EndOtherSessions(ctx context.Context, a Actor) error {
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
		return tx.SaveSession(latest)
	})
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
