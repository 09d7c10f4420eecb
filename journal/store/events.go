package store

import (
	"time"

	"farbay/journal"
)

type eventRow struct {
	Seq      int64 `gorm:"primaryKey;autoIncrement:false"`
	At       instant
	BuildID  ref
	PersonID ref
	Kind     string
	Subject  string
	Detail   string
}

func (eventRow) TableName() string { return "events" }

func toEventRow(e journal.Event) eventRow {
	return eventRow{Seq: e.Seq, At: at(e.At), BuildID: ref(e.BuildID), PersonID: ref(e.PersonID), Kind: e.Kind, Subject: e.Subject, Detail: e.Detail}
}

func (r eventRow) event() journal.Event {
	return journal.Event{Seq: r.Seq, At: r.At.Time, BuildID: journal.BuildID(r.BuildID), PersonID: journal.PersonID(r.PersonID), Kind: r.Kind, Subject: r.Subject, Detail: r.Detail}
}

func (r *reads) Events(build journal.BuildID) ([]journal.Event, error) {
	return find(r, "Events", r.q().Where("build_id IS ?", ref(build)).Order("seq"), eventRow.event)
}

func (r *reads) LastEvent(build journal.BuildID, until time.Time) (journal.Event, error) {
	last, err := find(r, "LastEvent", r.q().Where("build_id IS ? AND at <= ?", ref(build), at(until)).Order("seq DESC").Limit(1), eventRow.event)
	if err == nil && len(last) == 0 {
		err = journal.Errorf(journal.NotFound, "Nothing was on record by then.")
	}
	if err != nil {
		return journal.Event{}, err
	}
	return last[0], nil
}

// AddEvent implements [flow.Tx]. Writes are serialised and a failed one leaves
// nothing, so the last Seq plus one leaves no gap; a trigger refuses any other.
// The event joins the proof log's tree at once.
func (t *tx) AddEvent(e journal.Event) (journal.Event, error) {
	if err := t.scan("AddEvent", &e.Seq, "SELECT coalesce(max(seq), 0) + 1 FROM events"); err != nil {
		return journal.Event{}, err
	}
	row := toEventRow(e)
	if err := t.add("AddEvent", "", &row); err != nil {
		return journal.Event{}, err
	}
	return e, t.logged(e)
}

// lastNews is one look-up in an index for each kind of news.
const lastNews = `SELECT max(
	coalesce((SELECT max(shared_at) FROM entries WHERE build_id = @build AND ` + shown + `), ''),
	coalesce((SELECT max(r.sent_at) FROM papers p JOIN revisions r ON r.paper_id = p.id WHERE p.build_id = @build), ''),
	coalesce((SELECT max(issued_at) FROM invoices WHERE build_id = @build), ''))`

// LastNews implements [flow.Reads]. An entry that was withdrawn, or is no
// longer shared, does not count.
func (r *reads) LastNews(build journal.BuildID) (time.Time, error) {
	var last instant
	err := r.scan("LastNews", &last, lastNews, map[string]any{"build": string(build)})
	return last.Time, err
}
