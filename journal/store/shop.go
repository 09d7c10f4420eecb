package store

import (
	"farbay/journal"
)

type shopRow struct {
	ID           int `gorm:"primaryKey"` // always 1
	Name         string
	Address      string
	Phone        string
	Email        string
	Zone         string
	Currency     string
	LabourRate   int64
	Closures     list[closureJSON]
	QuietDays    int
	ReminderDays list[int]
	Version      int
}

type closureJSON struct {
	Day  journal.Date `json:"day"`
	Name string       `json:"name"`
}

func (shopRow) TableName() string { return "shop" }

func toShopRow(s journal.Shop) shopRow {
	return shopRow{
		ID: 1, Name: s.Name, Address: s.Address, Phone: s.Phone, Email: s.Email, Zone: s.Zone, Currency: s.Currency,
		LabourRate: int64(s.LabourRate), QuietDays: s.QuietDays, ReminderDays: listOf(s.ReminderDays), Version: s.Version,
		Closures: listOf(each(s.Closures, func(c journal.Closure) closureJSON { return closureJSON(c) })),
	}
}

func (r shopRow) shop() journal.Shop {
	return journal.Shop{
		Name: r.Name, Address: r.Address, Phone: r.Phone, Email: r.Email, Zone: r.Zone, Currency: r.Currency,
		LabourRate: journal.Cents(r.LabourRate), QuietDays: r.QuietDays, ReminderDays: r.ReminderDays.Items, Version: r.Version,
		Closures: each(r.Closures.Items, func(c closureJSON) journal.Closure { return journal.Closure(c) }),
	}
}

const noShop = "The shop has not been set up yet."

func (r *reads) Shop() (journal.Shop, error) {
	return take(r, "Shop", noShop, r.q(), shopRow.shop)
}

func (t *tx) SaveShop(s journal.Shop) error {
	row := toShopRow(s)
	row.Version++
	if s.Version == 0 {
		return t.add("SaveShop", "The shop has been set up already. Please reload the page.", &row)
	}
	return t.save("SaveShop", noShop, "", &row, s.Version, "id = 1")
}

type metaRow struct {
	Name  string `gorm:"primaryKey"`
	Value string
}

func (metaRow) TableName() string { return "meta" }

func (r *reads) Meta(key string) (string, error) {
	var rows []metaRow
	if err := r.q().Where("name = ?", key).Find(&rows).Error; err != nil {
		return "", r.fail("Meta", err, "", "")
	}
	if len(rows) == 0 {
		return "", nil
	}
	return rows[0].Value, nil
}

func (t *tx) SetMeta(key, value string) error {
	_, err := t.exec("SetMeta", "INSERT INTO meta (name, value) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET value = excluded.value", key, value)
	return err
}

type planRow struct {
	ID      string `gorm:"primaryKey"`
	Name    string
	Stages  list[planStageJSON]
	Version int
}

type planStageJSON struct {
	Name        string   `json:"name"`
	PlannedDays int      `json:"planned_days"`
	Photos      int      `json:"photos"`
	Checks      []string `json:"checks,omitempty"`
	Cautions    []string `json:"cautions,omitempty"`
	Teardown    bool     `json:"teardown,omitempty"`
}

func (planRow) TableName() string { return "plans" }

func toPlanRow(p journal.Plan) planRow {
	return planRow{
		ID: string(p.ID), Name: p.Name, Version: p.Version,
		Stages: listOf(each(p.Stages, func(s journal.PlanStage) planStageJSON {
			return planStageJSON{Name: s.Name, PlannedDays: s.PlannedDays, Photos: s.Gate.Photos, Checks: s.Gate.Checks, Cautions: s.Cautions, Teardown: s.Teardown}
		})),
	}
}

func (r planRow) plan() journal.Plan {
	return journal.Plan{
		ID: journal.PlanID(r.ID), Name: r.Name, Version: r.Version,
		Stages: each(r.Stages.Items, func(s planStageJSON) journal.PlanStage {
			return journal.PlanStage{Name: s.Name, PlannedDays: s.PlannedDays, Gate: journal.Gate{Photos: s.Photos, Checks: s.Checks}, Cautions: s.Cautions, Teardown: s.Teardown}
		}),
	}
}

const (
	noPlan    = "There is no such stage plan."
	planTaken = "There is a stage plan of this name already."
)

func (r *reads) Plan(id journal.PlanID) (journal.Plan, error) {
	return take(r, "Plan", noPlan, r.q().Where("id = ?", string(id)), planRow.plan)
}

func (r *reads) Plans() ([]journal.Plan, error) {
	return find(r, "Plans", r.q().Order("name COLLATE NOCASE, id"), planRow.plan)
}

func (t *tx) AddPlan(p journal.Plan) error {
	row := toPlanRow(p)
	return t.add("AddPlan", planTaken, &row)
}

func (t *tx) SavePlan(p journal.Plan) error {
	row := toPlanRow(p)
	row.Version++
	return t.save("SavePlan", noPlan, planTaken, &row, p.Version, "id = ?", row.ID)
}
