package flow

import (
	"cmp"
	"context"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/schedule"
)

// lookGap is how long after a recorded look the next one is not written down,
// so that leafing through pages does not queue for the database. It is far
// below [journal.VisitGap].
const lookGap = time.Minute

// Look records that the actor looks at a build and returns when the visit
// before this one ended, for the mark "new since"; the zero time on a first
// visit. It returns [journal.NotFound] for a build the actor may not read.
func (s *Steps) Look(ctx context.Context, a Actor, build journal.BuildID) (since time.Time, err error) {
	var v journal.Visit
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		v, err = r.Visit(build, a.Person.ID)
		return err
	})
	now := s.at()
	if err != nil || !v.LastAt.IsZero() && now.Sub(v.LastAt) < lookGap {
		return v.PriorAt, err
	}
	err = s.write(ctx, func(tx Tx) error {
		if v, err = tx.Visit(build, a.Person.ID); err != nil {
			return err
		}
		v.BuildID, v.PersonID = build, a.Person.ID
		v = v.Look(now)
		return tx.SaveVisit(v)
	})
	return v.PriorAt, err
}

// StageLine is a stage with what is told beside it.
type StageLine struct {
	Stage   journal.Stage
	Dropped string        // the paper that dropped it, "change order 4"; "" otherwise
	Lead    string        // name; "" when none is chosen
	Gone    int           // working days since it was opened; 0 on the first day
	Done    int           // share of its planned days gone by, in per cent, 0 to 100
	Changes journal.Cents // signed changes it bears, before tax; 0 for the floor
	Gate    GateReport    // of a stage under way, for the shop; zero otherwise
}

// Glance is one build as the shop sees it at a glance.
type Glance struct {
	Build    journal.Build
	Stages   []StageLine
	Owners   []string // names of current owners and delegates, owners first
	Waits    []Wait
	MoneyDue journal.Cents // open on all its invoices; 0 for the floor
	LastNews time.Time     // when the owner's side last got something new; zero if never
	QuietFor int           // calendar days at the shop since then, or since the arrival
	Quiet    bool          // QuietFor has reached the shop's limit, and it is not over
	SeenAt   time.Time     // the owner's side's last look; zero if never
	Photos   int
	Loose    int  // the actor's photos in no entry yet
	Mine     bool // the actor leads the build or one of its stages under way
}

// worst returns the most days by which something is late, and the most days
// for which something has waited.
func (g Glance) worst() (late, days int) {
	for _, w := range g.Waits {
		late, days = max(late, w.Late), max(days, w.Days)
	}
	return late, days
}

// OfficeOverview returns all builds, the worst first: with something late (most
// days first), then gone quiet, then by the longest wait, then by nickname;
// those delivered or stopped, and settled, come last. Office only.
func (s *Steps) OfficeOverview(ctx context.Context, a Actor) ([]Glance, error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	glances, err := s.glances(ctx, a)
	slices.SortStableFunc(glances, worseFirst)
	return glances, err
}

func worseFirst(a, b Glance) int {
	aLate, aDays := a.worst()
	bLate, bDays := b.worst()
	settled := func(g Glance) bool { return g.Build.Over() && len(g.Waits) == 0 }
	return cmp.Or(
		yesLast(settled(a), settled(b)), cmp.Compare(bLate, aLate), yesLast(!a.Quiet, !b.Quiet),
		cmp.Compare(bDays, aDays), cmp.Compare(a.Build.Nickname, b.Build.Nickname))
}

func yesLast(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return 1
	}
	return -1
}

// FloorOverview returns all builds, those not delivered first, then by
// nickname, without anything about money. Staff only.
func (s *Steps) FloorOverview(ctx context.Context, a Actor) ([]Glance, error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	return s.glances(ctx, a)
}

// BuildGlance returns one build at a glance, without anything about money for
// the floor. Staff only; [journal.NotFound] when there is no such build.
func (s *Steps) BuildGlance(ctx context.Context, a Actor, build journal.BuildID) (g Glance, err error) {
	if err := asStaff(a); err != nil {
		return Glance{}, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		b, _, err := readable(r, a, build)
		if err != nil {
			return err
		}
		shop, err := r.Shop()
		if err != nil {
			return err
		}
		g, err = s.glance(r, a, shop, b)
		return err
	})
	return g, err
}

func (s *Steps) glances(ctx context.Context, a Actor) (glances []Glance, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		shop, err := r.Shop()
		if err != nil {
			return err
		}
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		for _, b := range builds {
			g, err := s.glance(r, a, shop, b)
			if err != nil {
				return err
			}
			glances = append(glances, g)
		}
		return nil
	})
	return glances, err
}

func (s *Steps) glance(r Reads, a Actor, shop journal.Shop, b journal.Build) (g Glance, err error) {
	g.Build = b
	w, err := s.waiting(r, a, shop, b)
	if err != nil {
		return g, err
	}
	if g.Stages, err = w.stageLines(calendar(shop)); err != nil {
		return g, err
	}
	w.lines = g.Stages
	if g.Waits, err = w.all(); err != nil {
		return g, err
	}
	if a.Person.Role == journal.Office {
		g.MoneyDue = billing.StatementOf(w.account).Due
	}
	people, _, err := ownersOf(r, b.ID)
	if err != nil {
		return g, err
	}
	g.Owners = namesOf(people)
	for _, p := range people {
		v, err := r.Visit(b.ID, p.ID)
		if err != nil {
			return g, err
		}
		if v.LastAt.After(g.SeenAt) {
			g.SeenAt = v.LastAt
		}
	}
	if g.LastNews, err = r.LastNews(b.ID); err != nil {
		return g, err
	}
	g.QuietFor, g.Quiet = quiet(b, g.LastNews, shop, w.today)
	if g.Photos, err = r.CountPhotos(b.ID, true); err != nil {
		return g, err
	}
	loose, err := r.LoosePhotos(b.ID, a.Person.ID)
	if err != nil {
		return g, err
	}
	g.Loose = len(loose)
	g.Mine = b.LeadID == a.Person.ID || slices.ContainsFunc(w.stages, func(st journal.Stage) bool {
		return st.State == journal.UnderWay && st.LeadID == a.Person.ID
	})
	return g, nil
}

// waiting gathers what the overviews of one build are made from.
func (s *Steps) waiting(r Reads, a Actor, shop journal.Shop, b journal.Build) (w waiting, err error) {
	w = waiting{steps: s, r: r, actor: a, build: b, zone: shop.Location(), today: journal.DateOf(s.at(), shop.Location())}
	if w.stages, err = r.Stages(b.ID); err != nil {
		return w, err
	}
	w.account, err = s.account(r, b)
	return w, err
}

// quiet counts the shop's calendar days since the owner's side last got
// something new to see, or since the arrival (before it, since the build was
// begun), and says whether that is too long. A build that is over is never quiet.
func quiet(b journal.Build, lastNews time.Time, shop journal.Shop, today journal.Date) (days int, tooLong bool) {
	since := journal.DateOf(b.CreatedAt, shop.Location())
	if !b.ArrivedOn.IsZero() {
		since = b.ArrivedOn
	}
	if !lastNews.IsZero() {
		since = journal.DateOf(lastNews, shop.Location())
	}
	if b.Over() {
		return 0, false
	}
	days = max(since.DaysUntil(today), 0)
	return days, days >= shop.QuietDays
}

// stageLines tells of each stage what stands beside it.
func (w waiting) stageLines(days schedule.Calendar) ([]StageLine, error) {
	changes := map[string]journal.Cents{}
	for _, row := range billing.StatementOf(w.account).Stages {
		changes[row.StageID] = row.Changes
	}
	dropped, err := droppedNames(w.r, w.stages)
	if err != nil {
		return nil, err
	}
	names := map[journal.PersonID]string{}
	lines := make([]StageLine, 0, len(w.stages))
	for _, st := range w.stages {
		if err := nameAll(w.r, names, []journal.PersonID{st.LeadID}); err != nil {
			return nil, err
		}
		line := StageLine{Stage: st, Dropped: dropped[st.ID], Lead: names[st.LeadID]}
		switch st.State {
		case journal.UnderWay:
			line.Gone = max(days.WorkingDaysBetween(w.day(st.OpenedAt), w.today), 0)
			line.Done = min(line.Gone*100/max(st.PlannedDays, 1), 100)
			if w.actor.Person.Role.Staff() {
				var err error
				if line.Gate, err = gateOf(w.r, w.build, st); err != nil {
					return nil, err
				}
			}
		case journal.Closed:
			line.Done = 100
		}
		if w.actor.Person.Role != journal.Floor {
			line.Changes = changes[string(st.ID)]
		}
		lines = append(lines, line)
	}
	return lines, nil
}
