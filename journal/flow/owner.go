package flow

import (
	"context"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// OwnerOverview is a build as its owner's first page tells of it: what is under
// way, what waits on them, what is new, and where the money stands.
type OwnerOverview struct {
	Build  journal.Build
	Ending *Ending // how it ended early; nil otherwise
	Shop   journal.Shop
	Mine   *journal.Member // the reader's membership; nil for staff looking on
	Stages []StageLine     // without gates

	// What waits on the owner.
	Papers     []PaperLine // out for sign-off, oldest first, as sent
	ToConfirm  []PaperLine // agreed by phone and not confirmed yet
	Invoices   []OpenInvoice
	DepositDue journal.Cents       // still to come of the agreed deposit
	Delegates  []Party             // who may decide in the owner's place; for an owner only
	Belongings []journal.Belonging // finds to say keep, ship or discard about, oldest first

	Asked    []AskedAbout // questions on papers that are out, not answered yet
	Answered []AskedAbout // answers given since the last visit, oldest first

	Statement billing.Statement
	Since     time.Time      // end of the reader's visit before this one; zero on the first
	New       int            // entries shared since then; 0 on a first visit
	Photos    int            // photos the owner can see
	Newest    *journal.Photo // of them, the first of the newest entry; nil for none
	NewestIn  *journal.Entry
	Today     journal.Date
}

// AskedAbout is a question with the paper it is about.
type AskedAbout struct {
	Paper    PaperLine
	Question signoff.Question
}

// Waits reports whether anything waits on the owner.
func (o OwnerOverview) Waits() bool {
	return len(o.Papers) > 0 || len(o.ToConfirm) > 0 || len(o.Belongings) > 0 || len(o.Invoices) > 0 || o.DepositDue > 0
}

// OwnerOverview gathers the first page of a build's owner. since is what
// [Steps.Look] returned. For anyone who may read the build, and without
// anything that is for the shop only, whoever asks; [journal.NotFound]
// otherwise.
func (s *Steps) OwnerOverview(ctx context.Context, a Actor, build journal.BuildID, since time.Time) (o OwnerOverview, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		o, err = s.ownerOverview(r, a, build, since)
		return err
	})
	return o, err
}

// OwnerHome gathers the overviews of all builds that an owner-role person
// currently belongs to, undelivered first, then by nickname. It records no
// look: each is told as it would be if they went there now.
func (s *Steps) OwnerHome(ctx context.Context, a Actor) (all []OwnerOverview, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		builds, err := r.BuildsOf(a.Person.ID)
		if err != nil {
			return err
		}
		for _, b := range builds {
			v, err := r.Visit(b.ID, a.Person.ID)
			if err != nil {
				return err
			}
			o, err := s.ownerOverview(r, a, b.ID, v.Look(s.at()).PriorAt)
			if err != nil {
				return err
			}
			all = append(all, o)
		}
		return nil
	})
	return all, err
}

func (s *Steps) ownerOverview(r Reads, a Actor, build journal.BuildID, since time.Time) (o OwnerOverview, err error) {
	if o.Build, o.Mine, err = readable(r, a, build); err != nil {
		return o, err
	}
	if o.Shop, err = r.Shop(); err != nil {
		return o, err
	}
	if o.Ending, err = endingOf(r, o.Build); err != nil {
		return o, err
	}
	// Staff looking on see what the owner sees.
	as := Actor{Person: journal.Person{ID: a.Person.ID, Role: journal.Owner}}
	w, err := s.waiting(r, as, o.Shop, o.Build)
	if err != nil {
		return o, err
	}
	o.Today, o.Since, o.Statement = w.today, since, billing.StatementOf(w.account)
	if o.Stages, err = w.stageLines(calendar(o.Shop)); err != nil {
		return o, err
	}
	if err := o.addPapers(w); err != nil {
		return o, err
	}
	if err := o.addDelegates(r); err != nil {
		return o, err
	}
	asked, err := r.Belongings(build)
	if err != nil {
		return o, err
	}
	for _, b := range asked {
		if len(b.Answers) == 0 {
			o.Belongings = append(o.Belongings, b)
		}
	}
	if o.Invoices, err = openInvoices(r, build, w.account, w.today); err != nil {
		return o, err
	}
	if o.Build.State == journal.Agreed {
		o.DepositDue = billing.DepositAsked(w.account)
	}
	if !since.IsZero() {
		if o.New, err = r.CountShared(build, since); err != nil {
			return o, err
		}
	}
	if o.Photos, err = r.CountPhotos(build, false); err != nil {
		return o, err
	}
	return o, o.addNewest(r, as)
}

// addDelegates names to an owner who may decide in their place.
func (o *OwnerOverview) addDelegates(r Reads) error {
	if o.Mine == nil || o.Mine.As != journal.AsOwner {
		return nil
	}
	people, members, err := ownersOf(r, o.Build.ID)
	for i, m := range members {
		if m.As == journal.AsDelegate {
			people[i].Email, people[i].Phone, people[i].Postal, people[i].PasswordHash = "", "", "", ""
			o.Delegates = append(o.Delegates, Party{Member: m, Person: people[i]})
		}
	}
	return err
}

// addNewest finds the first photo of the newest entry that has any.
func (o *OwnerOverview) addNewest(r Reads, as Actor) error {
	e, found, err := absent(r.EntryBeside(o.Build.ID, EntryCursor{At: endOfTime}, false, false))
	if err != nil || !found {
		return err
	}
	p, err := r.Photo(o.Build.ID, e.Photos[0].PhotoID)
	if err != nil {
		return err
	}
	p = photoSeen(as, p)
	o.Newest, o.NewestIn = &p, &e
	return nil
}

// endOfTime is above every entry of a journal.
var endOfTime = time.Date(9999, 12, 31, 0, 0, 0, 0, time.UTC)

func (o *OwnerOverview) addPapers(w waiting) error {
	papers, err := w.steps.paperLines(w.r, w.actor, w.build.ID)
	if err != nil {
		return err
	}
	slices.Reverse(papers) // oldest first
	for _, p := range papers {
		out := p.Paper.State == signoff.Sent
		if out {
			o.Papers = append(o.Papers, p)
		}
		if p.Decision != nil && p.Decision.Manner == signoff.ByPhone {
			_, said, err := absent(w.r.Confirmation(p.Paper.ID))
			if err != nil {
				return err
			}
			if !said {
				o.ToConfirm = append(o.ToConfirm, p)
			}
		}
		questions, err := w.r.Questions(p.Paper.ID)
		if err != nil {
			return err
		}
		for _, q := range questions {
			switch {
			case q.AnsweredAt.IsZero() && out:
				o.Asked = append(o.Asked, AskedAbout{p, q})
			case !o.Since.IsZero() && q.AnsweredAt.After(o.Since):
				o.Answered = append(o.Answered, AskedAbout{p, q})
			}
		}
	}
	return nil
}
