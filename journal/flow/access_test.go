package flow_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

// files whose exported steps TestAccess must know, each.
var accessFiles = []string{
	"plans.go", "builds.go", "scope.go", "agreement.go", "entries.go", "reading.go", "photos.go", "overview.go", "owner.go", "choices.go",
}

// call is one step on heron, made by whoever tries; it returns what it was
// told, and the refusal.
type call struct {
	level string // who may: "office", "staff", "reader"
	do    func(a flow.Actor) (any, error)
}

// heronCalls are all steps that take an actor, on things that are there, and in
// a form that would succeed.
func heronCalls(y *yard) map[string]call {
	s, ctx, b := y.steps, y.ctx, y.heron
	v := y.view(b)
	plan := got(s.Plans(ctx, y.office))(y.t)[0]
	p := y.photo(y.jory, b, 1, time.Time{})
	e := y.entry(y.jory, b, journal.OwnerToo, "Seen by the owner", p)
	loose := y.photo(y.jory, b, 2, time.Time{})
	edit := editOf(e)
	edit.Text = "Changed by a stranger"
	newcomer := y.person("Noor Reed", journal.Owner).Person.ID
	none := func(err error) (any, error) { return nil, err }
	return map[string]call{
		"Plans":    {"office", func(a flow.Actor) (any, error) { return s.Plans(ctx, a) }},
		"PlanShow": {"office", func(a flow.Actor) (any, error) { return s.PlanShow(ctx, a, plan.ID) }},
		"AddPlan":  {"office", func(a flow.Actor) (any, error) { return s.AddPlan(ctx, a, plan.ID, "Another") }},
		"SavePlan": {"office", func(a flow.Actor) (any, error) { return none(s.SavePlan(ctx, a, plan)) }},

		"CreateBuild": {"office", func(a flow.Actor) (any, error) {
			return s.CreateBuild(ctx, a, flow.NewBuild{Nickname: "Bramble", PlanID: plan.ID, Truck: journal.Truck{Make: "Tolland", Unit: "km"}})
		}},
		"SaveBuild": {"office", func(a flow.Actor) (any, error) { return none(s.SaveBuild(ctx, a, b, change(v.Build))) }},
		"SaveDelivered": {"office", func(a flow.Actor) (any, error) {
			return none(s.SaveDelivered(ctx, a, b, v.Build.Version, "2026-04-14"))
		}},
		"AddOwner": {"office", func(a flow.Actor) (any, error) {
			return none(s.AddOwner(ctx, a, b, flow.NewMember{PersonID: newcomer, As: journal.AsOwner}))
		}},
		"EndOwner":  {"office", func(a flow.Actor) (any, error) { return none(s.EndOwner(ctx, a, b, y.dell.Person.ID)) }},
		"BuildShow": {"reader", func(a flow.Actor) (any, error) { return s.BuildShow(ctx, a, b) }},
		"SaveScope": {"office", func(a flow.Actor) (any, error) {
			return none(s.SaveScope(ctx, a, b, []flow.StageScope{rowOf(v.Stages[0])}))
		}},
		"SaveStage": {"office", func(a flow.Actor) (any, error) {
			return none(s.SaveStage(ctx, a, b, v.Stages[0].ID, flow.StageChange{Version: v.Stages[0].Version, Name: "A", PlannedDays: 1}))
		}},
		"SaveTerms": {"office", func(a flow.Actor) (any, error) {
			return none(s.SaveTerms(ctx, a, b, v.Build.Version, billing.Terms{Crediting: billing.ProRata}))
		}},
		"RecordAgreement": {"office", func(a flow.Actor) (any, error) {
			return none(s.RecordAgreement(ctx, a, b, flow.Agreement{Version: v.Build.Version, On: "2026-04-14", How: "by letter", ReadyOn: "2026-09-24", Total: 100}))
		}},

		"Leads":         {"office", func(a flow.Actor) (any, error) { return s.Leads(ctx, a) }},
		"OwnersToAdd":   {"office", func(a flow.Actor) (any, error) { return s.OwnersToAdd(ctx, a, b) }},
		"FailedLetters": {"office", func(a flow.Actor) (any, error) { return s.FailedLetters(ctx, a) }},

		"PostEntry": {"staff", func(a flow.Actor) (any, error) {
			return s.PostEntry(ctx, a, b, flow.NewEntry{StageID: e.StageID, Kind: journal.KindVisit, Audience: journal.OwnerToo, Text: "Text"})
		}},
		"EditEntry":     {"author", func(a flow.Actor) (any, error) { return s.EditEntry(ctx, a, b, e.ID, edit) }},
		"WithdrawEntry": {"author", func(a flow.Actor) (any, error) { return none(s.WithdrawEntry(ctx, a, b, e.ID, e.Version, "no")) }},
		"AppendPhotos":  {"author", func(a flow.Actor) (any, error) { return none(s.AppendPhotos(ctx, a, b, e.ID, placed(loose))) }},
		"JournalPage":   {"reader", func(a flow.Actor) (any, error) { return s.JournalPage(ctx, a, b, flow.EntryQuery{Staff: true}) }},
		"EntryShow":     {"reader", func(a flow.Actor) (any, error) { return s.EntryShow(ctx, a, b, e.ID) }},

		"RecordPhoto": {"staff", func(a flow.Actor) (any, error) {
			p, _, err := s.RecordPhoto(ctx, a, b, aPhoto(3, time.Time{}))
			return p, err
		}},
		"PhotoShow":            {"reader", func(a flow.Actor) (any, error) { return s.PhotoShow(ctx, a, b, p.ID, e.ID) }},
		"PhotoFileAllowed":     {"reader", func(a flow.Actor) (any, error) { return s.PhotoFileAllowed(ctx, a, b, p.ID) }},
		"PhotoOriginalAllowed": {"staff", func(a flow.Actor) (any, error) { return s.PhotoOriginalAllowed(ctx, a, b, p.ID) }},
		"StagePhotosOf":        {"reader", func(a flow.Actor) (any, error) { return s.StagePhotosOf(ctx, a, b, e.StageID, 10) }},
		"ContactSheet":         {"reader", func(a flow.Actor) (any, error) { return s.ContactSheet(ctx, a, b, e.StageID) }},
		"StagePhotosSize": {"reader", func(a flow.Actor) (any, error) {
			n, _, err := s.StagePhotosSize(ctx, a, b, e.StageID)
			return n, err
		}},
		"PhotosOf":    {"staff", func(a flow.Actor) (any, error) { return s.PhotosOf(ctx, a, b, []journal.PhotoID{p.ID}) }},
		"LoosePhotos": {"staff", func(a flow.Actor) (any, error) { return s.LoosePhotos(ctx, a, b) }},

		"Look":           {"reader", func(a flow.Actor) (any, error) { return s.Look(ctx, a, b) }},
		"OfficeOverview": {"office", func(a flow.Actor) (any, error) { return s.OfficeOverview(ctx, a) }},
		"FloorOverview":  {"staff", func(a flow.Actor) (any, error) { return s.FloorOverview(ctx, a) }},
		"BuildGlance":    {"staff", func(a flow.Actor) (any, error) { return s.BuildGlance(ctx, a, b) }},
		"OwnerOverview":  {"reader", func(a flow.Actor) (any, error) { return s.OwnerOverview(ctx, a, b, time.Time{}) }},
		"OwnerHome":      {"own", func(a flow.Actor) (any, error) { return s.OwnerHome(ctx, a) }},
	}
}

// The steps that no person does: at the start, and by the worker.
var withoutActor = []string{"SeedPlans", "PhotoOfJob", "PhotoDerived", "PhotoFailed"}

// Promise 8: nobody sees another's build, and nobody does what is not theirs.
// Each step is tried by everybody who must be refused; the table is compared
// with the source, so that a new step cannot be forgotten.
func TestAccess(t *testing.T) {
	y := newYard(t)
	calls := heronCalls(y)
	for _, name := range stepsIn(t, accessFiles) {
		if _, tried := calls[name]; !tried && !contains(withoutActor, name) {
			t.Errorf("nobody tries %s", name)
		}
	}

	ended := y.person("Old Owner", journal.Owner)
	y.do(y.steps.AddOwner(y.ctx, y.office, y.heron, flow.NewMember{PersonID: ended.Person.ID, As: journal.AsOwner}))
	y.do(y.steps.EndOwner(y.ctx, y.office, y.heron, ended.Person.ID))
	gone := func(a flow.Actor) flow.Actor { a.Person.EndedAt = y.now; return a }
	outside := []flow.Actor{y.ben, ended, gone(y.ada), gone(y.sam), gone(y.office), {}}
	refusedBy := map[string][]flow.Actor{
		"office": append([]flow.Actor{y.ada, y.dell, y.jory}, outside...),
		"staff":  append([]flow.Actor{y.ada, y.dell}, outside...),
		"author": append([]flow.Actor{y.ada, y.dell, y.sam}, outside...),
		"reader": outside,
	}
	before := stateOf(y)
	for name, c := range calls {
		for _, a := range refusedBy[c.level] {
			told, err := c.do(a)
			if code := journal.CodeOf(err); code != journal.NotFound && code != journal.Forbidden {
				t.Errorf("%s by %q (%s): %v, want a refusal", name, a.Person.Name, a.Person.Role, err)
			}
			if told != nil && !reflect.ValueOf(told).IsZero() {
				t.Errorf("%s by %q told %+v", name, a.Person.Name, told)
			}
		}
	}
	for _, a := range outside {
		home, err := y.steps.OwnerHome(y.ctx, a)
		if err != nil && journal.CodeOf(err) != journal.NotFound {
			t.Error(err)
		}
		for _, o := range home {
			if o.Build.ID == y.heron {
				t.Errorf("%q is home at another's build", a.Person.Name)
			}
		}
	}
	if after := stateOf(y); after != before {
		t.Errorf("refused steps changed something: %s, then %s", before, after)
	}

	// Those who may are not refused, or the above would prove nothing. What the
	// office and authors do may undo what another step needs: a new yard each.
	shared := heronCalls(newYard(t))
	for name, c := range calls {
		if name == "RecordAgreement" || name == "SaveDelivered" {
			continue // these need more than a right; see builds_test.go
		}
		var err error
		switch c.level {
		case "office", "author":
			y := newYard(t)
			_, err = heronCalls(y)[name].do(map[string]flow.Actor{"office": y.office, "author": y.jory}[c.level])
		case "staff":
			_, err = shared[name].do(y.sam)
		default:
			_, err = shared[name].do(y.ada)
		}
		if err != nil {
			t.Errorf("%s by the %s, who may: %v", name, c.level, err)
		}
	}
}

// Every id of heron is unknown under juniper, whose owner asks for it there.
func TestAccess_idsOfAnotherBuild(t *testing.T) {
	y := newYard(t)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	e := y.entry(y.jory, y.heron, journal.OwnerToo, "Text", p)
	for _, a := range []flow.Actor{y.ben, y.office, y.jory} {
		_, err := y.steps.EntryShow(y.ctx, a, y.juniper, e.ID)
		refused(t, err, journal.NotFound)
		_, err = y.steps.PhotoShow(y.ctx, a, y.juniper, p.ID, e.ID)
		refused(t, err, journal.NotFound)
		_, err = y.steps.PhotoFileAllowed(y.ctx, a, y.juniper, p.ID)
		refused(t, err, journal.NotFound)
		v := got(y.steps.JournalPage(y.ctx, a, y.juniper, flow.EntryQuery{StageID: e.StageID}))(t)
		if len(v.Entries) != 0 || len(v.Photos) != 0 {
			t.Errorf("%s is shown %+v", a.Person.Name, v)
		}
	}
	_, err := y.steps.EditEntry(y.ctx, y.office, y.juniper, e.ID, editOf(e))
	refused(t, err, journal.NotFound)
	refused(t, y.steps.WithdrawEntry(y.ctx, y.office, y.juniper, e.ID, e.Version, "no"), journal.NotFound)
	refused(t, y.steps.AppendPhotos(y.ctx, y.office, y.juniper, e.ID, placed(p)), journal.NotFound)
}

// stateOf names what refused steps must leave alone.
func stateOf(y *yard) string {
	v := y.view(y.heron)
	s := v.Build.Nickname + string(v.Build.State) + v.Stages[0].Name + string(v.Build.DeliveredOn)
	for _, m := range v.Members {
		s += " " + string(m.PersonID)
	}
	for _, e := range got(y.steps.JournalPage(y.ctx, y.office, y.heron, flow.EntryQuery{}))(y.t).Entries {
		s += " " + e.Text + " " + e.WithdrawnWhy
	}
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		events, err := r.Events(y.heron)
		s += " " + strings.Repeat("e", len(events))
		return err
	}))
	return s
}

// stepsIn returns the exported methods on *Steps in the files.
func stepsIn(t *testing.T, files []string) []string {
	t.Helper()
	var names []string
	for _, file := range files {
		parsed, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range parsed.Decls {
			f, isFunc := d.(*ast.FuncDecl)
			if !isFunc || f.Recv == nil || !f.Name.IsExported() {
				continue
			}
			if star, ok := f.Recv.List[0].Type.(*ast.StarExpr); ok && star.X.(*ast.Ident).Name == "Steps" {
				names = append(names, f.Name.Name)
			}
		}
	}
	if len(names) < 30 {
		t.Fatalf("found only %d steps: %v", len(names), names)
	}
	return names
}

func contains(names []string, name string) bool {
	for _, n := range names {
		if n == name {
			return true
		}
	}
	return false
}
