package flow

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"time"

	"farbay/journal"
)

// TokenHash returns the form in which tokens of sessions, links and kept forms
// are stored: the SHA-256 of the token's characters, in lower-case hex, as
// "printf %s TOKEN | sha256sum" prints it. Tokens hold 256 random bits, so no
// salt is needed.
func TokenHash(token string) string {
	sum := sha256.Sum256([]byte(token))
	return hex.EncodeToString(sum[:])
}

// How a person proved who they are, in words, as sessions and decisions keep
// it.
const howPassword = "e-mail and password"

func howLink(email string) string { return "single-use link for " + email }

// NewSession is what a session begins with.
type NewSession struct {
	Token     string        // of the browser's cookie
	Life      time.Duration // until it expires
	Address   string
	UserAgent string
}

func (s *Steps) addSession(tx Tx, p journal.Person, how string, n NewSession) error {
	if !p.Active() {
		return journal.Errorf(journal.Forbidden, "This account has been closed. Please ask the shop.")
	}
	now := s.at()
	return tx.AddSession(journal.Session{
		TokenHash: TokenHash(n.Token), PersonID: p.ID, How: how, Address: n.Address, UserAgent: n.UserAgent,
		CreatedAt: now, LastSeenAt: now, ExpiresAt: now.Add(n.Life),
	})
}

// EnterByPassword begins a session for a person whose password has just been
// compared with p.PasswordHash. It returns [journal.SignedOut] when the account
// was closed or the password changed in between.
func (s *Steps) EnterByPassword(ctx context.Context, p journal.Person, n NewSession) error {
	return s.write(ctx, func(tx Tx) error {
		now, err := tx.Person(p.ID)
		if err != nil {
			return err
		}
		if !now.Active() || now.PasswordHash != p.PasswordHash {
			return journal.Errorf(journal.SignedOut, "This account has just changed. Please sign in again.")
		}
		return s.addSession(tx, now, howPassword, n)
	})
}

// Link returns an unused link of the given purpose and whom it is for, and
// uses nothing up. Errors as [Steps.EnterByLink].
func (s *Steps) Link(ctx context.Context, purpose journal.LinkPurpose, token string) (l journal.Link, p journal.Person, err error) {
	err = s.Store.Read(ctx, func(r Reads) (err error) {
		l, p, err = s.link(r, purpose, token)
		return err
	})
	return l, p, err
}

func (s *Steps) link(r Reads, purpose journal.LinkPurpose, token string) (journal.Link, journal.Person, error) {
	l, found, err := absent(r.Link(TokenHash(token)))
	if err != nil {
		return l, journal.Person{}, err
	}
	switch {
	case !found || l.Purpose != purpose:
		return l, journal.Person{}, journal.Errorf(journal.NotFound, "This link is not known here. Please check that it was copied whole, or ask for a new one.")
	case !l.UsedAt.IsZero():
		return l, journal.Person{}, usedUp()
	case !s.at().Before(l.ExpiresAt):
		return l, journal.Person{}, journal.Errorf(journal.Conflict, "This link has run out. Please ask for a new one.")
	}
	p, err := r.Person(l.PersonID)
	if err == nil && !p.Active() {
		err = journal.Errorf(journal.Forbidden, "This account has been closed. Please ask the shop.")
	}
	return l, p, err
}

func usedUp() error {
	return journal.Errorf(journal.Conflict, "This link has been used already; each works once. Please ask for a new one.")
}

// EnterByLink uses a sign-in link and begins a session, both or neither. Of
// several calls with one token exactly one succeeds.
//
// Errors: [journal.NotFound] for an unknown link, [journal.Conflict] for one
// that is used or has run out, [journal.Forbidden] for a closed account.
func (s *Steps) EnterByLink(ctx context.Context, token string, n NewSession) (l journal.Link, err error) {
	err = s.write(ctx, func(tx Tx) error {
		var p journal.Person
		l, p, err = s.useLink(tx, journal.LinkSignIn, token)
		if err != nil {
			return err
		}
		return s.addSession(tx, p, howLink(p.Email), n)
	})
	return l, err
}

// SetPasswordByLink uses a set-password link: it stores the password's encoded
// hash, ends the person's sessions and begins one. Errors as
// [Steps.EnterByLink].
func (s *Steps) SetPasswordByLink(ctx context.Context, token, hash string, n NewSession) (l journal.Link, err error) {
	err = s.write(ctx, func(tx Tx) error {
		var p journal.Person
		l, p, err = s.useLink(tx, journal.LinkSetPassword, token)
		if err != nil {
			return err
		}
		if err := s.setPassword(tx, p, hash); err != nil {
			return err
		}
		return s.addSession(tx, p, howLink(p.Email), n)
	})
	return l, err
}

func (s *Steps) useLink(tx Tx, purpose journal.LinkPurpose, token string) (journal.Link, journal.Person, error) {
	l, p, err := s.link(tx, purpose, token)
	if err != nil {
		return l, p, err
	}
	first, err := tx.UseLink(l.TokenHash, s.at())
	if err == nil && !first {
		err = usedUp()
	}
	return l, p, err
}

// NewLink is a link to be made.
type NewLink struct {
	Token   string
	Purpose journal.LinkPurpose // "": a sign-in link for owners, one to set a password for people of the shop
	Next    string              // path to go to after a sign-in; "" for the start page
	Life    time.Duration       // until it runs out
}

// withPurpose chooses what the link is for, unless that is said: owners sign in
// with theirs, people of the shop set a password.
func (n NewLink) withPurpose(p journal.Person) NewLink {
	switch {
	case n.Purpose != "":
	case p.Role.Staff():
		n.Purpose = journal.LinkSetPassword
	default:
		n.Purpose = journal.LinkSignIn
	}
	return n
}

// LinkPath returns where a link leads, below the base URL.
func LinkPath(purpose journal.LinkPurpose, token string) string {
	if purpose == journal.LinkSetPassword {
		return "/set-password/" + token
	}
	return "/enter/" + token
}

// AskLink sends a link to the person with this address, if there is one who may
// sign in: owners a sign-in link, people of the shop one to set a password. It
// returns nil when there is none, so that nobody learns who has an account.
func (s *Steps) AskLink(ctx context.Context, email string, n NewLink) error {
	return s.write(ctx, func(tx Tx) error {
		p, found, err := absent(tx.PersonByEmail(journal.NormalEmail(email)))
		if err != nil || !found || !p.Active() {
			return err
		}
		return s.sendLink(tx, p, n)
	})
}

// SendLink is AskLink for the office, by id. A closed account is refused with
// [journal.Conflict].
func (s *Steps) SendLink(ctx context.Context, a Actor, id journal.PersonID, n NewLink) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := s.linkable(tx, id)
		if err != nil {
			return err
		}
		return s.sendLink(tx, p, n)
	})
}

// MakeLink makes the same link as SendLink, sends nothing, and returns its
// path; it is for the command line, whose user hands it over.
func (s *Steps) MakeLink(ctx context.Context, a Actor, id journal.PersonID, n NewLink) (path string, err error) {
	if err := asOffice(a); err != nil {
		return "", err
	}
	err = s.write(ctx, func(tx Tx) error {
		p, err := s.linkable(tx, id)
		if err != nil {
			return err
		}
		n = n.withPurpose(p)
		path = LinkPath(n.Purpose, n.Token)
		return s.addLink(tx, p, n)
	})
	return path, err
}

func (s *Steps) linkable(tx Tx, id journal.PersonID) (journal.Person, error) {
	p, err := tx.Person(id)
	if err == nil && !p.Active() {
		err = journal.Errorf(journal.Conflict, "This account has been closed; a link would not work.")
	}
	return p, err
}

func (s *Steps) addLink(tx Tx, p journal.Person, n NewLink) error {
	now := s.at()
	return tx.AddLink(journal.Link{
		TokenHash: TokenHash(n.Token), PersonID: p.ID, Purpose: n.Purpose, Next: n.Next,
		CreatedAt: now, ExpiresAt: now.Add(n.Life),
	})
}

func (s *Steps) sendLink(tx Tx, p journal.Person, n NewLink) error {
	n = n.withPurpose(p)
	if err := s.addLink(tx, p, n); err != nil {
		return err
	}
	shop, _, err := absent(tx.Shop())
	if err != nil {
		return err
	}
	_, err = s.post(tx, "", p, SignInLetter{
		ShopName: shop.Name, To: p, Purpose: n.Purpose, Path: LinkPath(n.Purpose, n.Token),
		Until: s.at().Add(n.Life), Zone: shop.Location(),
	})
	return err
}

// metaSetUp holds the hash of the token of the set-up link, while there is no
// office account.
const metaSetUp = "set-up link"

// OfferSetUp makes token the one that lets somebody add the first office
// account, in place of an earlier one. It reports false and does nothing when
// there is an office account.
func (s *Steps) OfferSetUp(ctx context.Context, token string) (offered bool, err error) {
	err = s.write(ctx, func(tx Tx) error {
		office, err := anyOffice(tx)
		if err != nil || office {
			return err
		}
		offered = true
		return tx.SetMeta(metaSetUp, TokenHash(token))
	})
	return offered && err == nil, err
}

// IsSetUp reports whether token may add the first office account now.
func (s *Steps) IsSetUp(ctx context.Context, token string) (ok bool, err error) {
	err = s.Store.Read(ctx, func(r Reads) (err error) {
		ok, err = isSetUp(r, token)
		return err
	})
	return ok, err
}

func isSetUp(r Reads, token string) (bool, error) {
	hash, err := r.Meta(metaSetUp)
	if err != nil || hash == "" || hash != TokenHash(token) {
		return false, err
	}
	office, err := anyOffice(r)
	return !office, err
}

func anyOffice(r Reads) (bool, error) {
	people, err := r.People()
	for _, p := range people {
		if p.Role == journal.Office && p.Active() {
			return true, err
		}
	}
	return false, err
}

// SetUp adds the first office account, with its password's encoded hash, and
// begins its session; the set-up link is used up with it. It returns
// [journal.Conflict] when the link no longer works.
func (s *Steps) SetUp(ctx context.Context, token string, p journal.Person, hash string, n NewSession) error {
	p.Role = journal.Office
	p = s.newPerson(p)
	p.PasswordHash = hash
	if err := p.Validate(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		ok, err := isSetUp(tx, token)
		if err != nil {
			return err
		}
		if !ok {
			return usedUp()
		}
		if err := s.addPerson(tx, Actor{}, p); err != nil {
			return err
		}
		if err := tx.SetMeta(metaSetUp, ""); err != nil {
			return err
		}
		return s.addSession(tx, p, "set-up link", n)
	})
}
