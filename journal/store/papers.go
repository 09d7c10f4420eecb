package store

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/signoff"
)

type paperRow struct {
	Added     int64 `gorm:"primaryKey"`
	ID        string
	BuildID   string
	Kind      string
	Number    int
	State     string
	StageID   ref // the draft's
	Draft     object[draftJSON]
	Revision  int
	EntryID   ref
	CreatedBy string
	CreatedAt instant
	Version   int
}

// draftJSON is a draft as it is stored, but for its stage.
type draftJSON struct {
	Title          string         `json:"title"`
	Reason         string         `json:"reason"`
	Photos         []evidenceJSON `json:"photos,omitempty"`
	Lines          []lineJSON     `json:"lines,omitempty"`
	Days           int            `json:"days,omitempty"`
	ReEstimate     bool           `json:"re_estimate,omitempty"`
	ReadyOn        journal.Date   `json:"ready_on,omitempty"`
	Destroyed      []string       `json:"destroyed,omitempty"`
	Reassembly     journal.Cents  `json:"reassembly,omitempty"`
	ReassemblyDays int            `json:"reassembly_days,omitempty"`
	HandedOver     []string       `json:"handed_over,omitempty"`
	OpenPoints     []string       `json:"open_points,omitempty"`
	DeliveredOn    journal.Date   `json:"delivered_on,omitempty"`
	Odometer       int            `json:"odometer,omitempty"`
	Delegate       *delegateJSON  `json:"delegate,omitempty"`
	Allowance      *limitsJSON    `json:"allowance,omitempty"`
	Adds           *newStageJSON  `json:"adds_stage,omitempty"`
	// AddedBears: the draft's stage is the one that it adds, which is in no table yet.
	AddedBears bool            `json:"added_bears,omitempty"`
	Drops      journal.StageID `json:"drops_stage,omitempty"`
	Stop       *stopJSON       `json:"early_stop,omitempty"`
}

type newStageJSON struct {
	ID      journal.StageID `json:"id"`
	Name    string          `json:"name"`
	Days    int             `json:"days"`
	After   journal.StageID `json:"after,omitempty"`
	Metered bool            `json:"metered,omitempty"`
}

type stopJSON struct {
	By     signoff.Wish `json:"by"`
	On     journal.Date `json:"on"`
	Truck  string       `json:"truck"`
	Parts  []string     `json:"parts,omitempty"`
	Earned []earnedJSON `json:"earned,omitempty"`
}

type earnedJSON struct {
	StageID journal.StageID `json:"stage"`
	Amount  journal.Cents   `json:"amount"`
}

type delegateJSON struct {
	Name  string `json:"name"`
	Email string `json:"email"`
	Phone string `json:"phone"`
}

type limitsJSON struct {
	PerFind  journal.Cents `json:"per_find"`
	PerMonth journal.Cents `json:"per_month"`
}

type evidenceJSON struct {
	PhotoID journal.PhotoID `json:"photo"`
	SHA256  string          `json:"sha256"`
	Caption string          `json:"caption"`
}

type lineJSON struct {
	StageID journal.StageID  `json:"stage,omitempty"`
	Kind    journal.LineKind `json:"kind"`
	Text    string           `json:"text"`
	Minutes int              `json:"minutes"`
	Rate    journal.Cents    `json:"rate"`
	Amount  journal.Cents    `json:"amount"`
}

func (paperRow) TableName() string { return "papers" }

func toPaperRow(p signoff.Paper) paperRow {
	draft, stage := toDraftJSON(p.Draft), p.Draft.StageID
	if draft.AddedBears {
		stage = ""
	}
	return paperRow{
		ID: string(p.ID), BuildID: string(p.BuildID), Kind: string(p.Kind), Number: p.Number, State: string(p.State),
		StageID: ref(stage), Revision: p.Revision, EntryID: ref(p.EntryID),
		Draft:     object[draftJSON]{draft},
		CreatedBy: string(p.CreatedBy), CreatedAt: at(p.CreatedAt), Version: p.Version,
	}
}

func (r paperRow) paper() signoff.Paper {
	return signoff.Paper{
		ID: journal.PaperID(r.ID), BuildID: journal.BuildID(r.BuildID), Kind: signoff.Kind(r.Kind), Number: r.Number, State: signoff.State(r.State),
		Revision: r.Revision, EntryID: journal.EntryID(r.EntryID),
		Draft:     r.Draft.V.draft(journal.StageID(r.StageID)),
		CreatedBy: journal.PersonID(r.CreatedBy), CreatedAt: r.CreatedAt.Time, Version: r.Version,
	}
}

func toDraftJSON(d signoff.Draft) draftJSON {
	j := draftJSON{
		Title: d.Title, Reason: d.Reason, Days: d.Days, ReEstimate: d.ReEstimate, ReadyOn: d.ReadyOn,
		Photos:    each(d.Photos, func(e signoff.Evidence) evidenceJSON { return evidenceJSON(e) }),
		Lines:     each(d.Lines, func(l signoff.Line) lineJSON { return lineJSON(l) }),
		Destroyed: d.Destroyed, Reassembly: d.Reassembly, ReassemblyDays: d.ReassemblyDays,
		HandedOver: d.HandedOver, OpenPoints: d.OpenPoints, DeliveredOn: d.DeliveredOn, Odometer: d.Odometer,
		Delegate: (*delegateJSON)(d.Delegate), Allowance: (*limitsJSON)(d.Allowance), Adds: (*newStageJSON)(d.Adds), Drops: d.Drops,
	}
	j.AddedBears = d.Adds != nil && d.StageID != "" && d.StageID == d.Adds.ID
	if x := d.Stop; x != nil {
		j.Stop = &stopJSON{By: x.By, On: x.On, Truck: x.Truck, Parts: x.Parts, Earned: each(x.Earned, func(e signoff.Earned) earnedJSON { return earnedJSON(e) })}
	}
	return j
}

func (j draftJSON) draft(stage journal.StageID) signoff.Draft {
	if j.AddedBears && j.Adds != nil {
		stage = j.Adds.ID
	}
	d := signoff.Draft{
		Title: j.Title, Reason: j.Reason, StageID: stage, Days: j.Days, ReEstimate: j.ReEstimate, ReadyOn: j.ReadyOn,
		Photos:    each(j.Photos, func(e evidenceJSON) signoff.Evidence { return signoff.Evidence(e) }),
		Lines:     each(j.Lines, func(l lineJSON) signoff.Line { return signoff.Line(l) }),
		Destroyed: j.Destroyed, Reassembly: j.Reassembly, ReassemblyDays: j.ReassemblyDays,
		HandedOver: j.HandedOver, OpenPoints: j.OpenPoints, DeliveredOn: j.DeliveredOn, Odometer: j.Odometer,
		Delegate: (*signoff.Delegate)(j.Delegate), Allowance: (*signoff.Limits)(j.Allowance), Adds: (*signoff.NewStage)(j.Adds), Drops: j.Drops,
	}
	if x := j.Stop; x != nil {
		d.Stop = &signoff.Stop{By: x.By, On: x.On, Truck: x.Truck, Parts: x.Parts, Earned: each(x.Earned, func(e earnedJSON) signoff.Earned { return signoff.Earned(e) })}
	}
	return d
}

const noPaper = "There is no such paper."

func (r *reads) Papers(build journal.BuildID) ([]signoff.Paper, error) {
	return find(r, "Papers", r.q().Where("build_id = ?", string(build)).Order("created_at, added"), paperRow.paper)
}

func (r *reads) Paper(build journal.BuildID, id journal.PaperID) (signoff.Paper, error) {
	return take(r, "Paper", noPaper, r.q().Where("build_id = ? AND id = ?", string(build), string(id)), paperRow.paper)
}

func (t *tx) AddPaper(p signoff.Paper) error {
	row := toPaperRow(p)
	return t.add("AddPaper", "There is a paper of this number already.", &row)
}

func (t *tx) SavePaper(p signoff.Paper) error {
	row := toPaperRow(p)
	row.Version++
	return t.save("SavePaper", noPaper, "There is a paper of this number already.", &row, p.Version, "id = ? AND build_id = ?", row.ID, row.BuildID)
}

type revisionRow struct {
	PaperID string `gorm:"primaryKey"`
	Number  int    `gorm:"primaryKey;autoIncrement:false"`
	Bytes   []byte
	SHA256  string `gorm:"column:sha256"`
	SentAt  instant
	SentBy  ref
}

func (revisionRow) TableName() string { return "revisions" }

func toRevisionRow(r signoff.Revision) revisionRow {
	return revisionRow{PaperID: string(r.PaperID), Number: r.Number, Bytes: r.Bytes, SHA256: r.SHA256, SentAt: at(r.SentAt), SentBy: ref(r.SentBy)}
}

func (r revisionRow) revision() signoff.Revision {
	return signoff.Revision{PaperID: journal.PaperID(r.PaperID), Number: r.Number, Bytes: r.Bytes, SHA256: r.SHA256, SentAt: r.SentAt.Time, SentBy: journal.PersonID(r.SentBy)}
}

type revisionPhotoRow struct {
	PaperID string `gorm:"primaryKey"`
	Number  int    `gorm:"primaryKey;autoIncrement:false"`
	PhotoID string `gorm:"primaryKey"`
	BuildID string
}

func (revisionPhotoRow) TableName() string { return "revision_photos" }

const noRevision = "There is no such revision of this paper."

func (r *reads) Revisions(paper journal.PaperID) ([]signoff.Revision, error) {
	return find(r, "Revisions", r.q().Where("paper_id = ?", string(paper)).Order("number"), revisionRow.revision)
}

func (r *reads) Revision(paper journal.PaperID, number int) (signoff.Revision, error) {
	return take(r, "Revision", noRevision, r.q().Where("paper_id = ? AND number = ?", string(paper), number), revisionRow.revision)
}

// AddRevision implements [flow.Tx]. The bytes must be a sheet of [signoff] and
// have the hash named; its evidence photos are noted, for they are shown to the
// owner's side from now on. Numbers go up by one; [journal.Conflict] when this
// one is taken or the paper is decided.
func (t *tx) AddRevision(r signoff.Revision) error {
	const op = "AddRevision"
	if sum := signoff.Hash(r.Bytes); sum != r.SHA256 {
		return t.fail(op, fmt.Errorf("revision %d of paper %s has the hash %s, not %s", r.Number, r.PaperID, sum, r.SHA256), "", "")
	}
	sheet, err := signoff.ParseSheet(r.Bytes)
	if err != nil {
		return t.fail(op, err, "", "")
	}
	paper, err := take(t.reads, op, noPaper, t.q().Where("id = ?", string(r.PaperID)), paperRow.paper)
	if err != nil {
		return err
	}
	var last, decided int
	if err := t.scan(op, &last, "SELECT coalesce(max(number), 0) FROM revisions WHERE paper_id = ?", string(r.PaperID)); err != nil {
		return err
	}
	if err := t.scan(op, &decided, "SELECT count(*) FROM decisions WHERE paper_id = ?", string(r.PaperID)); err != nil {
		return err
	}
	if decided > 0 {
		return journal.Errorf(journal.Conflict, "This paper is decided, so it cannot be sent again. Please write a new one.")
	}
	if r.Number <= last {
		return changedMeanwhile()
	}
	row := toRevisionRow(r)
	seen := map[journal.PhotoID]bool{}
	var evidence []revisionPhotoRow
	for _, p := range sheet.Photos {
		if !seen[p.ID] {
			seen[p.ID] = true
			evidence = append(evidence, revisionPhotoRow{PhotoID: string(p.ID), PaperID: row.PaperID, Number: row.Number, BuildID: string(paper.BuildID)})
		}
	}
	return t.whole(op, func() error {
		if err := t.add(op, "", &row); err != nil || len(evidence) == 0 {
			return err
		}
		return t.add(op, "", &evidence)
	})
}
