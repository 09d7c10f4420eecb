package store

import (
	"context"
	"crypto/rand"
	"fmt"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

// shop is a shop whose people act through the steps, for tests of many acts on one
// database. Its clock moves on by a minute with every question for it.
type shop struct {
	steps  *flow.Steps
	office flow.Actor
	owner  journal.PersonID
	ctx    context.Context
	ids    int
	now    time.Time
}

type plainComposer struct{}

func (plainComposer) Compose(letter any, _ string) (string, string, error) {
	return fmt.Sprintf("%T", letter), fmt.Sprintf("%+v", letter), nil
}

// newShop fills an empty database with a shop, one person of the office and an
// owner; secret opens its key of the proof log.
func newShop(t testing.TB, s *Store) (made *shop, secret string) {
	t.Helper()
	secret, key, err := prooflog.NewKey(rand.Reader, "shop.example/log")
	ok(t, err)
	made = openShop(s, key, "a")
	write(t, s, func(tx flow.Tx) error {
		for _, p := range []journal.Person{made.office.Person, {ID: ada, Name: "Ada Finch", Role: journal.Owner, Email: "ada@example.org", CreatedAt: noon}} {
			if err := tx.AddPerson(p); err != nil {
				return err
			}
		}
		if err := tx.SaveShop(journal.Shop{Name: "Tern Hollow Truck Works", Zone: "America/Denver", Currency: "USD", LabourRate: 9500, QuietDays: 7}); err != nil {
			return err
		}
		if err := tx.AddLogKey(flow.LogKey{Public: key.Public(), At: noon}); err != nil {
			return err
		}
		_, err := tx.AddEvent(journal.Event{At: noon, Kind: "log key made", Subject: key.Public(), Detail: `{"why":""}`})
		return err
	})
	ok(t, made.steps.SeedPlans(made.ctx))
	return made, secret
}

// openShop gives steps on a database that holds a shop; its ids begin with prefix.
func openShop(store flow.Store, key prooflog.Key, prefix string) *shop {
	p := &shop{ctx: context.Background(), owner: ada, now: noon.Truncate(time.Millisecond)}
	p.office = flow.Actor{Person: journal.Person{ID: pat, Name: "Pat Moor", Role: journal.Office, Email: "pat@example.org", CreatedAt: noon}}
	p.steps = &flow.Steps{
		Store: store, ConsentVersion: "1", Compose: plainComposer{}, LogKey: key,
		Now: func() time.Time { p.now = p.now.Add(time.Minute); return p.now },
		NewID: func() string {
			p.ids++
			return fmt.Sprintf("%s%015d", prefix, p.ids)
		},
	}
	return p
}

// meteredCeiling is that of the last stage of every build.
const meteredCeiling journal.Cents = 1_000_000

// build agrees on a build of so many stages, each of 1,000.00 with parts in it, and
// one more by time and materials; their gates ask for nothing. It opens them all and
// returns those of a fixed price.
func (p *shop) build(t testing.TB, nickname string, stages int) (journal.BuildID, []journal.StageID) {
	t.Helper()
	plans, err := p.steps.Plans(p.ctx, p.office)
	ok(t, err)
	id, err := p.steps.CreateBuild(p.ctx, p.office, flow.NewBuild{Nickname: nickname, PlanID: plans[0].ID, Truck: journal.Truck{Make: "Ostler", Unit: "miles"}})
	ok(t, err)
	ok(t, p.steps.AddOwner(p.ctx, p.office, id, flow.NewMember{PersonID: p.owner, As: journal.AsOwner}))
	view, err := p.steps.BuildShow(p.ctx, p.office, id)
	ok(t, err)
	var rows []flow.StageScope
	for _, st := range view.Stages {
		rows = append(rows, flow.StageScope{StageID: st.ID, Version: st.Version, Drop: true})
	}
	for n := range stages {
		rows = append(rows, flow.StageScope{Name: fmt.Sprintf("Stage %d", n+1), PlannedDays: 1, Value: journal.Split{Labour: 60_000, Parts: 40_000}})
	}
	rows = append(rows, flow.StageScope{Name: "Metered", PlannedDays: 1, Metered: true, Value: journal.Split{Labour: meteredCeiling}})
	ok(t, p.steps.SaveScope(p.ctx, p.office, id, rows))
	view, err = p.steps.BuildShow(p.ctx, p.office, id)
	ok(t, err)
	terms := billing.Terms{Crediting: billing.ProRata, Deposit: 50_000, HoldbackRate: 500, DueDays: 14, Tax: billing.Tax{Parts: 625}}
	ok(t, p.steps.SaveTerms(p.ctx, p.office, id, view.Build.Version, terms))
	view, err = p.steps.BuildShow(p.ctx, p.office, id)
	ok(t, err)
	ok(t, p.steps.RecordAgreement(p.ctx, p.office, id, flow.Agreement{Version: view.Build.Version, On: "2026-04-02", How: "on paper", ReadyOn: "2027-04-02", Total: journal.Cents(stages*100_000) + meteredCeiling}))
	var ids []journal.StageID
	for _, st := range view.Stages {
		ok(t, p.steps.OpenStage(p.ctx, p.office, id, st.ID))
		ids = append(ids, st.ID)
	}
	return id, ids[:stages]
}

// meteredStage returns a build's stage by time and materials.
func (p *shop) meteredStage(t testing.TB, id journal.BuildID) journal.StageID {
	t.Helper()
	view, err := p.steps.BuildShow(p.ctx, p.office, id)
	ok(t, err)
	return view.Stages[len(view.Stages)-1].ID
}

// sound fails the test unless no promise is broken in the whole database.
func (p *shop) sound(t testing.TB) {
	t.Helper()
	faults, _, err := p.steps.Check(p.ctx, func(string) error { return nil })
	ok(t, err)
	for _, f := range faults {
		t.Errorf("%s (%s)", f.Text, f.Subject)
	}
}
