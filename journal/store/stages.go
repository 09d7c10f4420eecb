package store

import (
	"fmt"

	"farbay/journal"
)

type stageRow struct {
	ID          string `gorm:"primaryKey"`
	BuildID     string
	Position    int
	Name        string
	Labour      int64
	Parts       int64
	Outside     int64
	Delivery    int64
	Other       int64
	PlannedDays int
	PlannedFrom string
	PlannedTo   string
	LeadID      ref
	GatePhotos  int
	GateChecks  list[string]
	Cautions    list[string]
	Teardown    bool
	Metered     bool
	DroppedBy   ref
	State       string
	OpenedAt    instant
	ClosedAt    instant
	Version     int
}

func (stageRow) TableName() string { return "stages" }

func toStageRow(s journal.Stage) stageRow {
	return stageRow{
		ID: string(s.ID), BuildID: string(s.BuildID), Position: s.Position, Name: s.Name,
		Labour: int64(s.Value.Labour), Parts: int64(s.Value.Parts), Outside: int64(s.Value.Outside),
		Delivery: int64(s.Value.Delivery), Other: int64(s.Value.Other),
		PlannedDays: s.PlannedDays, PlannedFrom: string(s.PlannedFrom), PlannedTo: string(s.PlannedTo), LeadID: ref(s.LeadID),
		GatePhotos: s.Gate.Photos, GateChecks: listOf(s.Gate.Checks), Cautions: listOf(s.Cautions), Teardown: s.Teardown,
		Metered: s.Metered, DroppedBy: ref(s.DroppedBy),
		State: string(s.State), OpenedAt: at(s.OpenedAt), ClosedAt: at(s.ClosedAt), Version: s.Version,
	}
}

func (r stageRow) stage() journal.Stage {
	return journal.Stage{
		ID: journal.StageID(r.ID), BuildID: journal.BuildID(r.BuildID), Position: r.Position, Name: r.Name,
		Value: journal.Split{
			Labour: journal.Cents(r.Labour), Parts: journal.Cents(r.Parts), Outside: journal.Cents(r.Outside),
			Delivery: journal.Cents(r.Delivery), Other: journal.Cents(r.Other),
		},
		PlannedDays: r.PlannedDays, PlannedFrom: journal.Date(r.PlannedFrom), PlannedTo: journal.Date(r.PlannedTo), LeadID: journal.PersonID(r.LeadID),
		Gate: journal.Gate{Photos: r.GatePhotos, Checks: r.GateChecks.Items}, Cautions: r.Cautions.Items, Teardown: r.Teardown,
		Metered: r.Metered, DroppedBy: journal.PaperID(r.DroppedBy),
		State: journal.StageState(r.State), OpenedAt: r.OpenedAt.Time, ClosedAt: r.ClosedAt.Time, Version: r.Version,
	}
}

const noStage = "There is no such stage."

func (r *reads) Stages(build journal.BuildID) ([]journal.Stage, error) {
	return find(r, "Stages", r.q().Where("build_id = ?", string(build)).Order("position, id"), stageRow.stage)
}

func (r *reads) Stage(build journal.BuildID, id journal.StageID) (journal.Stage, error) {
	return take(r, "Stage", noStage, r.q().Where("build_id = ? AND id = ?", string(build), string(id)), stageRow.stage)
}

func (t *tx) AddStage(s journal.Stage) error {
	row := toStageRow(s)
	return t.add("AddStage", "There is such a stage already.", &row)
}

func (t *tx) SaveStage(s journal.Stage) error {
	row := toStageRow(s)
	row.Version++
	return t.save("SaveStage", noStage, "", &row, s.Version, "id = ? AND build_id = ?", row.ID, row.BuildID)
}

// DropStage removes a stage that nothing refers to. It returns
// [journal.Conflict] when something does: a ticked check, an entry, a paper.
func (t *tx) DropStage(build journal.BuildID, id journal.StageID) error {
	const op = "DropStage"
	res := t.q().Exec("DELETE FROM stages WHERE build_id = ? AND id = ?", string(build), string(id))
	if restricted(res.Error) {
		return &journal.Error{Code: journal.Conflict, Message: "Work is recorded on this stage, so it cannot be removed.", Err: fmt.Errorf("store.%s: %w", op, res.Error)}
	}
	if res.Error == nil && res.RowsAffected == 0 {
		return journal.Errorf(journal.NotFound, noStage)
	}
	return t.fail(op, res.Error, "", "")
}

type checkRow struct {
	StageID  string
	Text     string
	PersonID string
	At       instant
}

func (checkRow) TableName() string { return "checks" }

func toCheckRow(c journal.Check) checkRow {
	return checkRow{StageID: string(c.StageID), Text: c.Text, PersonID: string(c.PersonID), At: at(c.At)}
}

func (r checkRow) check() journal.Check {
	return journal.Check{StageID: journal.StageID(r.StageID), Text: r.Text, PersonID: journal.PersonID(r.PersonID), At: r.At.Time}
}

func (r *reads) Checks(stage journal.StageID) ([]journal.Check, error) {
	return find(r, "Checks", r.q().Where("stage_id = ?", string(stage)).Order("at, added"), checkRow.check)
}

func (t *tx) AddCheck(c journal.Check) error {
	row := toCheckRow(c)
	_, err := t.exec("AddCheck", `INSERT INTO checks (stage_id, text, person_id, at) VALUES (?, ?, ?, ?)
		ON CONFLICT (stage_id, text) DO NOTHING`, row.StageID, row.Text, row.PersonID, row.At)
	return err
}

func (t *tx) DropCheck(stage journal.StageID, text string) error {
	_, err := t.exec("DropCheck", "DELETE FROM checks WHERE stage_id = ? AND text = ?", string(stage), text)
	return err
}

type turnRow struct {
	StageID string
	State   string
	Reason  string
	ByID    ref
	At      instant
}

func (turnRow) TableName() string { return "turns" }

func toTurnRow(t journal.Turn) turnRow {
	return turnRow{StageID: string(t.StageID), State: string(t.To), Reason: t.Reason, ByID: ref(t.ByID), At: at(t.At)}
}

func (r turnRow) turn() journal.Turn {
	return journal.Turn{StageID: journal.StageID(r.StageID), To: journal.StageState(r.State), Reason: r.Reason, ByID: journal.PersonID(r.ByID), At: r.At.Time}
}

func (r *reads) Turns(build journal.BuildID) ([]journal.Turn, error) {
	q := r.q().Where("stage_id IN (SELECT id FROM stages WHERE build_id = ?)", string(build))
	return find(r, "Turns", q.Order("added"), turnRow.turn)
}

func (t *tx) AddTurn(turn journal.Turn) error {
	row := toTurnRow(turn)
	return t.add("AddTurn", "", &row)
}
