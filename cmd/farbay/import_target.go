package main

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"sort"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
)

// target is the build that photos are imported into.
type target struct {
	app      *server.App
	dryRun   bool
	look     look
	actor    flow.Actor
	build    journal.Build
	zone     *time.Location
	stages   map[journal.StageID]string // id -> name
	turns    []journal.Turn
	fallback journal.StageID // "" for none
	audience journal.Audience

	placed map[place][]journal.Photo // taken in, to be put into entries
	known  map[journal.PhotoID]bool  // those of this import, placed or loose
	loose  int
	again  int // were in an entry of the build already
}

// place is where photos come together in one entry.
type place struct {
	stage journal.StageID
	day   journal.Date // in the shop's zone
}

// openTarget finds the build, the person and the stage that were named.
func openTarget(ctx context.Context, app *server.App, f importFlags) (*target, error) {
	t := &target{
		app: app, dryRun: f.dryRun, look: look{intake: app.Intake(), limit: max(app.Intake().MaxBytes, app.Intake().MaxVideoBytes)},
		audience: journal.Audience(f.audience), stages: map[journal.StageID]string{}, placed: map[place][]journal.Photo{}, known: map[journal.PhotoID]bool{},
	}
	if t.audience != journal.ShopOnly && t.audience != journal.OwnerToo {
		return nil, fmt.Errorf("--audience is %q or %q", journal.ShopOnly, journal.OwnerToo)
	}
	err := app.Steps().Store.Read(ctx, func(r flow.Reads) error {
		shop, err := r.Shop()
		if err != nil {
			return err
		}
		t.zone = shop.Location()
		if t.build, err = buildNamed(r, f.build); err != nil {
			return err
		}
		if t.actor.Person, err = posterNamed(r, f.as); err != nil {
			return err
		}
		if t.turns, err = r.Turns(t.build.ID); err != nil {
			return err
		}
		stages, err := r.Stages(t.build.ID)
		for _, s := range stages {
			t.stages[s.ID] = s.Name
			if f.stage != "" && strings.EqualFold(s.Name, f.stage) {
				t.fallback = s.ID
			}
		}
		return err
	})
	if err == nil && f.stage != "" && t.fallback == "" {
		err = fmt.Errorf("%s has no stage %q", t.build.Nickname, f.stage)
	}
	return t, err
}

func buildNamed(r flow.Reads, nickname string) (journal.Build, error) {
	builds, err := r.Builds()
	if err != nil {
		return journal.Build{}, err
	}
	for _, b := range builds {
		if strings.EqualFold(b.Nickname, strings.TrimSpace(nickname)) {
			return b, nil
		}
	}
	return journal.Build{}, fmt.Errorf("there is no build with the nickname %q", nickname)
}

// posterNamed finds who posts: whoever has the address, or the shop's only
// office account.
func posterNamed(r flow.Reads, email string) (journal.Person, error) {
	if email != "" {
		p, err := r.PersonByEmail(journal.NormalEmail(email))
		switch {
		case journal.CodeOf(err) == journal.NotFound, err == nil && !(p.Active() && p.Role.Staff()):
			return p, fmt.Errorf("there is no account of the shop with the address %s", email)
		}
		return p, err
	}
	people, err := r.People()
	if err != nil {
		return journal.Person{}, err
	}
	var offices []journal.Person
	for _, p := range people {
		if p.Active() && p.Role == journal.Office {
			offices = append(offices, p)
		}
	}
	if len(offices) != 1 {
		return journal.Person{}, fmt.Errorf("the shop has %d office accounts; please say with --as who posts the photos", len(offices))
	}
	return offices[0], nil
}

// stageOf is the stage under way when a photo was taken. A time that is only
// that of receipt, or doubtful, says nothing.
func (t *target) stageOf(p journal.Photo) journal.StageID {
	if p.Dated() {
		if stage := journal.StageAt(t.turns, p.CapturedAt); stage != "" {
			return stage
		}
	}
	return t.fallback
}

func (t *target) take(ctx context.Context, file batchFile) (line importLine, err error) {
	f, err := file.open(t.look.limit)
	if err != nil {
		line = importLine{File: file.name}
		line.fail(journal.Errorf(journal.Invalid, "This file cannot be read: %v.", err))
		return line, nil
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	p, wrong := t.look.intake.Examine(file.name, f, f.size, t.zone, time.Now())
	if wrong == nil && !t.dryRun {
		var taken server.Taken
		taken, wrong = t.look.intake.Take(ctx, t.actor, t.build.ID, file.name, f)
		switch journal.CodeOf(wrong) {
		case "":
			p = taken.Photo
		case journal.Internal, journal.Unavailable:
			return line, wrong // the disk or the database: the next file would meet it too
		}
	}
	line = lineOf(file.name, p, true)
	line.fail(wrong)
	if wrong != nil {
		return line, nil
	}
	return line, t.place(ctx, p, &line)
}

// place notes where a photo goes, unless an entry of the build shows it.
func (t *target) place(ctx context.Context, p journal.Photo, line *importLine) error {
	var entries []journal.Entry
	known := false
	err := t.app.Steps().Store.Read(ctx, func(r flow.Reads) error {
		there, err := r.PhotoBySHA(t.build.ID, p.SHA256)
		if journal.CodeOf(err) == journal.NotFound {
			return nil
		}
		if err != nil {
			return err
		}
		known, p = true, there
		entries, err = r.EntriesOfPhoto(t.build.ID, there.ID)
		return err
	})
	if err != nil {
		return err
	}
	stage := t.stageOf(p)
	if len(entries) > 0 {
		stage = entries[0].StageID
	}
	if name := t.stages[stage]; name != "" {
		line.Stage = &name
	}
	switch {
	case len(entries) > 0:
		t.again++
		id := string(p.ID)
		line.DuplicateOf = &id
	case t.dryRun && known:
		id := string(p.ID)
		line.DuplicateOf = &id
	case t.dryRun, t.known[p.ID]:
	case stage == "":
		t.loose++
	default:
		at := place{stage, journal.DateOf(p.CapturedAt, t.zone)}
		t.placed[at] = append(t.placed[at], p)
	}
	t.known[p.ID] = true
	return nil
}

// finish posts the entries, the earliest day first. An entry's id is made of
// what it is for, so that an import that was cut off goes on with it.
func (t *target) finish(ctx context.Context) (string, error) {
	if t.dryRun {
		return "Nothing was stored.", nil
	}
	places := make([]place, 0, len(t.placed))
	for at := range t.placed {
		places = append(places, at)
	}
	sort.Slice(places, func(i, j int) bool {
		return places[i].day < places[j].day || places[i].day == places[j].day && places[i].stage < places[j].stage
	})
	photos, entries := 0, 0
	for _, at := range places {
		n, err := t.post(ctx, at, t.placed[at])
		if err != nil {
			return "", err
		}
		photos, entries = photos+len(t.placed[at]), entries+n
	}
	said := fmt.Sprintf("%d photos are in %d entries of %s.", photos, entries, t.build.Nickname)
	if t.again > 0 {
		said += fmt.Sprintf(" %d were there already.", t.again)
	}
	if t.loose > 0 {
		said += fmt.Sprintf(" %d belong to no stage and wait as loose photos for %s.", t.loose, t.actor.Person.Name)
	}
	return said + " A running server makes their sizes.", nil
}

// post puts photos into the entries of their place, which hold so many each.
// It returns how many entries got some.
func (t *target) post(ctx context.Context, at place, photos []journal.Photo) (entries int, err error) {
	sort.SliceStable(photos, func(i, j int) bool { return photos[i].CapturedAt.Before(photos[j].CapturedAt) })
	for n := 0; len(photos) > 0; n++ {
		id := t.entryID(at, n)
		room, there, err := t.room(ctx, id)
		if err != nil {
			return entries, err
		}
		if room == 0 {
			continue
		}
		var some []journal.EntryPhoto
		for _, p := range photos[:min(room, len(photos))] {
			some = append(some, journal.EntryPhoto{PhotoID: p.ID})
		}
		photos = photos[len(some):]
		if there {
			err = t.app.Steps().AppendPhotos(ctx, t.actor, t.build.ID, id, some)
		} else {
			_, err = t.app.Steps().PostEntry(ctx, t.actor, t.build.ID, flow.NewEntry{
				ID: id, StageID: at.stage, Kind: journal.KindProgress, Audience: t.audience, Photos: some,
			})
		}
		if err != nil {
			return entries, err
		}
		entries++
	}
	return entries, nil
}

// room is how many photos an entry takes yet: none if somebody withdrew it.
func (t *target) room(ctx context.Context, id journal.EntryID) (room int, there bool, err error) {
	room = journal.MaxEntryPhotos
	err = t.app.Steps().Store.Read(ctx, func(r flow.Reads) error {
		e, err := r.Entry(t.build.ID, id)
		if journal.CodeOf(err) == journal.NotFound {
			return nil
		}
		if err != nil {
			return err
		}
		if there, room = true, room-len(e.Photos); !e.WithdrawnAt.IsZero() || e.AuthorID != t.actor.Person.ID {
			room = 0
		}
		return nil
	})
	return room, there, err
}

// entryID names the n-th entry of a place.
func (t *target) entryID(at place, n int) journal.EntryID {
	sum := sha256.Sum256(fmt.Appendf(nil, "import %s %s %s %s %d", t.build.ID, at.stage, at.day, t.audience, n))
	return journal.EntryID("import-" + base64.RawURLEncoding.EncodeToString(sum[:18]))
}
