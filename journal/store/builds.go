package store

import (
	"time"

	"farbay/journal"
)

type buildRow struct {
	ID          string `gorm:"primaryKey"`
	Nickname    string
	Year        int
	Make        string
	Model       string
	Serial      string
	Odometer    int
	Unit        string
	Colour      string
	PlanName    string
	State       string
	LeadID      ref
	ArrivedOn   string
	ReadyOn     string
	AgreedOn    string
	AgreedHow   string
	DeliveredOn string
	StoppedOn   string
	CreatedAt   instant
	Version     int
}

func (buildRow) TableName() string { return "builds" }

func toBuildRow(b journal.Build) buildRow {
	return buildRow{
		ID: string(b.ID), Nickname: b.Nickname,
		Year: b.Truck.Year, Make: b.Truck.Make, Model: b.Truck.Model, Serial: b.Truck.Serial,
		Odometer: b.Truck.Odometer, Unit: b.Truck.Unit, Colour: b.Truck.Colour,
		PlanName: b.PlanName, State: string(b.State), LeadID: ref(b.LeadID),
		ArrivedOn: string(b.ArrivedOn), ReadyOn: string(b.ReadyOn), AgreedOn: string(b.AgreedOn), AgreedHow: b.AgreedHow,
		DeliveredOn: string(b.DeliveredOn), StoppedOn: string(b.StoppedOn), CreatedAt: at(b.CreatedAt), Version: b.Version,
	}
}

func (r buildRow) build() journal.Build {
	return journal.Build{
		ID: journal.BuildID(r.ID), Nickname: r.Nickname,
		Truck: journal.Truck{
			Year: r.Year, Make: r.Make, Model: r.Model, Serial: r.Serial,
			Odometer: r.Odometer, Unit: r.Unit, Colour: r.Colour,
		},
		PlanName: r.PlanName, State: journal.BuildState(r.State), LeadID: journal.PersonID(r.LeadID),
		ArrivedOn: journal.Date(r.ArrivedOn), ReadyOn: journal.Date(r.ReadyOn), AgreedOn: journal.Date(r.AgreedOn), AgreedHow: r.AgreedHow,
		DeliveredOn: journal.Date(r.DeliveredOn), StoppedOn: journal.Date(r.StoppedOn), CreatedAt: r.CreatedAt.Time, Version: r.Version,
	}
}

const (
	noBuild       = "There is no such build."
	nicknameTaken = "There is a build of this nickname already."
	buildOrder    = "state IN ('delivered', 'stopped'), nickname COLLATE NOCASE, id"
)

func (r *reads) Build(id journal.BuildID) (journal.Build, error) {
	return take(r, "Build", noBuild, r.q().Where("id = ?", string(id)), buildRow.build)
}

func (r *reads) Builds() ([]journal.Build, error) {
	return find(r, "Builds", r.q().Order(buildOrder), buildRow.build)
}

func (r *reads) BuildsOf(person journal.PersonID) ([]journal.Build, error) {
	q := r.q().Where("id IN (SELECT build_id FROM members WHERE person_id = ? AND ended_at = '')", string(person))
	return find(r, "BuildsOf", q.Order(buildOrder), buildRow.build)
}

func (t *tx) AddBuild(b journal.Build) error {
	row := toBuildRow(b)
	return t.add("AddBuild", nicknameTaken, &row)
}

func (t *tx) SaveBuild(b journal.Build) error {
	row := toBuildRow(b)
	row.Version++
	return t.save("SaveBuild", noBuild, nicknameTaken, &row, b.Version, "id = ?", row.ID)
}

type memberRow struct {
	BuildID  string
	PersonID string
	Quality  string
	NamedBy  string
	PaperID  ref
	AddedAt  instant
	EndedAt  instant
	EndedBy  ref
}

func (memberRow) TableName() string { return "members" }

func toMemberRow(m journal.Member) memberRow {
	return memberRow{
		BuildID: string(m.BuildID), PersonID: string(m.PersonID), Quality: string(m.As), NamedBy: m.NamedBy,
		PaperID: ref(m.PaperID), AddedAt: at(m.AddedAt), EndedAt: at(m.EndedAt), EndedBy: ref(m.EndedBy),
	}
}

func (r memberRow) member() journal.Member {
	return journal.Member{
		BuildID: journal.BuildID(r.BuildID), PersonID: journal.PersonID(r.PersonID), As: journal.MemberAs(r.Quality), NamedBy: r.NamedBy,
		PaperID: journal.PaperID(r.PaperID), AddedAt: r.AddedAt.Time, EndedAt: r.EndedAt.Time, EndedBy: journal.PersonID(r.EndedBy),
	}
}

func (r *reads) Members(build journal.BuildID) ([]journal.Member, error) {
	q := r.q().Where("build_id = ? AND ended_at = ''", string(build))
	return find(r, "Members", q.Order("quality = 'delegate', added_at, added"), memberRow.member)
}

func (r *reads) Member(build journal.BuildID, person journal.PersonID) (journal.Member, error) {
	q := r.q().Where("build_id = ? AND person_id = ? AND ended_at = ''", string(build), string(person))
	return take(r, "Member", noBuild, q, memberRow.member)
}

func (t *tx) AddMember(m journal.Member) error {
	row := toMemberRow(m)
	return t.add("AddMember", "This person belongs to the build already.", &row)
}

func (t *tx) EndMember(build journal.BuildID, person, by journal.PersonID, when time.Time) error {
	n, err := t.exec("EndMember", "UPDATE members SET ended_at = ?, ended_by = ? WHERE build_id = ? AND person_id = ? AND ended_at = ''",
		at(when), ref(by), string(build), string(person))
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, "This person does not belong to the build.")
	}
	return err
}

type visitRow struct {
	BuildID  string `gorm:"primaryKey"`
	PersonID string `gorm:"primaryKey"`
	LastAt   instant
	PriorAt  instant
}

func (visitRow) TableName() string { return "visits" }

func toVisitRow(v journal.Visit) visitRow {
	return visitRow{BuildID: string(v.BuildID), PersonID: string(v.PersonID), LastAt: at(v.LastAt), PriorAt: at(v.PriorAt)}
}

func (r visitRow) visit() journal.Visit {
	return journal.Visit{BuildID: journal.BuildID(r.BuildID), PersonID: journal.PersonID(r.PersonID), LastAt: r.LastAt.Time, PriorAt: r.PriorAt.Time}
}

func (r *reads) Visit(build journal.BuildID, person journal.PersonID) (journal.Visit, error) {
	visits, err := find(r, "Visit", r.q().Where("build_id = ? AND person_id = ?", string(build), string(person)), visitRow.visit)
	if len(visits) == 1 {
		return visits[0], nil
	}
	return journal.Visit{BuildID: build, PersonID: person}, err
}

func (t *tx) SaveVisit(v journal.Visit) error {
	row := toVisitRow(v)
	_, err := t.exec("SaveVisit", `INSERT INTO visits (build_id, person_id, last_at, prior_at) VALUES (?, ?, ?, ?)
		ON CONFLICT (build_id, person_id) DO UPDATE SET last_at = excluded.last_at, prior_at = excluded.prior_at`,
		row.BuildID, row.PersonID, row.LastAt, row.PriorAt)
	return err
}
