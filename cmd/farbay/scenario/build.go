package scenario

import (
	"context"
	"errors"
	"fmt"
	"time"

	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// The shop's place, as its phones note it; it lies in the middle of a lake.
const shopLat, shopLon = 41.1000, -112.5000

// build is one build while its story is told.
type build struct {
	t        *teller
	story    buildStory
	plan     journal.PlanID
	id       journal.BuildID
	stages   map[string]journal.StageID
	entries  map[string]journal.EntryID // of finds, by key
	papers   map[string]journal.PaperID // by title
	invoices map[string]flow.Invoice    // by stage name
	number   int                        // photos so far
}

func newBuild(t *teller, story buildStory, plan journal.PlanID) *build {
	return &build{
		t: t, story: story, plan: plan,
		stages: map[string]journal.StageID{}, entries: map[string]journal.EntryID{},
		papers: map[string]journal.PaperID{}, invoices: map[string]flow.Invoice{},
	}
}

func (b *build) office() flow.Actor { return b.t.actors[wilma] }

// on adds an act of this build at a time of day so many working days ago.
func (b *build) on(day, hour, minute int, what string, do func(ctx context.Context) error) {
	b.t.on(b.t.moment(day, hour, minute), b.story.nickname+": "+what, do)
}

// schedule adds everything that happens to the build to the teller's acts.
func (b *build) schedule() {
	s := b.story
	b.on(s.arrived, 8, 30, "arrival", b.arrive)
	if s.agreed > 0 {
		b.on(s.agreed, 10, 0, "agreement", b.agree)
	}
	if s.offered > 0 {
		b.on(s.offered, 16, 5, "offer", func(ctx context.Context) error {
			_, err := b.sends(ctx, flow.PaperStart{Kind: signoff.BuildAgreement}, b.agreement)
			return err
		})
	}
	for _, st := range s.stages {
		b.scheduleStage(st)
	}
	for _, c := range s.changes {
		b.scheduleChange(c)
	}
	for _, u := range s.uses {
		b.on(u.day, 16, 20, "use "+u.title, func(ctx context.Context) error { return b.use(ctx, u) })
	}
	if s.delivery > 0 {
		b.on(s.delivery, 10, 30, "delivery", b.deliver)
	}
}

func (b *build) scheduleStage(st stageStory) {
	if st.opened > 0 {
		b.on(st.opened, 9, 0, "open "+st.name, func(ctx context.Context) error {
			return b.t.steps.OpenStage(ctx, b.t.actors[b.story.lead], b.id, b.stages[st.name])
		})
		b.on(st.opened, 9, 1, "tick "+st.name, func(ctx context.Context) error { return b.tick(ctx, st, st.ticks) })
	}
	for _, e := range st.entries {
		b.on(e.day, e.hour, e.minute, "entry", func(ctx context.Context) error { return b.post(ctx, st.name, e) })
		if e.belonging != "" {
			b.on(e.day, e.hour, e.minute+4, "ask about "+e.belonging, func(ctx context.Context) error {
				return b.t.steps.AskBelonging(ctx, b.t.actors[e.by], b.id, b.entries[e.key], e.belonging)
			})
		}
		if e.wish != "" {
			b.on(e.wished, 20, 15, "answer about "+e.belonging, func(ctx context.Context) error {
				return b.t.steps.AnswerBelonging(ctx, b.t.actors[b.story.owner], b.id, b.entries[e.key], e.wish, "")
			})
		}
	}
	for _, w := range st.works {
		b.on(w.day, 17, 5, "work on "+st.name, func(ctx context.Context) error { return b.log(ctx, st.name, w) })
	}
	if st.billed > 0 {
		b.on(st.billed, 17, 40, "bill work on "+st.name, func(ctx context.Context) error {
			inv, err := b.t.steps.BillWork(ctx, b.office(), b.id, b.stages[st.name])
			b.invoices[st.name] = inv
			return err
		})
	}
	for _, p := range st.paint {
		b.on(p.day, p.hour, p.minute, "paint", func(ctx context.Context) error { return b.records(ctx, st.name, p) })
	}
	if st.closed > 0 && st.name == "Re-estimate" {
		b.on(st.closed, 14, 0, "re-estimate", b.reEstimate)
	}
	if st.closed > 0 {
		b.on(st.closed, 16, 30, "close "+st.name, func(ctx context.Context) error { return b.close(ctx, st) })
	}
	if st.paid > 0 {
		b.on(st.paid, 11, 20, "payment for "+st.name, func(ctx context.Context) error { return b.pay(ctx, st) })
	}
}

// arrive types the truck in, with its owners, values and planned dates.
func (b *build) arrive(ctx context.Context) (err error) {
	s, steps, office := b.story, b.t.steps, b.office()
	b.id, err = steps.CreateBuild(ctx, office, flow.NewBuild{
		Nickname: s.nickname, Truck: s.truck, PlanID: b.plan, LeadID: b.t.actors[s.lead].Person.ID,
		ArrivedOn: journal.DateOf(b.t.clock, b.t.zone),
	})
	if err != nil {
		return err
	}
	err = steps.AddOwner(ctx, office, b.id, flow.NewMember{PersonID: b.t.actors[s.owner].Person.ID, As: journal.AsOwner})
	if err != nil {
		return err
	}
	view, err := steps.BuildShow(ctx, office, b.id)
	if err != nil {
		return err
	}
	if err := steps.SaveTerms(ctx, office, b.id, view.Build.Version, terms(s)); err != nil {
		return err
	}
	return b.scope(ctx, view.Stages)
}

// scope gives the stages their values, and dates: those of the story for what
// has begun, one after the other for what is to come.
func (b *build) scope(ctx context.Context, stages []journal.Stage) error {
	var rows []flow.StageScope
	next := b.t.calendar.AddWorkingDays(b.t.today, 3) // when the first stage to come begins
	for _, st := range stages {
		b.stages[st.Name] = st.ID
		row := flow.StageScope{
			StageID: st.ID, Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, LeadID: b.t.actors[b.story.lead].Person.ID,
		}
		for _, told := range b.story.stages {
			if told.name != st.Name {
				continue
			}
			row.Value, row.Metered = told.value, told.metered
			if told.opened > 0 {
				row.PlannedFrom = b.t.calendar.AddWorkingDays(b.t.today, -told.opened)
			} else {
				row.PlannedFrom = next
			}
		}
		row.PlannedTo = b.t.calendar.AddWorkingDays(row.PlannedFrom, st.PlannedDays-1)
		if soon := b.t.calendar.AddWorkingDays(b.t.today, 4); b.underWay(st.Name) && row.PlannedTo < soon {
			// The story's shop plans what is under way to end soon, not in the past.
			row.PlannedTo, row.PlannedDays = soon, b.t.calendar.WorkingDaysBetween(row.PlannedFrom, soon)+1
		}
		next = max(next, b.t.calendar.AddWorkingDays(row.PlannedTo, 1))
		rows = append(rows, row)
	}
	for _, told := range b.story.stages {
		if b.stages[told.name] == "" {
			return fmt.Errorf("the plan has no stage %q", told.name)
		}
	}
	return b.t.steps.SaveScope(ctx, b.office(), b.id, rows)
}

// underWay reports whether the story leaves a stage open.
func (b *build) underWay(stage string) bool {
	for _, told := range b.story.stages {
		if told.name == stage {
			return told.opened > 0 && told.closed == 0
		}
	}
	return false
}

// agree has the owner sign the agreement, and leave to take the truck apart, and
// pay the deposit.
func (b *build) agree(ctx context.Context) error {
	err := b.signs(ctx, signoff.BuildAgreement, b.agreement)
	if err != nil {
		return err
	}
	err = b.signs(ctx, signoff.Teardown, func(d *signoff.Draft) {
		d.Reason = "What is under the paint, the mats and the old undercoat shows only when the truck is apart."
		d.Destroyed = append(d.Destroyed, "Exhaust clamps", "Body mount bushings", "Door and glass weatherstrip")
		d.Reassembly, d.ReassemblyDays = 4_200_00, 9
	})
	if err != nil || b.story.deposit == 0 {
		return err
	}
	return b.t.steps.RecordPayment(ctx, b.office(), b.id, journal.Payment{
		ID: journal.PaymentID(b.t.steps.NewID()), Amount: b.story.deposit, On: journal.DateOf(b.t.clock, b.t.zone),
		Means: journal.Wire, Reference: "deposit",
	})
}

// agreement fills in what the story's shop offers.
func (b *build) agreement(d *signoff.Draft) {
	d.Reason, d.ReadyOn = b.story.scope, b.t.calendar.AddWorkingDays(b.t.today, b.story.ready)
	if b.story.delegate != "" {
		p := b.t.actors[b.story.delegate].Person
		d.Delegate = &signoff.Delegate{Name: p.Name, Email: p.Email, Phone: p.Phone}
	}
	if b.story.allowance != (signoff.Limits{}) {
		d.Allowance = &b.story.allowance
	}
}

func (b *build) stage(ctx context.Context, name string) (journal.Stage, error) {
	view, err := b.t.steps.StageOf(ctx, b.office(), b.id, b.stages[name])
	return view.Stage, err
}

// tick ticks the first n checks of a stage's gate.
func (b *build) tick(ctx context.Context, told stageStory, n int) error {
	st, err := b.stage(ctx, told.name)
	if err != nil {
		return err
	}
	for _, text := range st.Gate.Checks[:min(n, len(st.Gate.Checks))] {
		if err := b.t.steps.TickCheck(ctx, b.t.actors[b.story.lead], b.id, st.ID, text, true); err != nil {
			return err
		}
	}
	return nil
}

func (b *build) close(ctx context.Context, told stageStory) error {
	if err := b.tick(ctx, told, 1000); err != nil {
		return err
	}
	inv, _, err := b.t.steps.CloseStage(ctx, b.office(), b.id, b.stages[told.name])
	b.invoices[told.name] = inv
	return err
}

// log puts hours or a part on a stage by time and materials.
func (b *build) log(ctx context.Context, stage string, told workStory) error {
	in := flow.NewWork{
		ID: journal.WorkID(b.t.steps.NewID()), StageID: b.stages[stage], Day: journal.DateOf(b.t.clock, b.t.zone), Text: told.text,
	}
	if told.minutes > 0 {
		in.Kind, in.PersonID, in.Minutes = journal.Labour, b.t.actors[told.by].Person.ID, told.minutes
	} else {
		in.Kind, in.Cost = journal.Parts, told.cost
	}
	return b.t.steps.LogWork(ctx, b.t.actors[told.by], b.id, in)
}

func (b *build) pay(ctx context.Context, told stageStory) error {
	inv, billed := b.invoices[told.name]
	if !billed {
		return errors.New("paid before it was billed")
	}
	amount := inv.Document.Payable
	if amount <= 0 {
		return nil
	}
	return b.t.steps.RecordPayment(ctx, b.office(), b.id, journal.Payment{
		ID: journal.PaymentID(b.t.steps.NewID()), InvoiceID: inv.ID, Amount: amount,
		On: journal.DateOf(b.t.clock, b.t.zone), Means: journal.Cheque, Reference: fmt.Sprintf("%d", 1000+inv.Document.Number),
	})
}

// deliver has the owner sign for the truck.
func (b *build) deliver(ctx context.Context) error {
	return b.signs(ctx, signoff.DeliveryAcceptance, func(d *signoff.Draft) {
		d.Reason = "Drive it gently for the first 500 miles and bring it back, or call, for the first check."
		d.HandedOver = []string{"Two sets of keys", "The spare wheel and the jack", "A box of replaced parts that you asked for", "The paint formula and the touch-up bottle"}
	})
}

// post posts an entry and notes its photos; those of a find that a paper needs
// are taken in at once.
func (b *build) post(ctx context.Context, stage string, told entryStory) error {
	actor := b.t.actors[told.by]
	n := flow.NewEntry{StageID: b.stages[stage], Kind: told.kind, Audience: journal.OwnerToo, Text: told.text}
	if n.Kind == "" {
		n.Kind = journal.KindProgress
	}
	if told.shopOnly {
		n.Audience = journal.ShopOnly
	}
	var photos []pendingPhoto
	for i, sh := range told.shots {
		b.number++
		at := b.t.clock.Add(time.Duration(-10*len(told.shots)+7*i) * time.Second).In(b.t.zone)
		photos = append(photos, pendingPhoto{
			build: b.id, by: told.by, caption: sh.caption,
			shot: scenery.Shot{
				Truck: b.story.paint, State: sh.state, View: sh.view, Upright: sh.upright, At: at,
				Lat: shopLat, Lon: shopLon, Number: b.number,
			},
		})
	}
	needed := told.key != "" && b.isEvidence(told.key)
	if needed {
		for _, p := range photos {
			photo, _, err := b.t.take(ctx, p)
			if err != nil {
				return err
			}
			n.Photos = append(n.Photos, journal.EntryPhoto{PhotoID: photo.ID, Caption: p.caption})
		}
	}
	e, err := b.t.steps.PostEntry(ctx, actor, b.id, n)
	if err != nil {
		return err
	}
	if told.key != "" {
		b.entries[told.key] = e.ID
	}
	if !needed {
		for _, p := range photos {
			p.entry = e.ID
			b.t.pending = append(b.t.pending, p)
		}
	}
	return nil
}

// isEvidence reports whether a change order or a use of the allowance comes from
// the find.
func (b *build) isEvidence(key string) bool {
	for _, c := range b.story.changes {
		if c.from == key {
			return true
		}
	}
	for _, u := range b.story.uses {
		if u.from == key {
			return true
		}
	}
	return false
}

// askForPhotos gives the gates of the stages that are not closed the number of
// photos that the shipped plan asks for.
func (b *build) askForPhotos(ctx context.Context) error {
	view, err := b.t.steps.BuildShow(ctx, b.office(), b.id)
	if err != nil {
		return err
	}
	for _, st := range view.Stages {
		if st.State == journal.Closed {
			continue
		}
		change := flow.StageChange{
			Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, PlannedFrom: st.PlannedFrom,
			PlannedTo: st.PlannedTo, LeadID: st.LeadID, Gate: st.Gate, Cautions: st.Cautions, Teardown: st.Teardown, Metered: st.Metered,
		}
		change.Gate.Photos = photosWanted(st.Name)
		if err := b.t.steps.SaveStage(ctx, b.office(), b.id, st.ID, change); err != nil {
			return err
		}
	}
	return nil
}

func photosWanted(stage string) int {
	for _, st := range flow.ShippedPlan().Stages {
		if st.Name == stage {
			return st.Gate.Photos
		}
	}
	return 0
}
