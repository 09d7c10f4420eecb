package views

import (
	"fmt"
	"slices"

	"farbay/journal"
)

// PickGroup is photos that are chosen from together, piece "pick-groups": a
// burst, the best guess first, or neighbours that are none.
type PickGroup struct {
	Burst  bool
	Photos []PickPhoto
}

// Groups returns the offered photos, each burst together at the place of its
// first.
func (p EntryNew) Groups() []PickGroup {
	byID := map[journal.PhotoID]PickPhoto{}
	for _, photo := range p.Loose {
		byID[photo.View.ID] = photo
	}
	burstOf := map[journal.PhotoID][]journal.PhotoID{}
	for _, burst := range p.Bursts {
		for _, id := range burst {
			burstOf[id] = burst
		}
	}
	var groups []PickGroup
	done := map[journal.PhotoID]bool{}
	for _, photo := range p.Loose {
		id := photo.View.ID
		if done[id] {
			continue
		}
		burst := burstOf[id]
		if burst == nil {
			if n := len(groups); n == 0 || groups[n-1].Burst {
				groups = append(groups, PickGroup{})
			}
			last := &groups[len(groups)-1]
			last.Photos = append(last.Photos, photo)
			continue
		}
		group := PickGroup{Burst: true}
		for _, id := range burst {
			if shot, known := byID[id]; known {
				done[id], group.Photos = true, append(group.Photos, shot)
			}
		}
		groups = append(groups, group)
	}
	return groups
}

// EntrySplit asks whether a batch of photos that were taken during several stages
// is posted as one entry a stage. Nothing is recorded until it is answered. It
// posts to /builds/ID/entries, with everything that was typed and the field
// "split": "yes", "no", or "back" for the form as it was.
type EntrySplit struct {
	Frame
	Chosen string       // name of the stage that was chosen
	Shares []SplitShare // two or more, in the order of their first photos
	Typed  []Hidden     // the form, but for "split"
}

// SplitShare is the part of a batch that goes to one stage.
type SplitShare struct {
	Stage  string // name
	Chosen bool   // it is the stage that was chosen
	Photos []PhotoView
}

// Hidden is one field of a form that is passed on.
type Hidden struct {
	Name, Value string
}

// Template names the page's template.
func (EntrySplit) Template() string { return "floor/entry_split" }

// Photos counts those of all shares.
func (p EntrySplit) Photos() int {
	n := 0
	for _, share := range p.Shares {
		n += len(share.Photos)
	}
	return n
}

// Say says what was found, in whole sentences: "25 photos were taken while
// Teardown was under way, 15 while Plating was. None goes with Body metal, which
// you chose."
func (p EntrySplit) Say() string {
	said, chosen := "", 0
	for _, share := range p.Shares {
		n := len(share.Photos)
		switch {
		case share.Chosen:
			chosen = n
		case said == "":
			said = fmt.Sprintf("%s taken while %s was under way", Count(n, "photo was", "photos were"), share.Stage)
		default:
			said += fmt.Sprintf(", %d while %s was", n, share.Stage)
		}
	}
	if chosen == 0 {
		return said + ". None goes with " + p.Chosen + ", which you chose."
	}
	return said + fmt.Sprintf(". %s with %s, as you chose.", Count(chosen, "photo goes", "photos go"), p.Chosen)
}

// SaySplit says what posting one entry a stage does.
func (p EntrySplit) SaySplit() string {
	return "Post " + Plural(len(p.Shares), "entry", "entries") + ", one a stage"
}

// SayKeep says what keeping them together does.
func (p EntrySplit) SayKeep() string {
	return "Keep " + Plural(p.Photos(), "photo", "photos") + " in " + p.Chosen
}

// EntryMove is the form that moves photos of an entry elsewhere. It posts to
// /builds/ID/entries/ID/move: "version", "photo" repeated, "to" (an entry's id, or
// "stage:" and a stage's) and "show".
type EntryMove struct {
	Frame
	Entry    journal.Entry
	Stage    string      // name
	Photos   []PickPhoto // of the entry
	Entries  []Option    // to move them into, newest first
	Stages   []Option    // for a new entry
	To       string      // as chosen
	Show     string      // "yes" when ticked
	Hidden   int         // of its photos, those that the owner does not see
	Problems journal.Problems
}

// Template names the page's template.
func (EntryMove) Template() string { return "floor/entry_move" }

// URL returns the entry's address.
func (p EntryMove) URL() string { return p.Build.URL() + "/entries/" + string(p.Entry.ID) }

// Lone reports whether the entry has nothing but its photos, so that it goes with
// the last of them.
func (p EntryMove) Lone() bool { return p.Entry.Text == "" }

// NewStageValue is what "to" says for a new entry in a stage.
func NewStageValue(id journal.StageID) string { return "stage:" + string(id) }

// EntryOption offers an entry to move photos into: "14 April, Body metal: Both
// floor pans … (6 photos, owner too)".
func (w Words) EntryOption(e journal.Entry, stage string) (Option, error) {
	day, err := w.ShortDayOf(e.HappenedAt)
	if err != nil {
		return Option{}, err
	}
	text := day + ", " + stage
	if first := opening(e.Text); first != "" {
		text += ": " + first
	}
	return Option{Value: string(e.ID), Text: fmt.Sprintf("%s (%s, %s)", text, Plural(len(e.Photos), "photo", "photos"), e.Audience)}, nil
}

// opening is the beginning of a text, on one line.
func opening(text string) string {
	const most = 48
	r := []rune(journal.CleanLine(text))
	if end := slices.Index(r, '\n'); end >= 0 {
		r = r[:end]
	}
	if len(r) <= most {
		return string(r)
	}
	return string(r[:most]) + "…"
}

var _ = declare(EntrySplit{}, EntryMove{})
