package store

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/flow"
)

type photoRow struct {
	Added          int64 `gorm:"primaryKey"` // order of adding, given by SQLite
	ID             string
	BuildID        string
	SHA256         string `gorm:"column:sha256"`
	Bytes          int64
	FileName       string
	Kind           string
	Width          int
	Height         int
	Orientation    int
	ByID           string
	ReceivedAt     instant
	CapturedAt     instant
	CapturedOffset int
	CapturedSource string
	CapturedDoubt  string
	Camera         string
	Latitude       float64
	Longitude      float64
	Located        bool
	State          string
	Fault          string
	Tone           string
	ClaimedAt      instant
	ClaimedDoubt   string
	FromClock      bool
	CorrectionID   ref
	DurationMS     int `gorm:"column:duration_ms"`
	Hash           string
	Preview        []byte
	HandedOutAt    instant
	HandedOutBy    ref
	Layer          object[layerJSON]
}

func (photoRow) TableName() string { return "photos" }

func toPhotoRow(p journal.Photo) photoRow {
	return photoRow{
		ID: string(p.ID), BuildID: string(p.BuildID), SHA256: p.SHA256, Bytes: p.Bytes, FileName: p.FileName, Kind: p.Kind,
		Width: p.Width, Height: p.Height, Orientation: p.Orientation, ByID: string(p.ByID), ReceivedAt: at(p.ReceivedAt),
		CapturedAt: at(p.CapturedAt), CapturedOffset: p.CapturedOffset, CapturedSource: p.CapturedSource, CapturedDoubt: p.CapturedDoubt,
		Camera: p.Camera, Latitude: p.Latitude, Longitude: p.Longitude, Located: p.Located,
		State: string(p.State), Fault: p.Fault, Tone: p.Tone,
		ClaimedAt: at(p.ClaimedAt), ClaimedDoubt: p.ClaimedDoubt, FromClock: p.FromClock, CorrectionID: ref(p.CorrectionID),
		DurationMS: p.DurationMS, Hash: p.Hash, Preview: notNil(p.Preview),
		HandedOutAt: at(p.HandedOutAt), HandedOutBy: ref(p.HandedOutBy), Layer: object[layerJSON]{toLayerJSON(p.Layer)},
	}
}

func (r photoRow) photo() journal.Photo {
	return journal.Photo{
		ID: journal.PhotoID(r.ID), BuildID: journal.BuildID(r.BuildID), SHA256: r.SHA256, Bytes: r.Bytes, FileName: r.FileName, Kind: r.Kind,
		Width: r.Width, Height: r.Height, Orientation: r.Orientation, ByID: journal.PersonID(r.ByID), ReceivedAt: r.ReceivedAt.Time,
		CapturedAt: r.CapturedAt.Time, CapturedOffset: r.CapturedOffset, CapturedSource: r.CapturedSource, CapturedDoubt: r.CapturedDoubt,
		Camera: r.Camera, Latitude: r.Latitude, Longitude: r.Longitude, Located: r.Located,
		State: journal.PhotoState(r.State), Fault: r.Fault, Tone: r.Tone,
		ClaimedAt: r.ClaimedAt.Time, ClaimedDoubt: r.ClaimedDoubt, FromClock: r.FromClock, CorrectionID: journal.CorrectionID(r.CorrectionID),
		DurationMS: r.DurationMS, Hash: r.Hash, Preview: r.Preview,
		HandedOutAt: r.HandedOutAt.Time, HandedOutBy: journal.PersonID(r.HandedOutBy), Layer: r.Layer.V.layer(),
	}
}

// notNil is b, or an empty BLOB for none: the column takes no NULL.
func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

const (
	noPhoto = "There is no such photo."

	// photosOfStage are the photos of a stage's standing entries.
	photosOfStage = `SELECT ep.photo_id FROM entries JOIN entry_photos ep ON ep.entry_id = entries.id
		WHERE entries.build_id = ? AND entries.stage_id = ? AND entries.withdrawn_at = ''`

	// photoShared asks whether the owner's side may see one photo: in an entry,
	// or as evidence in a paper that was sent and not taken back. CROSS JOIN
	// keeps SQLite from starting with all that the build shows
	// (https://www.sqlite.org/optoverview.html#crossjoin).
	photoShared = `SELECT EXISTS (
		SELECT 1 FROM entry_photos ep CROSS JOIN entries ON entries.id = ep.entry_id
		WHERE ep.photo_id = @photo AND entries.build_id = @build AND ` + shown + `
	) OR EXISTS (
		SELECT 1 FROM revision_photos rp CROSS JOIN papers ON papers.id = rp.paper_id
		WHERE rp.photo_id = @photo AND papers.build_id = @build AND papers.state IN ('sent', 'signed', 'declined')
	) OR EXISTS (
		SELECT 1 FROM use_photos WHERE photo_id = @photo AND build_id = @build
	)`
)

func (r *reads) Photo(build journal.BuildID, id journal.PhotoID) (journal.Photo, error) {
	return take(r, "Photo", noPhoto, r.q().Where("build_id = ? AND id = ?", string(build), string(id)), photoRow.photo)
}

func (r *reads) Photos(build journal.BuildID, ids []journal.PhotoID) (map[journal.PhotoID]journal.Photo, error) {
	set, err := jsonArray(ids)
	if err != nil {
		return nil, fmt.Errorf("store.Photos: %w", err)
	}
	q := r.q().Where("build_id = ? AND id IN (SELECT value FROM json_each(?))", string(build), set)
	photos, err := find(r, "Photos", q, photoRow.photo)
	if err != nil {
		return nil, err
	}
	byID := make(map[journal.PhotoID]journal.Photo, len(photos))
	for _, p := range photos {
		byID[p.ID] = p
	}
	return byID, nil
}

func (r *reads) PhotoBySHA(build journal.BuildID, sha256 string) (journal.Photo, error) {
	return take(r, "PhotoBySHA", noPhoto, r.q().Where("build_id = ? AND sha256 = ?", string(build), sha256), photoRow.photo)
}

func (r *reads) LoosePhotos(build journal.BuildID, person journal.PersonID) ([]journal.Photo, error) {
	q := r.q().Where("build_id = ? AND by_id = ? AND places = 0", string(build), string(person))
	return find(r, "LoosePhotos", q.Order("received_at, added"), photoRow.photo)
}

// StagePhotos implements [flow.Reads]. A limit below 1 is no limit.
func (r *reads) StagePhotos(build journal.BuildID, stage journal.StageID, staff bool, limit int) ([]journal.Photo, error) {
	q := r.q().Where("id IN ("+ofStage(staff)+")", string(build), string(stage))
	return find(r, "StagePhotos", upTo(q.Order("captured_at, added"), limit), photoRow.photo)
}

func (r *reads) CountStagePhotos(build journal.BuildID, stage journal.StageID, staff bool) (int, error) {
	var n int
	err := r.scan("CountStagePhotos", &n, "SELECT count(DISTINCT photo_id) FROM ("+ofStage(staff)+")", string(build), string(stage))
	return n, err
}

// StagePhotosSize implements [flow.Reads].
func (r *reads) StagePhotosSize(build journal.BuildID, stage journal.StageID, staff bool) (int, int64, error) {
	var sum struct {
		Photos int
		Bytes  int64
	}
	err := r.scan("StagePhotosSize", &sum, "SELECT count(*) AS photos, coalesce(sum(bytes), 0) AS bytes FROM photos WHERE id IN ("+ofStage(staff)+")", string(build), string(stage))
	return sum.Photos, sum.Bytes, err
}

func ofStage(staff bool) string {
	if staff {
		return photosOfStage
	}
	return photosOfStage + " AND " + shown
}

func (r *reads) CountPhotos(build journal.BuildID, staff bool) (int, error) {
	query := "SELECT count(*) FROM photos WHERE build_id = ?"
	if !staff {
		query += " AND showings > 0"
	}
	var n int
	err := r.scan("CountPhotos", &n, query, string(build))
	return n, err
}

// PhotoShared implements [flow.Reads]. A paper that was taken back shows
// nothing until it is sent again.
func (r *reads) PhotoShared(build journal.BuildID, photo journal.PhotoID) (bool, error) {
	var yes bool
	err := r.scan("PhotoShared", &yes, photoShared, map[string]any{"build": string(build), "photo": string(photo)})
	return yes, err
}

// AllPhotos implements [flow.Reads], in the order of adding.
func (r *reads) AllPhotos(f func(journal.Photo) error) error {
	const page = 500
	for last := int64(0); ; {
		var rows []photoRow
		if err := r.q().Where("added > ?", last).Order("added").Limit(page).Find(&rows).Error; err != nil {
			return r.fail("AllPhotos", err, "", "")
		}
		for _, row := range rows {
			if err := f(row.photo()); err != nil {
				return err
			}
			last = row.Added
		}
		if len(rows) < page {
			return nil
		}
	}
}

// Cameras implements [flow.Reads].
func (r *reads) Cameras() ([]flow.CameraUse, error) {
	var rows []struct {
		Camera      string
		Photos      int
		First, Last instant
	}
	err := r.scan("Cameras", &rows, `SELECT camera, count(*) AS photos, min(claimed_at) AS first, max(claimed_at) AS last
		FROM photos WHERE camera <> '' GROUP BY camera ORDER BY camera`)
	uses := make([]flow.CameraUse, len(rows))
	for i, row := range rows {
		uses[i] = flow.CameraUse{Camera: row.Camera, Photos: row.Photos, First: row.First.Time, Last: row.Last.Time}
	}
	return uses, err
}

// PhotosOfCamera implements [flow.Reads].
func (r *reads) PhotosOfCamera(camera string) ([]journal.Photo, error) {
	q := r.q().Where("camera <> '' AND camera = ?", camera)
	return find(r, "PhotosOfCamera", q.Order("claimed_at, added"), photoRow.photo)
}

func (r *reads) HasOriginal(sha256 string) (bool, error) {
	var yes bool
	err := r.scan("HasOriginal", &yes, "SELECT EXISTS (SELECT 1 FROM photos WHERE sha256 = ?)", sha256)
	return yes, err
}

func (t *tx) AddPhoto(p journal.Photo) error {
	row := toPhotoRow(p)
	return t.add("AddPhoto", "This photo is in the build already.", &row)
}

func (t *tx) SavePhoto(p journal.Photo) error {
	return t.changePhoto("SavePhoto", p, "state = ?, fault = ?, tone = ?, hash = ?, preview = ?, width = ?, height = ?",
		string(p.State), p.Fault, p.Tone, p.Hash, notNil(p.Preview), p.Width, p.Height)
}

// SavePhotoTime implements [flow.Tx].
func (t *tx) SavePhotoTime(p journal.Photo) error {
	return t.changePhoto("SavePhotoTime", p, "captured_at = ?, captured_doubt = ?, correction_id = ?",
		at(p.CapturedAt), p.CapturedDoubt, ref(p.CorrectionID))
}

// SavePhotoHandedOut implements [flow.Tx].
func (t *tx) SavePhotoHandedOut(p journal.Photo) error {
	return t.changePhoto("SavePhotoHandedOut", p, "handed_out_at = ?, handed_out_by = ?", at(p.HandedOutAt), ref(p.HandedOutBy))
}

func (t *tx) changePhoto(op string, p journal.Photo, set string, values ...any) error {
	n, err := t.exec(op, "UPDATE photos SET "+set+" WHERE id = ? AND build_id = ?", append(values, string(p.ID), string(p.BuildID))...)
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, noPhoto)
	}
	return err
}
