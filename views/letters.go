package views

import "time"

// SignInLetter brings an owner their single-use link.
type SignInLetter struct {
	MailFrame
	Link  string // absolute address
	Until time.Time
}

// Mail names the letter's text.
func (SignInLetter) Mail() string { return "sign-in" }

var _ = declareLetters(SignInLetter{})
