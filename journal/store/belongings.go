package store

import (
	"time"

	"farbay/journal"
)

type belongingRow struct {
	EntryID string `gorm:"primaryKey"`
	BuildID string
	What    string
	AskedBy string
	AskedAt instant
	DoneBy  ref
	DoneAt  instant
}

func (belongingRow) TableName() string { return "belongings" }

func toBelongingRow(b journal.Belonging) belongingRow {
	return belongingRow{
		EntryID: string(b.EntryID), BuildID: string(b.BuildID), What: b.What, AskedBy: string(b.AskedBy), AskedAt: at(b.AskedAt),
		DoneBy: ref(b.DoneBy), DoneAt: at(b.DoneAt),
	}
}

func (r belongingRow) belonging() journal.Belonging {
	return journal.Belonging{
		EntryID: journal.EntryID(r.EntryID), BuildID: journal.BuildID(r.BuildID), What: r.What,
		AskedBy: journal.PersonID(r.AskedBy), AskedAt: r.AskedAt.Time, DoneBy: journal.PersonID(r.DoneBy), DoneAt: r.DoneAt.Time,
	}
}

type belongingAnswerRow struct {
	EntryID       string `gorm:"primaryKey"`
	Number        int    `gorm:"primaryKey;autoIncrement:false"`
	Answer        string
	Note          string
	PersonID      string
	At            instant
	Authenticated string
	Address       string
	UserAgent     string
}

func (belongingAnswerRow) TableName() string { return "belonging_answers" }

func toBelongingAnswerRow(entry journal.EntryID, number int, a journal.Answered) belongingAnswerRow {
	return belongingAnswerRow{
		EntryID: string(entry), Number: number, Answer: string(a.Answer), Note: a.Note, PersonID: string(a.PersonID), At: at(a.At),
		Authenticated: a.Authenticated, Address: a.Address, UserAgent: a.UserAgent,
	}
}

func (r belongingAnswerRow) answered() journal.Answered {
	return journal.Answered{
		Answer: journal.BelongingAnswer(r.Answer), Note: r.Note, PersonID: journal.PersonID(r.PersonID), At: r.At.Time,
		Authenticated: r.Authenticated, Address: r.Address, UserAgent: r.UserAgent,
	}
}

// Belongings implements [flow.Reads].
func (r *reads) Belongings(build journal.BuildID) ([]journal.Belonging, error) {
	all, err := find(r, "Belongings", r.q().Where("build_id = ?", string(build)).Order("asked_at, entry_id"), belongingRow.belonging)
	for i := range all {
		if err != nil {
			return nil, err
		}
		all[i].Answers, err = r.answers(all[i].EntryID)
	}
	return all, err
}

// Belonging implements [flow.Reads].
func (r *reads) Belonging(build journal.BuildID, entry journal.EntryID) (journal.Belonging, error) {
	b, err := take(r, "Belonging", "The owner was not asked about this find.", r.q().Where("build_id = ? AND entry_id = ?", string(build), string(entry)), belongingRow.belonging)
	if err != nil {
		return b, err
	}
	b.Answers, err = r.answers(entry)
	return b, err
}

func (r *reads) answers(entry journal.EntryID) ([]journal.Answered, error) {
	return find(r, "Belonging", r.q().Where("entry_id = ?", string(entry)).Order("number"), belongingAnswerRow.answered)
}

func (t *tx) AddBelonging(b journal.Belonging) error {
	row := toBelongingRow(b)
	return t.add("AddBelonging", "The owner was asked about this find already.", &row)
}

// AnswerBelonging implements [flow.Tx].
func (t *tx) AnswerBelonging(entry journal.EntryID, number int, a journal.Answered) error {
	const op = "AnswerBelonging"
	var last int
	if err := t.scan(op, &last, "SELECT coalesce(max(number), 0) FROM belonging_answers WHERE entry_id = ?", string(entry)); err != nil {
		return err
	}
	if number != last+1 {
		return changedMeanwhile()
	}
	row := toBelongingAnswerRow(entry, number, a)
	return t.add(op, "This was answered a moment ago; please look at it again.", &row)
}

// DoneBelonging implements [flow.Tx].
func (t *tx) DoneBelonging(entry journal.EntryID, by journal.PersonID, when time.Time) error {
	n, err := t.exec("DoneBelonging", "UPDATE belongings SET done_by = ?, done_at = ? WHERE entry_id = ? AND done_at = ''", ref(by), at(when), string(entry))
	if err == nil && n == 0 {
		return journal.Errorf(journal.Conflict, "This was marked as done already.")
	}
	return err
}
