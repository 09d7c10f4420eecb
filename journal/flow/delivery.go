package flow

import (
	"context"
	"time"

	"farbay/journal"
)

// PhotoAsk is a request for a file of a photo, as it comes in.
type PhotoAsk struct {
	TokenHash string // of the session cookie's token
	BuildID   journal.BuildID
	PhotoID   journal.PhotoID
}

// PhotoAsked is all that decides on a [PhotoAsk], read at one instant. Of
// Session, Person, Member and Photo only what is listed is filled.
type PhotoAsked struct {
	Session journal.Session // ExpiresAt, EndedAt
	Person  journal.Person  // ID, Role, EndedAt
	Member  *journal.Member // the person's current record of the build, if any
	Photo   journal.Photo   // ID, BuildID, SHA256, State, Layer
	Shared  bool            // see [Reads.PhotoShared]
}

// PhotoDoor answers a request for a photo's file in one question to the
// database, instead of the several that a page asks. Nothing is remembered from
// one request to the next, so whatever ends a person's right ends it at once.
type PhotoDoor interface {
	// AskPhoto returns [journal.NotFound] when there is no such session, or no
	// such photo in the build.
	AskPhoto(ctx context.Context, ask PhotoAsk) (PhotoAsked, error)
}

// Admits reports whether the person may have the sizes made of the photo now:
// the same as signing in, reading the build and [Steps.PhotoFileAllowed]
// together say.
func (p PhotoAsked) Admits(now time.Time) bool {
	return p.Session.Live(now) && p.Person.Active() && journal.CanRead(p.Person, p.Member) && (p.Person.Role.Staff() || p.Shared)
}
