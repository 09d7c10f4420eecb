package scenario

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"slices"
	"time"

	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/schedule"
	"farbay/journal/signoff"
)

// Shop is what the story is told to.
type Shop struct {
	// Steps of the running shop. The story uses a copy whose clock walks
	// through the past; Steps.Now says when today is.
	Steps *flow.Steps
	// Take takes one photo in, as an upload would, with the given steps.
	Take func(ctx context.Context, s *flow.Steps, a flow.Actor, build journal.BuildID, name string, r io.Reader) (journal.Photo, error)
	// Hash makes the stored form of a password.
	Hash func(password string) (string, error)
	// The disclosures' version and hash that owners consent to.
	ConsentVersion, ConsentSHA256 string
}

// teller tells the story.
type teller struct {
	Shop
	zone     *time.Location
	calendar schedule.Calendar
	today    journal.Date
	end      time.Time // now; nothing happens later
	clock    time.Time
	steps    *flow.Steps // with the walking clock

	actors  map[who]flow.Actor
	acts    []act
	pending []pendingPhoto
}

// act is one thing that happened, at its time.
type act struct {
	at   time.Time
	what string
	do   func(ctx context.Context) error
}

// pendingPhoto is a photo that is still to be drawn and handed in.
type pendingPhoto struct {
	build   journal.BuildID
	entry   journal.EntryID
	by      who
	caption string
	shot    scenery.Shot
}

// Photos are those of the story that are still to be drawn.
type Photos struct {
	t       *teller
	pending []pendingPhoto
}

// Len returns how many there are.
func (p *Photos) Len() int { return len(p.pending) }

// Tell lets the shop's whole story happen, in the order of time, and returns
// the photos, to be handed in by [Photos.HandIn].
func Tell(ctx context.Context, s Shop) (*Photos, error) {
	t := &teller{Shop: s, zone: shop.Location(), actors: map[who]flow.Actor{}}
	t.end = s.Steps.Now().UTC()
	t.today = journal.DateOf(t.end, t.zone)
	copied := *s.Steps
	copied.Now = func() time.Time { return t.clock }
	t.steps = &copied

	t.clock = t.moment(250, 8, 0)
	if err := t.open(ctx); err != nil {
		return nil, fmt.Errorf("scenario: open the shop: %w", err)
	}
	plan, err := t.plan(ctx)
	if err != nil {
		return nil, fmt.Errorf("scenario: the shop's plan: %w", err)
	}
	var builds []*build
	for _, story := range []buildStory{oldSalt, juniper, heron, bramble} {
		b := newBuild(t, story, plan)
		b.schedule()
		builds = append(builds, b)
	}
	slices.SortStableFunc(t.acts, func(a, b act) int { return a.at.Compare(b.at) })
	for _, a := range t.acts {
		if a.at.After(t.end) {
			a.at = t.end
		}
		t.clock = a.at
		if err := a.do(ctx); err != nil {
			return nil, fmt.Errorf("scenario: %s: %w", a.what, err)
		}
	}
	t.clock = t.end
	for _, b := range builds {
		if err := b.askForPhotos(ctx); err != nil {
			return nil, fmt.Errorf("scenario: gates of %s: %w", b.story.nickname, err)
		}
	}
	if err := t.askForPhotos(ctx, plan); err != nil {
		return nil, fmt.Errorf("scenario: the shop's plan: %w", err)
	}
	return &Photos{t: t, pending: t.pending}, nil
}

// moment is a time of day so many working days ago.
func (t *teller) moment(daysAgo, hour, minute int) time.Time {
	day := t.calendar.AddWorkingDays(t.today, -daysAgo).Time()
	at := time.Date(day.Year(), day.Month(), day.Day(), hour, minute, 0, 0, t.zone).UTC()
	if !t.end.IsZero() && at.After(t.end) {
		at = t.end.Add(-time.Minute)
	}
	return at
}

func (t *teller) on(at time.Time, what string, do func(ctx context.Context) error) {
	t.acts = append(t.acts, act{at, what, do})
}

// open makes the shop and its people.
func (t *teller) open(ctx context.Context) error {
	if err := t.steps.SeedShop(ctx, shop); err != nil {
		return err
	}
	hash, err := t.Hash(Password)
	if err != nil {
		return err
	}
	// The first office account is made by nobody, as on a real first day.
	first := flow.Actor{Person: journal.Person{Role: journal.Office}}
	for _, p := range people {
		added, err := t.steps.AddPerson(ctx, first, p.person)
		if err != nil {
			return err
		}
		if added.Role.Staff() {
			if err := t.steps.SetPassword(ctx, first, added.ID, hash); err != nil {
				return err
			}
		}
		t.actors[p.key] = flow.Actor{
			Person: added, Session: journal.Session{How: "single-use link for " + added.Email},
			Address: "192.0.2.14", UserAgent: "a phone in the story",
		}
		if p.key == wilma {
			first = t.actors[wilma]
		}
	}
	return nil
}

// plan makes the shop's own copy of the shipped plan. It asks for no photos, as
// most of the story's photos are drawn after it is told.
func (t *teller) plan(ctx context.Context) (journal.PlanID, error) {
	if err := t.steps.SeedPlans(ctx); err != nil {
		return "", err
	}
	office := t.actors[wilma]
	plans, err := t.steps.Plans(ctx, office)
	if err != nil {
		return "", err
	}
	id, err := t.steps.AddPlan(ctx, office, plans[0].ID, "Body-off, our way")
	if err != nil {
		return "", err
	}
	plan, err := t.steps.PlanShow(ctx, office, id)
	if err != nil {
		return "", err
	}
	for i := range plan.Stages {
		plan.Stages[i].Gate.Photos = 0
	}
	return id, t.steps.SavePlan(ctx, office, plan)
}

// askForPhotos gives the plan the numbers of photos of the shipped one, for the
// builds to come.
func (t *teller) askForPhotos(ctx context.Context, id journal.PlanID) error {
	plan, err := t.steps.PlanShow(ctx, t.actors[wilma], id)
	if err != nil {
		return err
	}
	for i, st := range plan.Stages {
		plan.Stages[i].Gate.Photos = photosWanted(st.Name)
	}
	return t.steps.SavePlan(ctx, t.actors[wilma], plan)
}

// terms are what every build of the story agreed on.
func terms(b buildStory) billing.Terms {
	t := billing.Terms{
		Deposit: b.deposit, Crediting: billing.ProRata, HoldbackRate: b.holdback,
		Tax: billing.Tax{Parts: 625}, DueDays: 14,
	}
	if b.terms != nil {
		b.terms(&t)
	}
	return t
}

// HandIn draws the photos and hands each in, the newest first, workers at a
// time. A photo that is in already is noticed and not stored twice, so that it
// may be called again after it was stopped.
func (p *Photos) HandIn(ctx context.Context, workers int) error {
	order := slices.Clone(p.pending)
	slices.SortStableFunc(order, func(a, b pendingPhoto) int { return b.shot.At.Compare(a.shot.At) })
	next := make(chan pendingPhoto)
	failed := make(chan error, workers)
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	for range workers {
		go func() {
			for photo := range next {
				if err := p.t.handIn(ctx, photo); err != nil {
					stop(err)
					failed <- err
					return
				}
			}
			failed <- nil
		}()
	}
	for _, photo := range order {
		select {
		case next <- photo:
			continue
		case <-ctx.Done():
		}
		break
	}
	close(next)
	var first error
	for range workers {
		if err := <-failed; err != nil && first == nil {
			first = err
		}
	}
	if first == nil {
		first = context.Cause(ctx)
	}
	return first
}

// handIn draws one photo and hands it in with a clock that stands a few minutes
// after it was taken.
func (t *teller) handIn(ctx context.Context, p pendingPhoto) error {
	photo, steps, err := t.take(ctx, p)
	if err != nil {
		return err
	}
	return steps.AppendPhotos(ctx, t.actors[p.by], p.build, p.entry, []journal.EntryPhoto{{PhotoID: photo.ID, Caption: p.caption}})
}

func (t *teller) take(ctx context.Context, p pendingPhoto) (journal.Photo, *flow.Steps, error) {
	file, err := p.shot.JPEG()
	if err != nil {
		return journal.Photo{}, nil, err
	}
	received := p.shot.At.UTC().Add(9 * time.Minute)
	if received.After(t.end) {
		received = t.end
	}
	steps := *t.Steps
	steps.Now = func() time.Time { return received }
	photo, err := t.Take(ctx, &steps, t.actors[p.by], p.build, p.shot.FileName(), bytes.NewReader(file))
	return photo, &steps, err
}

// outcomeOf says how a change of the story ended.
func outcomeOf(c changeStory) (day int, outcome signoff.Outcome) {
	if c.declined > 0 {
		return c.declined, signoff.OutcomeDeclined
	}
	return c.signed, signoff.OutcomeSigned
}
