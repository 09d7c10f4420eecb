package store

import (
	"farbay/journal"
)

type workRow struct {
	Added      int64 `gorm:"primaryKey"`
	ID         string
	BuildID    string
	StageID    string
	Kind       string
	Day        string
	Text       string
	PersonID   ref
	Minutes    int
	Rate       int64
	Cost       int64
	MarkUp     int64
	Amount     int64
	FileName   string
	FileSHA256 string `gorm:"column:file_sha256"`
	TakesBack  ref
	Reason     string
	ByID       string
	At         instant
}

func (workRow) TableName() string { return "work" }

func toWorkRow(w journal.Work) workRow {
	return workRow{
		ID: string(w.ID), BuildID: string(w.BuildID), StageID: string(w.StageID), Kind: string(w.Kind), Day: string(w.Day), Text: w.Text,
		PersonID: ref(w.PersonID), Minutes: w.Minutes, Rate: int64(w.Rate), Cost: int64(w.Cost), MarkUp: int64(w.MarkUp), Amount: int64(w.Amount),
		FileName: w.FileName, FileSHA256: w.FileSHA256, TakesBack: ref(w.TakesBack), Reason: w.Reason, ByID: string(w.ByID), At: at(w.At),
	}
}

func (r workRow) work() journal.Work {
	return journal.Work{
		ID: journal.WorkID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), Kind: journal.LineKind(r.Kind), Day: journal.Date(r.Day), Text: r.Text,
		PersonID: journal.PersonID(r.PersonID), Minutes: r.Minutes, Rate: journal.Cents(r.Rate), Cost: journal.Cents(r.Cost), MarkUp: journal.BasisPoints(r.MarkUp), Amount: journal.Cents(r.Amount),
		FileName: r.FileName, FileSHA256: r.FileSHA256, TakesBack: journal.WorkID(r.TakesBack), Reason: r.Reason, ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type workFileRow struct {
	WorkID      string `gorm:"primaryKey"`
	Name        string
	ContentType string
	SHA256      string `gorm:"column:sha256"`
	Data        []byte
}

func (workFileRow) TableName() string { return "work_files" }

func (r workFileRow) file() journal.WorkFile {
	return journal.WorkFile{WorkID: journal.WorkID(r.WorkID), Name: r.Name, ContentType: r.ContentType, SHA256: r.SHA256, Data: r.Data}
}

// Works implements [flow.Reads].
func (r *reads) Works(build journal.BuildID) ([]journal.Work, error) {
	return find(r, "Works", r.q().Where("build_id = ?", string(build)).Order("added"), workRow.work)
}

// WorkFileOf implements [flow.Reads].
func (r *reads) WorkFileOf(build journal.BuildID, id journal.WorkID) (journal.WorkFile, error) {
	q := r.q().Where("work_id = (SELECT id FROM work WHERE build_id = ? AND id = ?)", string(build), string(id))
	return take(r, "WorkFileOf", "There is no such file.", q, workFileRow.file)
}

// AddWork implements [flow.Tx].
func (t *tx) AddWork(w journal.Work) error {
	row := toWorkRow(w)
	return t.add("AddWork", "This is logged already, or was taken back before.", &row)
}

// AddWorkFile implements [flow.Tx].
func (t *tx) AddWorkFile(f journal.WorkFile) error {
	row := workFileRow{WorkID: string(f.WorkID), Name: f.Name, ContentType: f.ContentType, SHA256: f.SHA256, Data: f.Data}
	return t.add("AddWorkFile", "This work has its file already.", &row)
}
