package journal

import "time"

// Session is one signed-in browser. Only a hash of its token is kept.
type Session struct {
	TokenHash  string // SHA-256 of the cookie's token, hex
	PersonID   PersonID
	How        string // how the person proved who they are, in words
	Address    string
	UserAgent  string
	CreatedAt  time.Time
	LastSeenAt time.Time
	ExpiresAt  time.Time
	EndedAt    time.Time // zero unless ended by sign-out or the office
}

// Live reports whether the session counts at the given time.
func (s Session) Live(now time.Time) bool {
	return s.EndedAt.IsZero() && now.Before(s.ExpiresAt)
}

// LinkPurpose says what a link may be used for.
type LinkPurpose string

const (
	LinkSignIn      LinkPurpose = "sign in"
	LinkSetPassword LinkPurpose = "set password"
)

// Link is a single-use, short-lived link sent to one person. Only a hash of its
// token is kept.
type Link struct {
	TokenHash string // SHA-256 of the token, hex
	PersonID  PersonID
	Purpose   LinkPurpose
	Next      string // path to go to after use; "" for the start page
	CreatedAt time.Time
	ExpiresAt time.Time
	UsedAt    time.Time // zero until used
}

// KeptForm is what somebody had typed when their session had run out. It is
// given back after they sign in again, and then forgotten.
type KeptForm struct {
	TokenHash string // SHA-256 of the token in the browser's cookie, hex
	PersonID  PersonID
	Path      string
	Values    string // application/x-www-form-urlencoded
	ExpiresAt time.Time
}
