package store

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"gorm.io/gorm"

	"farbay/journal"
	"farbay/journal/flow"
)

// heard is a statement as it was sent, with its parameters apart: for a plan it
// matters whether a value stands in the text.
type heard struct {
	sql    string
	params []any
}

// listen keeps the statements that the reading handle sends while f runs.
func listen(t testing.TB, s *Store, f func(flow.Reads) error) []heard {
	t.Helper()
	var statements []heard
	keep := func(db *gorm.DB) {
		statements = append(statements, heard{db.Statement.SQL.String(), slices.Clone(db.Statement.Vars)})
	}
	calls := s.reader.Callback()
	for _, err := range []error{calls.Query().Register("test:listen", keep), calls.Row().Register("test:listen", keep)} {
		if err != nil {
			t.Fatal(err)
		}
	}
	read(t, s, f)
	for _, err := range []error{calls.Query().Remove("test:listen"), calls.Row().Remove("test:listen")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	return statements
}

// TestPlans asks SQLite how it would answer the questions behind the pages of a
// build of 3,000 photos: by indices, without going through a table, and the
// journal in its index's order.
// Reading a plan: https://www.sqlite.org/eqp.html
func TestPlans(t *testing.T) {
	s := yard(t)
	longBuild(t, s, 3000)
	sendPaper(t, s, "paper", photo(heron, 1000).ID)
	cursor := flow.EntryCursor{At: noon.AddDate(0, 1, 0), ID: "x"}
	for _, c := range []struct {
		name string
		ask  func(flow.Reads) error
		want string // what the plan must say
		sort bool   // whether the answer is sorted after it was found
	}{
		{"journal page, owner", func(r flow.Reads) error {
			_, err := r.Entries(heron, flow.EntryQuery{Limit: 20, Before: cursor})
			return err
		}, "entries_shown", false},
		{"journal page, staff", func(r flow.Reads) error {
			_, err := r.Entries(heron, flow.EntryQuery{Limit: 20, Before: cursor, Staff: true})
			return err
		}, "entries_by_time", false},
		{"journal page, one stage", func(r flow.Reads) error {
			_, err := r.Entries(heron, flow.EntryQuery{Limit: 20, StageID: teardown})
			return err
		}, "entries_of_stage", false},
		{"entry beside", func(r flow.Reads) error { _, err := r.EntryBeside(heron, cursor, true, false); return err }, "entries_shown", false},
		{"count shared", func(r flow.Reads) error { _, err := r.CountShared(heron, noon); return err }, "entries_news", false},
		{"stage photos", func(r flow.Reads) error { _, err := r.StagePhotos(heron, teardown, false, 50); return err }, "entries_of_stage", true},
		{"count stage photos", func(r flow.Reads) error { _, err := r.CountStagePhotos(heron, teardown, true); return err }, "entries_of_stage", true},
		{"size of stage photos", func(r flow.Reads) error { _, _, err := r.StagePhotosSize(heron, teardown, false); return err }, "entries_of_stage", true},
		{"count photos, owner", func(r flow.Reads) error { _, err := r.CountPhotos(heron, false); return err }, "COVERING INDEX photos_shown", false},
		{"loose photos", func(r flow.Reads) error { _, err := r.LoosePhotos(heron, jory); return err }, "photos_loose", false},
		{"photo shared", func(r flow.Reads) error { _, err := r.PhotoShared(heron, photo(heron, 2000).ID); return err }, "SEARCH ep USING COVERING INDEX sqlite_autoindex_entry_photos_2 (photo_id=?)", false},
		{"photo by hash", func(r flow.Reads) error { _, err := r.PhotoBySHA(heron, photo(heron, 2000).SHA256); return err }, "INDEX sqlite_autoindex_photos_2 (build_id=? AND sha256=?)", false},
		{"original used", func(r flow.Reads) error { _, err := r.HasOriginal(photo(heron, 2000).SHA256); return err }, "photos_by_original", false},
		{"entries of photo", func(r flow.Reads) error { _, err := r.EntriesOfPhoto(heron, photo(heron, 2000).ID); return err }, "sqlite_autoindex_entries_1", true},
		{"photos of a page", func(r flow.Reads) error {
			_, err := r.Photos(heron, []journal.PhotoID{photo(heron, 1001).ID})
			return err
		}, "INDEX sqlite_autoindex_photos_3 (build_id=? AND id=?)", false},
		{"last news", func(r flow.Reads) error { _, err := r.LastNews(heron); return err }, "entries_news", false},
		{"jobs", func(r flow.Reads) error { _, err := r.PendingJobs(journal.JobDerive); return err }, "jobs_waiting", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			statements := listen(t, s, c.ask)
			if len(statements) == 0 {
				t.Fatal("no statement was heard")
			}
			used := ""
			for _, statement := range statements {
				used += statement.sql + "\n" + plan(t, s, statement)
			}
			if !strings.Contains(used, c.want) {
				t.Errorf("the plan does not say %s:\n%s", c.want, used)
			}
			for line := range strings.Lines(used) {
				// json_each is the parameter, the jobs' index holds only what waits.
				if strings.HasPrefix(line, "SCAN ") && !strings.Contains(line, "json_each") &&
					!strings.Contains(line, "jobs_waiting") && !strings.Contains(line, "CONSTANT ROW") {
					t.Errorf("a table is gone through: %s", line)
				}
				if strings.Contains(line, "TEMP B-TREE FOR ORDER BY") && !c.sort {
					t.Errorf("the answer is sorted: %s", line)
				}
			}
			if t.Failed() {
				t.Log(used)
			}
		})
	}
}

func plan(t testing.TB, s *Store, statement heard) string {
	t.Helper()
	rows, err := s.reader.Raw("EXPLAIN QUERY PLAN "+statement.sql, statement.params...).Rows()
	if err != nil {
		t.Fatalf("%s: %v", statement.sql, err)
	}
	defer rows.Close()
	text := ""
	for rows.Next() {
		var id, parent, unused int
		var detail string
		if err := rows.Scan(&id, &parent, &unused, &detail); err != nil {
			t.Fatal(err)
		}
		text += fmt.Sprintln(detail)
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	return text
}
