package journal

import "time"

// Passkey is a WebAuthn credential of an owner or delegate, with which they can
// confirm an act more strongly than by typing a name.
type Passkey struct {
	ID         string // base64url of the credential's id
	PersonID   PersonID
	Name       string // as the person calls it: "my phone"
	Credential string // JSON: public key, counter, transports
	AddedAt    time.Time
	UsedAt     time.Time // zero until it was used
	EndedAt    time.Time // zero while it can be used
}

// PasskeyAsk is a ceremony under way: what the browser was asked, for a few
// minutes and one use.
type PasskeyAsk struct {
	TokenHash string
	PersonID  PersonID
	Subject   string // "" when a passkey is added; else the act it confirms
	Data      string // JSON
	ExpiresAt time.Time
}
