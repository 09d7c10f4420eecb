package store

import (
	"context"
	"database/sql"
	"errors"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"farbay/journal"
	"farbay/journal/flow"
)

// searched returns the ids of the entries of Heron that a search finds.
func searched(t testing.TB, s *Store, words string, staff bool) (ids []string) {
	t.Helper()
	found := get(t, s, func(r flow.Reads) ([]flow.EntryFound, error) {
		return r.SearchEntries(flow.EntrySearch{BuildID: heron, Words: words, Staff: staff, Limit: 10})
	})
	for _, f := range found {
		ids = append(ids, string(f.Entry.ID))
	}
	return ids
}

func addWords(tx flow.Tx, id journal.EntryID, audience journal.Audience, hour int, text string, captions ...string) error {
	e := journal.Entry{
		ID: id, BuildID: heron, StageID: teardown, AuthorID: jory, Kind: journal.KindProgress, Audience: audience, Text: text,
		HappenedAt: hours(hour), PostedAt: hours(hour), SharedAt: hours(hour), Version: 1,
	}
	for i, c := range captions {
		p := photo(heron, 100*hour+i)
		if err := tx.AddPhoto(p); err != nil {
			return err
		}
		e.Photos = append(e.Photos, journal.EntryPhoto{PhotoID: p.ID, Caption: c})
	}
	return tx.AddEntry(e)
}

func TestSearchEntries(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		return errors.Join(
			addWords(tx, "pan", journal.OwnerToo, 1, "The floor pan is through at the Körner bracket.", "", "rust seen from below"),
			addWords(tx, "wire", journal.ShopOnly, 2, "Wiring of the floor heater; 12-pin plug.", "plug, open"),
			addWords(tx, "late", journal.OwnerToo, 3, "Floor panels primed."))
	})
	for _, c := range []struct {
		words string
		staff bool
		want  []string
		why   string
	}{
		{"floor", true, []string{"late", "wire", "pan"}, "newest first"},
		{"floor", false, []string{"late", "pan"}, "an owner does not find what only the shop sees"},
		{"plug", false, nil, "nor by a caption"},
		{"FLOOR pan", true, []string{"late", "pan"}, "every word, as the beginning of one"},
		{"korner", true, []string{"pan"}, "marks over letters do not matter"},
		{"rust below", true, []string{"pan"}, "captions are searched"},
		{"12-pin", true, []string{"wire"}, "signs part words"},
		{"floor OR nothing", true, nil, "words that are operators elsewhere are words"},
		{`"floor`, true, []string{"late", "wire", "pan"}, "quotes are no syntax"},
		{"text:floor", true, nil, "nor are column names"},
		{"*", true, nil, "no word, nothing found"},
		{strings.Repeat("floor ", 500), true, []string{"late", "wire", "pan"}, "a long search is cut"},
	} {
		if got := searched(t, s, c.words, c.staff); !slices.Equal(got, c.want) {
			t.Errorf("%q (%s): got %v, want %v", c.words, c.why, got, c.want)
		}
	}
	found := get(t, s, func(r flow.Reads) ([]flow.EntryFound, error) {
		return r.SearchEntries(flow.EntrySearch{BuildID: heron, Words: "rust", Staff: true, Limit: 10})
	})
	if len(found) != 1 || !strings.Contains(found[0].Snippet, "\x02rust\x03 seen") || len(found[0].Entry.Photos) != 2 {
		t.Errorf("found %+v, want the caption with its word marked, and the entry's photos", found)
	}
}

// TestSearchEntries_follows: what is found is what stands in the entry now.
func TestSearchEntries_follows(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error { return addWords(tx, "one", journal.OwnerToo, 1, "gasket", "before", "after") })
	e := get(t, s, func(r flow.Reads) (journal.Entry, error) { return r.Entry(heron, "one") })
	edit := journal.EntryEdit{EntryID: "one", Version: 1, Kind: e.Kind, Audience: e.Audience, StageID: e.StageID, Text: e.Text, Photos: e.Photos, ByID: jory, At: noon}
	e.Text, e.Photos = "bracket", e.Photos[1:]
	write(t, s, func(tx flow.Tx) error { return tx.SaveEntry(e, edit) })
	for words, want := range map[string]int{"gasket": 0, "before": 0, "bracket": 1, "after": 1} {
		if got := searched(t, s, words, true); len(got) != want {
			t.Errorf("%q finds %v, want %d", words, got, want)
		}
	}
	edits := get(t, s, func(r flow.Reads) ([]journal.EntryEdit, error) { return r.EditsOfPhoto(heron, edit.Photos[0].PhotoID) })
	if len(edits) != 1 || edits[0].EntryID != "one" {
		t.Errorf("the photo was taken out of an entry, and its history says %v", edits)
	}
}

// TestMigrate_PhotoWork: a database of the first version keeps its photos and
// entries; their times become claims and their words can be found.
func TestMigrate_PhotoWork(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farbay.db")
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	old := fstest.MapFS{}
	for _, name := range []string{"00001_tables.sql", "00002_guards.sql"} {
		text, err := embedded.ReadFile("migrations/" + name)
		if err != nil {
			t.Fatal(err)
		}
		old[name] = &fstest.MapFile{Data: text}
	}
	if err := migrate(context.Background(), db, path, old); err != nil {
		t.Fatal(err)
	}
	for _, statement := range []string{
		`INSERT INTO people VALUES ('jory', 'Jory', 'j@example.org', '', 'floor', '', '` + at(noon).text() + `', '')`,
		`INSERT INTO builds (id, nickname, year, make, model, serial, odometer, unit, colour, plan_name, state, arrived_on, ready_on, agreed_on, agreed_how, delivered_on, created_at, version)
			VALUES ('heron', 'Heron', 1968, 'Ostler', 'Range', '1', 1, 'miles', '', '', 'agreed', '', '', '', '', '', '` + at(noon).text() + `', 1)`,
		`INSERT INTO stages (id, build_id, position, name, labour, parts, outside, delivery, other, planned_days, planned_from, planned_to, gate_photos, gate_checks, cautions, state, opened_at, closed_at, version)
			VALUES ('teardown', 'heron', 1, 'Teardown', 0, 0, 0, 0, 0, 1, '', '', 0, '[]', '[]', 'under way', '', '', 1)`,
		`INSERT INTO photos (id, build_id, sha256, bytes, file_name, kind, width, height, orientation, by_id, received_at, captured_at, captured_offset, captured_source, captured_doubt, camera, latitude, longitude, located, state, fault, tone)
			VALUES ('p', 'heron', '` + photo(heron, 1).SHA256 + `', 1, 'a.jpg', 'image/jpeg', 4, 3, 1, 'jory', '` + at(hours(9)).text() + `', '` + at(noon).text() + `', 0, 'camera with offset', 'odd', 'Ostler One', 0, 0, 0, 'ready', '', '#000000')`,
		`INSERT INTO entries VALUES ('e', 'heron', 'teardown', 'jory', 'progress', 'owner too', 'Seized bolt', '` + at(noon).text() + `', '` + at(noon).text() + `', '` + at(noon).text() + `', '', '', '', 1)`,
		`INSERT INTO entry_photos VALUES ('e', 0, 'heron', 'p', 'hub, left')`,
	} {
		if _, err := db.ExecContext(context.Background(), statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	p := get(t, s, func(r flow.Reads) (journal.Photo, error) { return r.Photo("heron", "p") })
	if !p.ClaimedAt.Equal(noon) || p.ClaimedDoubt != "odd" || !p.FromClock || len(p.Preview) != 0 || !p.Layer.Plain() {
		t.Errorf("the photo became %+v", p)
	}
	for _, words := range []string{"seized", "hub"} {
		if got := searched(t, s, words, false); !slices.Equal(got, []string{"e"}) {
			t.Errorf("%q finds %v", words, got)
		}
	}
}
