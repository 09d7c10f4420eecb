package store

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

type entryRow struct {
	ID           string `gorm:"primaryKey"`
	BuildID      string
	StageID      string
	AuthorID     string
	Kind         string
	Audience     string
	Text         string
	HappenedAt   instant
	PostedAt     instant
	SharedAt     instant
	EditedAt     instant
	WithdrawnAt  instant
	WithdrawnWhy string
	Version      int
}

func (entryRow) TableName() string { return "entries" }

func toEntryRow(e journal.Entry) entryRow {
	return entryRow{
		ID: string(e.ID), BuildID: string(e.BuildID), StageID: string(e.StageID), AuthorID: string(e.AuthorID),
		Kind: string(e.Kind), Audience: string(e.Audience), Text: e.Text,
		HappenedAt: at(e.HappenedAt), PostedAt: at(e.PostedAt), SharedAt: at(e.SharedAt), EditedAt: at(e.EditedAt),
		WithdrawnAt: at(e.WithdrawnAt), WithdrawnWhy: e.WithdrawnWhy, Version: e.Version,
	}
}

// entry returns the entry without its photos, which are rows of their own.
func (r entryRow) entry() journal.Entry {
	return journal.Entry{
		ID: journal.EntryID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), AuthorID: journal.PersonID(r.AuthorID),
		Kind: journal.EntryKind(r.Kind), Audience: journal.Audience(r.Audience), Text: r.Text,
		HappenedAt: r.HappenedAt.Time, PostedAt: r.PostedAt.Time, SharedAt: r.SharedAt.Time, EditedAt: r.EditedAt.Time,
		WithdrawnAt: r.WithdrawnAt.Time, WithdrawnWhy: r.WithdrawnWhy, Version: r.Version,
	}
}

type entryPhotoRow struct {
	EntryID  string `gorm:"primaryKey"`
	Position int    `gorm:"primaryKey;autoIncrement:false"`
	BuildID  string
	PhotoID  string
	Caption  string
}

func (entryPhotoRow) TableName() string { return "entry_photos" }

type entryPhotoJSON struct {
	PhotoID journal.PhotoID `json:"photo"`
	Caption string          `json:"caption"`
}

type entryEditRow struct {
	EntryID  string `gorm:"primaryKey"`
	Version  int    `gorm:"primaryKey;autoIncrement:false"`
	Kind     string
	Audience string
	StageID  string
	Text     string
	Photos   list[entryPhotoJSON]
	ByID     string
	At       instant
}

func (entryEditRow) TableName() string { return "entry_edits" }

func toEntryEditRow(e journal.EntryEdit) entryEditRow {
	return entryEditRow{
		EntryID: string(e.EntryID), Version: e.Version, Kind: string(e.Kind), Audience: string(e.Audience), StageID: string(e.StageID), Text: e.Text,
		Photos: listOf(each(e.Photos, func(p journal.EntryPhoto) entryPhotoJSON { return entryPhotoJSON(p) })),
		ByID:   string(e.ByID), At: at(e.At),
	}
}

func (r entryEditRow) entryEdit() journal.EntryEdit {
	return journal.EntryEdit{
		EntryID: journal.EntryID(r.EntryID), Version: r.Version, Kind: journal.EntryKind(r.Kind), Audience: journal.Audience(r.Audience),
		StageID: journal.StageID(r.StageID), Text: r.Text,
		Photos: each(r.Photos.Items, func(p entryPhotoJSON) journal.EntryPhoto { return journal.EntryPhoto(p) }),
		ByID:   journal.PersonID(r.ByID), At: r.At.Time,
	}
}

const (
	noEntry = "There is no such entry."

	// shown is what the owner's side sees. It stands in queries as it stands in
	// the indices' WHERE, without parameters, or SQLite would not use them.
	shown = "audience = 'owner too' AND withdrawn_at = ''"
)

// Entries implements [flow.Reads]. A Limit below 1 is no limit.
func (r *reads) Entries(build journal.BuildID, want flow.EntryQuery) ([]journal.Entry, error) {
	q := r.q().Where("build_id = ?", string(build))
	if want.StageID != "" {
		q = q.Where("stage_id = ?", string(want.StageID))
	}
	if want.Kind != "" {
		q = q.Where("kind = ?", string(want.Kind))
	}
	if !want.Staff {
		q = q.Where(shown)
	}
	if want.Before != (flow.EntryCursor{}) {
		q = q.Where("(happened_at, id) < (?, ?)", at(want.Before.At), string(want.Before.ID))
	}
	entries, err := find(r, "Entries", upTo(q.Order("happened_at DESC, id DESC"), want.Limit), entryRow.entry)
	if err != nil {
		return nil, err
	}
	return entries, r.addPhotos(entries)
}

func (r *reads) Entry(build journal.BuildID, id journal.EntryID) (journal.Entry, error) {
	q := r.q().Where("build_id = ? AND id = ?", string(build), string(id))
	return r.withPhotos(take(r, "Entry", noEntry, q, entryRow.entry))
}

func (r *reads) EntryBeside(build journal.BuildID, place flow.EntryCursor, above, staff bool) (journal.Entry, error) {
	visible := shown
	if staff {
		visible = "withdrawn_at = ''"
	}
	beyond, order := "(happened_at, id) < (?, ?)", "happened_at DESC, id DESC"
	if above {
		beyond, order = "(happened_at, id) > (?, ?)", "happened_at, id"
	}
	q := r.q().Where("build_id = ?", string(build)).Where(visible).Where(beyond, at(place.At), string(place.ID)).
		Where("EXISTS (SELECT 1 FROM entry_photos ep WHERE ep.entry_id = entries.id)")
	return r.withPhotos(take(r, "EntryBeside", noEntry, q.Order(order), entryRow.entry))
}

func (r *reads) EntriesOfPhoto(build journal.BuildID, photo journal.PhotoID) ([]journal.Entry, error) {
	// The plus keeps SQLite from going through all entries of the build.
	q := r.q().Where("+build_id = ? AND id IN (SELECT entry_id FROM entry_photos WHERE photo_id = ?)", string(build), string(photo))
	entries, err := find(r, "EntriesOfPhoto", q.Order("happened_at DESC, id DESC"), entryRow.entry)
	if err != nil {
		return nil, err
	}
	return entries, r.addPhotos(entries)
}

func (r *reads) withPhotos(e journal.Entry, err error) (journal.Entry, error) {
	if err != nil {
		return journal.Entry{}, err
	}
	one := []journal.Entry{e}
	err = r.addPhotos(one)
	return one[0], err
}

// addPhotos fills in the photos of the entries.
func (r *reads) addPhotos(entries []journal.Entry) error {
	place := make(map[string]int, len(entries))
	ids := make([]journal.EntryID, len(entries))
	for i, e := range entries {
		place[string(e.ID)], ids[i] = i, e.ID
	}
	set, err := jsonArray(ids)
	if err != nil {
		return fmt.Errorf("store: photos of entries: %w", err)
	}
	var rows []entryPhotoRow
	q := r.q().Where("entry_id IN (SELECT value FROM json_each(?))", set).Order("entry_id, position")
	if err := q.Find(&rows).Error; err != nil {
		return r.fail("Entries", err, "", "")
	}
	for _, row := range rows {
		e := &entries[place[row.EntryID]]
		e.Photos = append(e.Photos, journal.EntryPhoto{PhotoID: journal.PhotoID(row.PhotoID), Caption: row.Caption})
	}
	return nil
}

func (r *reads) EntryEdits(id journal.EntryID) ([]journal.EntryEdit, error) {
	return find(r, "EntryEdits", r.q().Where("entry_id = ?", string(id)).Order("version"), entryEditRow.entryEdit)
}

func (r *reads) CountShared(build journal.BuildID, since time.Time) (int, error) {
	var n int
	err := r.scan("CountShared", &n, "SELECT count(*) FROM entries WHERE build_id = ? AND shared_at > ? AND "+shown, string(build), at(since))
	return n, err
}

func (t *tx) AddEntry(e journal.Entry) error {
	const op = "AddEntry"
	row := toEntryRow(e)
	return t.whole(op, func() error {
		if err := t.add(op, "There is such an entry already.", &row); err != nil {
			return err
		}
		return t.insertPhotos(op, e.BuildID, e.ID, 0, e.Photos)
	})
}

// SaveEntry implements [flow.Tx]. The edit must be of this entry and of the
// version that is replaced.
func (t *tx) SaveEntry(e journal.Entry, replaced journal.EntryEdit) error {
	const op = "SaveEntry"
	if replaced.EntryID != e.ID || replaced.Version != e.Version {
		return t.fail(op, fmt.Errorf("version %d of entry %s is to be replaced, the history is of version %d of %s",
			e.Version, e.ID, replaced.Version, replaced.EntryID), "", "")
	}
	row, edit := toEntryRow(e), toEntryEditRow(replaced)
	row.Version++
	return t.whole(op, func() error {
		if err := t.save(op, noEntry, "", &row, e.Version, "id = ? AND build_id = ?", row.ID, row.BuildID); err != nil {
			return err
		}
		if err := t.add(op, "", &edit); err != nil {
			return err
		}
		if _, err := t.exec(op, "DELETE FROM entry_photos WHERE entry_id = ?", row.ID); err != nil {
			return err
		}
		return t.insertPhotos(op, e.BuildID, e.ID, 0, e.Photos)
	})
}

// DateEntry implements [flow.Tx].
func (t *tx) DateEntry(build journal.BuildID, id journal.EntryID, happened time.Time) error {
	n, err := t.exec("DateEntry", "UPDATE entries SET happened_at = ? WHERE id = ? AND build_id = ?", at(happened), string(id), string(build))
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, noEntry)
	}
	return err
}

// EditsOfPhoto implements [flow.Reads].
func (r *reads) EditsOfPhoto(build journal.BuildID, photo journal.PhotoID) ([]journal.EntryEdit, error) {
	q := r.q().Where("entry_id IN (SELECT id FROM entries WHERE build_id = ?)", string(build)).
		Where("EXISTS (SELECT 1 FROM json_each(photos) WHERE json_extract(value, '$.photo') = ?)", string(photo))
	return find(r, "EditsOfPhoto", q.Order("at, entry_id, version"), entryEditRow.entryEdit)
}

func (t *tx) AppendPhotos(build journal.BuildID, id journal.EntryID, photos []journal.EntryPhoto) error {
	e, err := t.Entry(build, id)
	if err != nil {
		return err
	}
	there := map[journal.PhotoID]bool{}
	for _, p := range e.Photos {
		there[p.PhotoID] = true
	}
	var fresh []journal.EntryPhoto
	for _, p := range photos {
		if !there[p.PhotoID] {
			there[p.PhotoID] = true
			fresh = append(fresh, p)
		}
	}
	return t.insertPhotos("AppendPhotos", build, id, len(e.Photos), fresh)
}

// insertPhotos puts photos into an entry, the first at position from.
func (t *tx) insertPhotos(op string, build journal.BuildID, id journal.EntryID, from int, photos []journal.EntryPhoto) error {
	if len(photos) == 0 {
		return nil
	}
	rows := make([]entryPhotoRow, len(photos))
	for i, p := range photos {
		rows[i] = entryPhotoRow{EntryID: string(id), Position: from + i, BuildID: string(build), PhotoID: string(p.PhotoID), Caption: p.Caption}
	}
	return t.add(op, "A photo is listed twice in this entry.", &rows)
}
