package flow_test

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
	"farbay/journal/store"
)

// yard is a shop with people and builds on a real database, for the tests of
// builds, entries, photos and overviews.
type yard struct {
	t     testing.TB
	db    *store.Store
	ids   *atomic.Int64
	path  string // of the database
	ctx   context.Context
	steps *flow.Steps
	now   time.Time

	office, jory, sam flow.Actor // jory and sam work on the floor
	ada, ben          flow.Actor // own heron and juniper
	dell              flow.Actor // ada's delegate

	heron, juniper journal.BuildID
}

type plainComposer struct{}

func (plainComposer) Compose(letter any, _ string) (string, string, error) {
	return fmt.Sprintf("%T", letter), fmt.Sprintf("%+v", letter), nil
}

// newYard opens the yard on Tuesday 14 April 2026, 3:12 pm in Denver. Both
// builds are being scoped; heron arrived on 9 January, juniper on 2 March.
func newYard(t testing.TB) *yard {
	t.Helper()
	filled.once.Do(func() { fillYard(t) })
	if filled.file == nil {
		t.Fatal("the yard could not be filled; see the first test that asked for it")
	}
	path := filepath.Join(t.TempDir(), "farbay.db")
	if err := os.WriteFile(path, filled.file, 0o600); err != nil {
		t.Fatal(err)
	}
	y := filled.yard
	y.open(t, path, filled.ids)
	t.Cleanup(y.close)
	return &y
}

// filled is a yard made once, and copied for each test.
var filled struct {
	once sync.Once
	file []byte // its database, closed
	yard yard
	ids  int64 // given out so far
}

func fillYard(t testing.TB) {
	path := filepath.Join(t.TempDir(), "farbay.db")
	y := &yard{ctx: context.Background(), now: time.Date(2026, 4, 14, 21, 12, 0, 0, time.UTC)}
	y.open(t, path, 0)
	shop := journal.Shop{Name: "Tern Hollow Truck Works", Zone: "America/Denver", Currency: "USD", LabourRate: 9500, QuietDays: 7}
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.SaveShop(shop) }))
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.AddLogKey(flow.LogKey{Public: y.steps.LogKey.Public(), At: y.now}) }))
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		_, err := tx.AddEvent(journal.Event{At: y.now, Kind: "log key made", Subject: y.steps.LogKey.Public(), Detail: `{"why":""}`})
		return err
	}))
	y.do(y.steps.SeedPlans(y.ctx))
	y.office = y.person("Marta Quill", journal.Office)
	y.jory = y.person("Jory Pike", journal.Floor)
	y.sam = y.person("Sam Teal", journal.Floor)
	y.ada = y.person("Ada Finch", journal.Owner)
	y.ben = y.person("Ben Marsh", journal.Owner)
	y.dell = y.person("Dell Finch", journal.Owner)
	y.heron = y.build("Heron", "2026-01-09", y.ada)
	y.juniper = y.build("Juniper", "2026-03-02", y.ben)
	y.do(y.steps.AddOwner(y.ctx, y.office, y.heron, flow.NewMember{PersonID: y.dell.Person.ID, As: journal.AsDelegate, NamedBy: "letter of 3 March"}))
	y.close()
	file, err := os.ReadFile(path)
	y.do(err)
	filled.file, filled.yard, filled.ids = file, *y, y.ids.Load()
}

// open gives the yard its steps on the database at path; ids begin after the
// given one.
func (y *yard) open(t testing.TB, path string, after int64) {
	t.Helper()
	db, err := store.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	ids := new(atomic.Int64)
	ids.Store(after)
	y.t, y.db, y.ids, y.path = t, db, ids, path
	y.steps = &flow.Steps{ConsentVersion: "1",
		Store: db, Now: func() time.Time { return y.now }, Compose: plainComposer{},
		NewID: func() string { return fmt.Sprintf("id%06d", ids.Add(1)) }, LogKey: yardKey.key(t),
	}
}

// yardKey signs the proof logs of all yards.
var yardKey keyOnce

type keyOnce struct {
	once sync.Once
	made prooflog.Key
}

func (k *keyOnce) key(t testing.TB) prooflog.Key {
	t.Helper()
	var err error
	k.once.Do(func() { _, k.made, err = prooflog.NewKey(rand.Reader, "yard.example/log") })
	if err != nil {
		t.Fatal(err)
	}
	return k.made
}

func (y *yard) close() {
	if err := y.db.Close(); err != nil {
		y.t.Error(err)
	}
}

func (y *yard) person(name string, role journal.Role) flow.Actor {
	y.t.Helper()
	p := journal.Person{
		ID: journal.PersonID(y.steps.NewID()), Name: name, Role: role, CreatedAt: y.now, PasswordHash: "hash of " + name,
		Email: strings.ToLower(strings.ReplaceAll(name, " ", ".")) + "@example.org", Phone: "555 0100",
	}
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.AddPerson(p) }))
	return flow.Actor{Person: p, Session: journal.Session{How: "test"}, Address: "192.0.2.1", UserAgent: "test"}
}

func (y *yard) build(nickname string, arrived journal.Date, owner flow.Actor) journal.BuildID {
	y.t.Helper()
	plans := got(y.steps.Plans(y.ctx, y.office))(y.t)
	id := got(y.steps.CreateBuild(y.ctx, y.office, flow.NewBuild{
		Nickname: nickname, PlanID: plans[0].ID, LeadID: y.jory.Person.ID, ArrivedOn: arrived,
		Truck: journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman", Serial: "OF7-10442", Unit: "miles"},
	}))(y.t)
	y.do(y.steps.AddOwner(y.ctx, y.office, id, flow.NewMember{PersonID: owner.Person.ID, As: journal.AsOwner}))
	return id
}

// agree gives every stage of a build 1,000.00 of labour and records the
// agreement.
func (y *yard) agree(build journal.BuildID) {
	y.t.Helper()
	y.agreeOn(build, func([]flow.StageScope) {})
}

// agreeOn is agree, with the stages as changed.
func (y *yard) agreeOn(build journal.BuildID, change func([]flow.StageScope)) {
	y.t.Helper()
	v := y.view(build)
	var rows []flow.StageScope
	for _, st := range v.Stages {
		row := rowOf(st)
		row.Value = journal.Split{Labour: 100_000}
		rows = append(rows, row)
	}
	change(rows)
	var total journal.Cents
	for _, row := range rows {
		total += row.Value.Total()
	}
	y.do(y.steps.SaveScope(y.ctx, y.office, build, rows))
	y.do(y.steps.RecordAgreement(y.ctx, y.office, build, flow.Agreement{
		Version: y.view(build).Build.Version, On: "2026-02-02", How: "signed on paper, in the file", ReadyOn: "2026-09-24", Total: total,
	}))
}

func rowOf(st journal.Stage) flow.StageScope {
	return flow.StageScope{
		StageID: st.ID, Version: st.Version, Name: st.Name, Value: st.Value, Metered: st.Metered, PlannedDays: st.PlannedDays,
		PlannedFrom: st.PlannedFrom, PlannedTo: st.PlannedTo, LeadID: st.LeadID,
	}
}

func (y *yard) view(build journal.BuildID) flow.BuildView {
	y.t.Helper()
	return got(y.steps.BuildShow(y.ctx, y.office, build))(y.t)
}

// stage returns the build's n-th stage, counted from 0, as stored.
func (y *yard) stage(build journal.BuildID, n int) journal.Stage {
	y.t.Helper()
	return y.view(build).Stages[n]
}

// photo records a photo whose camera says it was taken at the given time; the
// zero time is a file that says nothing.
func (y *yard) photo(a flow.Actor, build journal.BuildID, seed int, taken time.Time) journal.Photo {
	y.t.Helper()
	p, duplicate, err := y.steps.RecordPhoto(y.ctx, a, build, aPhoto(seed, taken))
	y.do(err)
	if duplicate {
		y.t.Fatalf("photo %d is a duplicate", seed)
	}
	return p
}

func aPhoto(seed int, taken time.Time) journal.Photo {
	return journal.Photo{
		SHA256: fmt.Sprintf("%064x", seed), Bytes: 3_000_000, FileName: fmt.Sprintf("IMG_%04d.jpg", seed), Kind: "image/jpeg",
		Width: 4032, Height: 3024, Orientation: 6, CapturedAt: taken, CapturedSource: "camera with offset",
		Camera: "Lumen 12", Latitude: 39.7, Longitude: -105, Located: true,
	}
}

// entry posts an entry with the photos to a build's first stage.
func (y *yard) entry(a flow.Actor, build journal.BuildID, audience journal.Audience, text string, photos ...journal.Photo) journal.Entry {
	y.t.Helper()
	return got(y.steps.PostEntry(y.ctx, a, build, flow.NewEntry{
		StageID: y.stage(build, 0).ID, Kind: journal.KindProgress, Audience: audience, Text: text, Photos: placed(photos...),
	}))(y.t)
}

func placed(photos ...journal.Photo) []journal.EntryPhoto {
	var list []journal.EntryPhoto
	for _, p := range photos {
		list = append(list, journal.EntryPhoto{PhotoID: p.ID, Caption: "of " + p.FileName})
	}
	return list
}

func (y *yard) events(build journal.BuildID, kind string) []journal.Event {
	y.t.Helper()
	var found []journal.Event
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		all, err := r.Events(build)
		for _, e := range all {
			if e.Kind == kind {
				found = append(found, e)
			}
		}
		return err
	}))
	return found
}

func (y *yard) saveTerms(build journal.BuildID, t billing.Terms) error {
	y.t.Helper()
	return y.steps.SaveTerms(y.ctx, y.office, build, y.view(build).Build.Version, t)
}

func (y *yard) do(err error) {
	y.t.Helper()
	if err != nil {
		y.t.Fatal(err)
	}
}

// got passes a value on, and fails the test on an error.
func got[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// refused fails the test unless err has the code and a message in whole
// sentences; fields names the form fields that must have one too, and no other
// may.
func refused(t testing.TB, err error, code journal.Code, fields ...string) {
	t.Helper()
	var e *journal.Error
	if !errors.As(err, &e) || e.Code != code {
		t.Fatalf("got %v, want %s", err, code)
	}
	sentences := []string{e.Message}
	for _, name := range fields {
		if e.Fields[name] == "" {
			t.Errorf("no sentence for field %q: %v", name, err)
		}
	}
	if len(e.Fields) != len(fields) {
		t.Errorf("fields are %v, want %q", e.Fields, fields)
	}
	for _, s := range e.Fields {
		sentences = append(sentences, s)
	}
	for _, s := range sentences {
		if !strings.HasSuffix(s, ".") || strings.ToUpper(s[:1]) != s[:1] {
			t.Errorf("not a whole sentence: %q", s)
		}
	}
}
