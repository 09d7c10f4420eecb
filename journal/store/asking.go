package store

import (
	"context"
	"database/sql"
	"strings"

	"farbay/journal"
	"farbay/journal/flow"
)

// askPhoto is the one question behind a request for a photo's file: who asks,
// and whether the photo is shared. Its parameters are the session's hash, the
// build and the photo. They come by way of a table, because SQLite compiles a
// statement anew for every run when a parameter stands beside a column of a
// table with a partial index (sqlite3_prepare_v2, https://www.sqlite.org/c3ref/prepare.html).
var askPhoto = `WITH asked(token, build, photo) AS MATERIALIZED (SELECT ?, ?, ?)
	SELECT sessions.expires_at, sessions.ended_at, people.id, people.role, people.ended_at,
		EXISTS (SELECT 1 FROM members WHERE build_id = asked.build AND person_id = people.id AND ended_at = ''),
		photos.sha256, photos.state, photos.layer, ` + strings.NewReplacer("@build", "asked.build", "@photo", "asked.photo").Replace(photoShared[len("SELECT "):]) + `
	FROM asked CROSS JOIN sessions ON sessions.token_hash = asked.token CROSS JOIN people ON people.id = sessions.person_id
		CROSS JOIN photos ON photos.id = asked.photo AND photos.build_id = asked.build`

var _ flow.PhotoDoor = (*Store)(nil)

// prepare readies what is asked so often that its text should be read once.
func (s *Store) prepare() error {
	db, err := s.reader.DB()
	if err == nil {
		s.askPhoto, err = db.Prepare(askPhoto)
	}
	return err
}

// AskPhoto implements [flow.PhotoDoor]. It is one statement and so sees one
// state of the database; as it takes some microseconds it runs to its end also
// when ctx ends.
func (s *Store) AskPhoto(ctx context.Context, ask flow.PhotoAsk) (flow.PhotoAsked, error) {
	var (
		expires, ended, personEnded         instant
		person, role, sha256, state, layers string
		member, shared                      bool
	)
	row := s.askPhoto.QueryRowContext(context.WithoutCancel(ctx), ask.TokenHash, string(ask.BuildID), string(ask.PhotoID))
	err := row.Scan(&expires, &ended, &person, &role, &personEnded, &member, &sha256, &state, &layers, &shared)
	if err == sql.ErrNoRows {
		return flow.PhotoAsked{}, journal.Errorf(journal.NotFound, noPhoto)
	}
	if err != nil {
		return flow.PhotoAsked{}, failure("AskPhoto", err, noPhoto, "")
	}
	asked := flow.PhotoAsked{
		Session: journal.Session{ExpiresAt: expires.Time, EndedAt: ended.Time},
		Person:  journal.Person{ID: journal.PersonID(person), Role: journal.Role(role), EndedAt: personEnded.Time},
		Photo:   journal.Photo{ID: ask.PhotoID, BuildID: ask.BuildID, SHA256: sha256, State: journal.PhotoState(state)},
		Shared:  shared,
	}
	if member {
		asked.Member = &journal.Member{BuildID: ask.BuildID, PersonID: asked.Person.ID}
	}
	if layers != "{}" {
		var layer object[layerJSON]
		if err := layer.Scan(layers); err != nil {
			return flow.PhotoAsked{}, failure("AskPhoto", err, "", "")
		}
		asked.Photo.Layer = layer.V.layer()
	}
	return asked, nil
}
