package flow

import (
	"context"
	"strings"

	"farbay/journal"
	"farbay/journal/billing"
)

// newBuildDueDays is what a new build's terms say until the office settles
// them: calendar days to pay. Common practice, no source.
const newBuildDueDays = 14

// NewBuild is what the office says of a truck that comes in.
type NewBuild struct {
	Nickname  string
	Truck     journal.Truck
	PlanID    journal.PlanID
	LeadID    journal.PersonID // "": not chosen yet
	ArrivedOn journal.Date     // "": not here yet
}

// CreateBuild starts a build in the state [journal.Scoping]. Its stages are a
// copy of the plan's, without values; its terms ask for no deposit and hold
// nothing back, and tax nothing until the office says what. Office only.
//
// It returns [journal.Invalid] beside nickname (also when taken), year, make,
// model, serial, colour, odometer, unit, plan and lead.
func (s *Steps) CreateBuild(ctx context.Context, a Actor, n NewBuild) (journal.BuildID, error) {
	if err := asOffice(a); err != nil {
		return "", err
	}
	b := journal.Build{
		ID: journal.BuildID(s.NewID()), Nickname: journal.CleanLine(n.Nickname), Truck: cleanTruck(n.Truck),
		State: journal.Scoping, LeadID: n.LeadID, ArrivedOn: n.ArrivedOn, CreatedAt: s.at(), Version: firstVersion,
	}
	err := s.write(ctx, func(tx Tx) error {
		bad := journal.ProblemsOf(b.Validate())
		plan, found, err := absent(tx.Plan(n.PlanID))
		if err != nil {
			return err
		}
		if !found {
			bad.Add("plan", "Please choose the stage plan that this build starts from.")
		}
		if err := checkNickname(tx, bad, b); err != nil {
			return err
		}
		if err := checkLead(tx, bad, "lead", b.LeadID); err != nil {
			return err
		}
		if err := bad.Err(); err != nil {
			return err
		}
		b.PlanName = plan.Name
		if err := tx.AddBuild(b); err != nil {
			return err
		}
		for i, p := range plan.Stages {
			if err := tx.AddStage(journal.Stage{
				ID: journal.StageID(s.NewID()), BuildID: b.ID, Position: i + 1, Name: p.Name,
				PlannedDays: p.PlannedDays, Gate: p.Gate, Cautions: p.Cautions, Teardown: p.Teardown,
				State: journal.NotStarted, Version: firstVersion,
			}); err != nil {
				return err
			}
		}
		shop, _, err := absent(tx.Shop()) // its rate is offered; without one nothing is
		if err != nil {
			return err
		}
		if err := tx.SaveTerms(b.ID, billing.Terms{Crediting: billing.ProRata, DueDays: newBuildDueDays, HourRate: shop.LabourRate}); err != nil {
			return err
		}
		return s.record(tx, a, b.ID, "build created", string(b.ID), map[string]any{
			"nickname": b.Nickname, "truck": b.Truck.Name(), "plan": plan.Name, "stages": len(plan.Stages),
		})
	})
	if err != nil {
		return "", err
	}
	return b.ID, nil
}

// BuildChange is an edit of a build's own data.
type BuildChange struct {
	Version   int // as read
	Nickname  string
	Truck     journal.Truck
	LeadID    journal.PersonID
	ArrivedOn journal.Date
	ReadyOn   journal.Date // while scoping; afterwards "" or as agreed
	// DeliveredOn is the day the truck left, once it has; "" says nothing of it.
	DeliveredOn journal.Date
}

// SaveBuild stores an edit of a build's own data. Office only.
//
// It returns [journal.Invalid] field by field (those of [Steps.CreateBuild],
// ready_on when an agreed date would move, and delivered_on as
// [Steps.SaveDelivered]) and [journal.Conflict] when c.Version is not the one
// stored.
func (s *Steps) SaveBuild(ctx context.Context, a Actor, id journal.BuildID, c BuildChange) error {
	return s.changeBuild(ctx, a, id, c.Version, func(tx Tx, b *journal.Build) (string, map[string]any, error) {
		was := *b
		b.Nickname, b.Truck = journal.CleanLine(c.Nickname), cleanTruck(c.Truck)
		b.LeadID, b.ArrivedOn = c.LeadID, c.ArrivedOn
		bad := journal.ProblemsOf(b.Validate())
		switch {
		case b.State == journal.Scoping:
			b.ReadyOn = c.ReadyOn
			journal.CheckDay(bad, "ready_on", b.ReadyOn)
		case !c.ReadyOn.IsZero() && c.ReadyOn != b.ReadyOn:
			bad.Add("ready_on", "The ready date is agreed as %s; only a signed change order moves it.", b.ReadyOn)
		}
		kind := "build changed"
		switch {
		case !c.DeliveredOn.IsZero() && c.DeliveredOn != was.DeliveredOn:
			kind = "build delivered"
			if err := deliver(b, c.DeliveredOn, s.today(tx), bad); err != nil {
				return "", nil, err
			}
		case !b.DeliveredOn.IsZero() && b.DeliveredOn < b.ArrivedOn:
			bad.Add("arrived_on", "The truck was delivered on %s; please give an earlier day.", b.DeliveredOn)
		}
		if err := checkNickname(tx, bad, *b); err != nil {
			return "", nil, err
		}
		if b.LeadID != was.LeadID {
			if err := checkLead(tx, bad, "lead", b.LeadID); err != nil {
				return "", nil, err
			}
		}
		return kind, map[string]any{
			"nickname": b.Nickname, "truck": b.Truck.Name(), "serial": b.Truck.Serial,
			"arrived_on": string(b.ArrivedOn), "ready_on": string(b.ReadyOn), "lead": string(b.LeadID),
			"delivered_on": string(b.DeliveredOn),
		}, bad.Err()
	})
}

// SaveDelivered records the day on which the truck left, or corrects it.
// version is the build's as read. Office only.
//
// It returns [journal.Invalid] beside "delivered_on" for no day, a day to come and
// one before the arrival, and [journal.Conflict] before the agreement is
// recorded or when the version is not the one stored.
func (s *Steps) SaveDelivered(ctx context.Context, a Actor, id journal.BuildID, version int, on journal.Date) error {
	return s.changeBuild(ctx, a, id, version, func(tx Tx, b *journal.Build) (string, map[string]any, error) {
		bad := journal.Problems{}
		if err := deliver(b, on, s.today(tx), bad); err != nil {
			return "", nil, err
		}
		return "build delivered", map[string]any{"delivered_on": string(on)}, bad.Err()
	})
}

// deliver puts the build into the state [journal.Delivered], or records why
// not.
func deliver(b *journal.Build, on, today journal.Date, bad journal.Problems) error {
	if b.State == journal.Scoping {
		return journal.Errorf(journal.Conflict, "This build has no agreement yet. Please record the agreement before the delivery.")
	}
	if b.State == journal.Stopped {
		return journal.Errorf(journal.Conflict, "%s was stopped on %s, so it is not delivered. Where the truck went stands on the early stop, or in an entry.", b.Nickname, b.StoppedOn)
	}
	journal.CheckDay(bad, "delivered_on", on)
	switch {
	case on.IsZero():
		bad.Add("delivered_on", "Please say on which day the truck left.")
	case on > today:
		bad.Add("delivered_on", "That day is still to come; please record the delivery once the truck has left.")
	case on < b.ArrivedOn:
		bad.Add("delivered_on", "The truck arrived on %s; please give a later day.", b.ArrivedOn)
	}
	b.State, b.DeliveredOn = journal.Delivered, on
	return nil
}

// changeBuild reads a build, lets f change it, and stores it with an event of
// the kind and detail that f returns. Office only; refuses when version is not
// the one stored.
func (s *Steps) changeBuild(ctx context.Context, a Actor, id journal.BuildID, version int,
	f func(Tx, *journal.Build) (kind string, detail map[string]any, err error)) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		if b.Version != version {
			return changedMeanwhile("build")
		}
		kind, detail, err := f(tx, &b)
		if err != nil {
			return err
		}
		if err := tx.SaveBuild(b); err != nil {
			return err
		}
		return s.record(tx, a, id, kind, string(id), detail)
	})
}

// NewMember names an owner-role person for a build.
type NewMember struct {
	PersonID journal.PersonID
	As       journal.MemberAs
	NamedBy  string // delegate: where the owner named them in writing
}

// AddOwner makes a person an owner of the build, or a delegate. Office only.
//
// It returns [journal.Invalid] beside person (not an owner account, ended, or a
// member already), as, and named_by.
func (s *Steps) AddOwner(ctx context.Context, a Actor, id journal.BuildID, n NewMember) error {
	if err := asOffice(a); err != nil {
		return err
	}
	m := journal.Member{BuildID: id, PersonID: n.PersonID, As: n.As, AddedAt: s.at()}
	return s.write(ctx, func(tx Tx) error {
		if _, err := tx.Build(id); err != nil {
			return err
		}
		bad := journal.Problems{}
		p, found, err := absent(tx.Person(n.PersonID))
		if err != nil {
			return err
		}
		switch {
		case !found:
			bad.Add("person", "Please choose the person; add them on the People page first.")
		case p.Role != journal.Owner:
			bad.Add("person", "%s works for the shop; only an owner account can own a build.", p.Name)
		case !p.Active():
			bad.Add("person", "The account of %s has ended.", p.Name)
		default:
			_, already, err := absent(tx.Member(id, n.PersonID))
			if err != nil {
				return err
			}
			if already {
				bad.Add("person", "%s belongs to this build already.", p.Name)
			}
		}
		switch n.As {
		case journal.AsOwner:
		case journal.AsDelegate:
			m.NamedBy = journal.CleanLine(n.NamedBy)
			journal.CheckLine(bad, "named_by", m.NamedBy, 1, 200,
				"Please say where the owner named this delegate in writing, such as: letter of 3 March.")
		default:
			bad.Add("as", "Please choose owner or delegate.")
		}
		if err := bad.Err(); err != nil {
			return err
		}
		if err := tx.AddMember(m); err != nil {
			return err
		}
		return s.record(tx, a, id, "owner added", string(n.PersonID), map[string]any{
			"name": p.Name, "as": string(m.As), "named_by": m.NamedBy,
		})
	})
}

// EndOwner ends a person's part in the build; from then on they see nothing of
// it. Papers they signed stay signed. Office only. It returns
// [journal.NotFound] when they are no member.
func (s *Steps) EndOwner(ctx context.Context, a Actor, id journal.BuildID, person journal.PersonID) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		m, err := tx.Member(id, person)
		if err != nil {
			return err
		}
		return s.endMember(tx, a, b, m)
	})
}

// BuildView is a build with what its pages show around it.
type BuildView struct {
	Build   journal.Build
	Stages  []journal.Stage                     // by position
	Members []journal.Member                    // current ones, owners first
	People  map[journal.PersonID]journal.Person // leads and members; see [Steps.BuildShow]
	Terms   billing.Terms
	Mine    *journal.Member // the actor's membership; nil for staff
}

// BuildShow returns a build to anyone who may read it, and [journal.NotFound]
// to everybody else. Password hashes are left out, and for owners also the
// addresses and phone numbers of others.
func (s *Steps) BuildShow(ctx context.Context, a Actor, id journal.BuildID) (v BuildView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, v.Mine, err = readable(r, a, id); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(id); err != nil {
			return err
		}
		if v.Members, err = r.Members(id); err != nil {
			return err
		}
		if v.Terms, err = r.Terms(id); err != nil {
			return err
		}
		ids := []journal.PersonID{v.Build.LeadID}
		for _, st := range v.Stages {
			ids = append(ids, st.LeadID)
		}
		for _, m := range v.Members {
			ids = append(ids, m.PersonID)
		}
		v.People, err = peopleSeen(r, a, ids)
		return err
	})
	return v, err
}

// peopleSeen reads the named people, each once, as the actor may see them.
func peopleSeen(r Reads, a Actor, ids []journal.PersonID) (map[journal.PersonID]journal.Person, error) {
	people := map[journal.PersonID]journal.Person{}
	for _, id := range ids {
		if _, known := people[id]; known || id == "" {
			continue
		}
		p, err := r.Person(id)
		if err != nil {
			return nil, err
		}
		p.PasswordHash = ""
		if !a.Person.Role.Staff() && p.ID != a.Person.ID {
			p.Email, p.Phone, p.Postal = "", "", ""
		}
		people[id] = p
	}
	return people, nil
}

// checkNickname records a problem when another build goes by the nickname.
func checkNickname(r Reads, bad journal.Problems, b journal.Build) error {
	builds, err := r.Builds()
	if err != nil {
		return err
	}
	for _, other := range builds {
		if other.ID != b.ID && strings.EqualFold(other.Nickname, b.Nickname) {
			bad.Add("nickname", "Another build goes by this nickname; please choose another.")
		}
	}
	return nil
}

// checkLead records a problem unless the lead is a current member of the shop,
// or nobody.
func checkLead(r Reads, bad journal.Problems, field string, id journal.PersonID) error {
	if id == "" {
		return nil
	}
	p, found, err := absent(r.Person(id))
	if err != nil {
		return err
	}
	if !found || !p.Active() || !p.Role.Staff() {
		bad.Add(field, "Please choose somebody who works in the shop.")
	}
	return nil
}

func cleanTruck(t journal.Truck) journal.Truck {
	t.Make, t.Model = journal.CleanLine(t.Make), journal.CleanLine(t.Model)
	t.Serial, t.Colour = journal.CleanLine(t.Serial), journal.CleanLine(t.Colour)
	return t
}
