package store

import (
	"fmt"

	"farbay/journal"
)

type letterRow struct {
	Added     int64 `gorm:"primaryKey"`
	ID        string
	BuildID   ref
	PersonID  ref
	Address   string
	Name      string
	Subject   string
	Text      string
	CreatedAt instant
	SentAt    instant
	Tries     int
	Fault     string

	Reminds     ref
	RemindsOpen int64
	Dropped     string
}

func (letterRow) TableName() string { return "letters" }

func toLetterRow(l journal.Letter) letterRow {
	return letterRow{
		ID: string(l.ID), BuildID: ref(l.BuildID), PersonID: ref(l.PersonID), Address: l.To, Name: l.ToName, Subject: l.Subject, Text: l.Text,
		CreatedAt: at(l.CreatedAt), SentAt: at(l.SentAt), Tries: l.Tries, Fault: l.Fault,
		Reminds: ref(l.Reminds), RemindsOpen: int64(l.RemindsOpen), Dropped: l.Dropped,
	}
}

// letter returns the letter without its files, which are rows of their own.
func (r letterRow) letter() journal.Letter {
	return journal.Letter{
		ID: journal.LetterID(r.ID), BuildID: journal.BuildID(r.BuildID), PersonID: journal.PersonID(r.PersonID), To: r.Address, ToName: r.Name, Subject: r.Subject, Text: r.Text,
		CreatedAt: r.CreatedAt.Time, SentAt: r.SentAt.Time, Tries: r.Tries, Fault: r.Fault,
		Reminds: journal.InvoiceID(r.Reminds), RemindsOpen: journal.Cents(r.RemindsOpen), Dropped: r.Dropped,
	}
}

type letterFileRow struct {
	LetterID    string `gorm:"primaryKey"`
	Position    int    `gorm:"primaryKey;autoIncrement:false"`
	Name        string
	ContentType string
	Data        []byte
}

func (letterFileRow) TableName() string { return "letter_files" }

const noLetter = "There is no such letter."

func (r *reads) Letter(id journal.LetterID) (journal.Letter, error) {
	l, err := take(r, "Letter", noLetter, r.q().Where("id = ?", string(id)), letterRow.letter)
	if err != nil {
		return journal.Letter{}, err
	}
	one := []journal.Letter{l}
	err = r.addFiles(one)
	return one[0], err
}

// Letters implements [flow.Reads]. A limit below 1 is no limit.
func (r *reads) Letters(limit int) ([]journal.Letter, error) {
	letters, err := find(r, "Letters", upTo(r.q().Order("created_at DESC, added DESC"), limit), letterRow.letter)
	if err != nil {
		return nil, err
	}
	return letters, r.addFiles(letters)
}

// FailedLetters implements [flow.Reads].
func (r *reads) FailedLetters() (int, error) {
	var n int
	err := r.scan("FailedLetters", &n, "SELECT count(*) FROM letters WHERE sent_at = '' AND fault <> '' AND dropped = ''")
	return n, err
}

// addFiles fills in the letters' files.
func (r *reads) addFiles(letters []journal.Letter) error {
	place := make(map[string]int, len(letters))
	ids := make([]journal.LetterID, len(letters))
	for i, l := range letters {
		place[string(l.ID)], ids[i] = i, l.ID
	}
	set, err := jsonArray(ids)
	if err != nil {
		return fmt.Errorf("store: files of letters: %w", err)
	}
	var rows []letterFileRow
	q := r.q().Where("letter_id IN (SELECT value FROM json_each(?))", set).Order("letter_id, position")
	if err := q.Find(&rows).Error; err != nil {
		return r.fail("Letters", err, "", "")
	}
	for _, row := range rows {
		l := &letters[place[row.LetterID]]
		l.Files = append(l.Files, journal.LetterFile{Name: row.Name, ContentType: row.ContentType, Data: row.Data})
	}
	return nil
}

func (t *tx) AddLetter(l journal.Letter) error {
	const op = "AddLetter"
	row := toLetterRow(l)
	return t.whole(op, func() error {
		if err := t.add(op, "There is such a letter already.", &row); err != nil {
			return err
		}
		for i, f := range l.Files {
			// A file of no bytes is empty, not NULL.
			file := letterFileRow{LetterID: row.ID, Position: i, Name: f.Name, ContentType: f.ContentType, Data: append([]byte{}, f.Data...)}
			if err := t.add(op, "", &file); err != nil {
				return err
			}
		}
		return nil
	})
}

func (t *tx) SaveLetter(l journal.Letter) error {
	n, err := t.exec("SaveLetter", "UPDATE letters SET sent_at = ?, tries = ?, fault = ?, dropped = ? WHERE id = ?", at(l.SentAt), l.Tries, l.Fault, l.Dropped, string(l.ID))
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, noLetter)
	}
	return err
}
