package views

import (
	"slices"
	"strconv"
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
)

// FloorHome is the floor's first page: the builds under way, each with its big
// act.
type FloorHome struct {
	Frame
	Builds []FloorBuild
}

// FloorBuild is one build on the floor's first page.
type FloorBuild struct {
	Build  journal.Build
	Stages []StageLine
	Mine   bool     // the reader leads the build or one of its open stages
	Loose  int      // the reader's photos not in any entry yet
	Wants  []string // what the open gates still want, in words, without a full stop
}

// Coats returns the build's coat strip.
func (b FloorBuild) Coats() []Coat { return coatsOf(b.Stages) }

// Open returns the stages under way.
func (b FloorBuild) Open() []StageLine { return underWay(b.Stages) }

// Doing says in words what the strip shows.
func (b FloorBuild) Doing() string { return doing(b.Stages) }

// PickPhoto is a photo that a form offers or holds. Field names: "photo" (the
// ticked ones' ids, repeated), "caption_ID" and "place_ID".
type PickPhoto struct {
	View     PhotoView // its Caption is not used
	FileName string    // as the sender named it
	Caption  string    // as typed
	Chosen   bool
	Place    string // as typed: its place in the order, "1" first; "" keeps it
	Numbered bool   // whether its place can be typed; see [numbered]
	Note     string // where it comes from: "in the find", "Body metal"; "" for none
}

// numbered returns photos with fields for their places, the chosen ones that have
// none numbered as they stand.
func numbered(photos []PickPhoto) []PickPhoto {
	photos = slices.Clone(photos)
	for i := range photos {
		photos[i].Numbered = true
		if photos[i].Chosen && photos[i].Place == "" {
			photos[i].Place = strconv.Itoa(i + 1)
		}
	}
	return photos
}

// InOrder returns the photos with their places in the order.
func (p EntryEdit) InOrder() []PickPhoto { return numbered(p.Photos) }

// InOrder returns the photos with their places in the order.
func (p PaperEdit) InOrder() []PickPhoto { return numbered(p.Photos) }

// EntryForm is what was typed for an entry. The field names are "stage",
// "kind", "audience", "text", "version", and those of [PickPhoto]; new photos
// come in "photos", as files.
type EntryForm struct {
	ID       string // field "id": of a new entry, made with the form, so that sending it twice posts one
	Stage    string // stage id
	Kind     string // a [journal.EntryKind]; "" when none is chosen
	Audience string // a [journal.Audience]; "" counts as shop only
	Text     string
	Version  int // of the entry as read; 0 for a new one
	// Known are the photos that the entry had when its form was opened, field
	// "known", repeated: what came to it since is not taken out by saving.
	Known []string
}

// EntryNew is the form for a new entry. It posts to /builds/ID/entries.
type EntryNew struct {
	Frame
	Stages   []journal.Stage // all, in order; those under way are offered first
	Form     EntryForm
	Loose    []PickPhoto         // the reader's photos that are in no entry, oldest first
	Bursts   [][]journal.PhotoID // of these that look alike, the best guess first
	Problems journal.Problems
	// NotTaken are the files that were sent with the form and not taken, one
	// sentence each, the file's name first.
	NotTaken []string
}

// EntryEdit is the form that changes an entry. It posts to
// /builds/ID/entries/ID/edit.
type EntryEdit struct {
	Frame
	Entry    journal.Entry // as stored
	Stages   []journal.Stage
	Form     EntryForm
	Photos   []PickPhoto // those of the entry, in order, all chosen; then the reader's loose ones
	Problems journal.Problems
	NotTaken []string
}

// StaffEntry is one entry as the shop sees it.
type StaffEntry struct {
	Frame
	Entry       journal.Entry
	Shown       EntryView      // with all its photos
	History     []EntryWas     // newest first
	Papers      PaperList      // those made of this find
	WithdrawnBy string         // name; "" while it stands
	CanEdit     bool           // the reader may change and withdraw it
	Belonging   *BelongingView // of a find; nil when nobody was asked
	Ask         *AskForm       // asks about it; nil when it cannot be asked
	Uses        []signoff.Use  // of the standing allowance, booked for it
	CanBook     bool           // the reader may book it on the standing allowance
	Bursts      [][]PhotoView  // of its photos that look alike, the best guess first; for whoever may change it
	// Problems of the withdraw form, field "reason"; Reason is what was typed.
	Problems journal.Problems
	Reason   string
}

// EntryWas is what an entry was before an edit.
type EntryWas struct {
	Edit  journal.EntryEdit
	By    string // name of who replaced it
	Stage string // name of its stage then
}

// Template names the page's template.
func (FloorHome) Template() string { return "floor/home" }

// Template names the page's template.
func (EntryNew) Template() string { return "floor/entry_new" }

// Template names the page's template.
func (EntryEdit) Template() string { return "floor/entry_edit" }

// Template names the page's template.
func (StaffEntry) Template() string { return "floor/entry" }

// PaperList is papers of one build in a list, piece "paper-list".
type PaperList struct {
	Words
	BuildID journal.BuildID
	Papers  []PaperItem
}

// InOrder returns the builds, the reader's own first, then by nickname.
func (p FloorHome) InOrder() []FloorBuild {
	builds := slices.Clone(p.Builds)
	slices.SortStableFunc(builds, func(a, b FloorBuild) int {
		if a.Mine != b.Mine {
			if a.Mine {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Build.Nickname, b.Build.Nickname)
	})
	return builds
}

// Say returns what to do first, in plain sentences.
func (p FloorHome) Say() string {
	loose := 0
	for _, b := range p.Builds {
		loose += b.Loose
	}
	said := Count(len(p.Builds), "build is", "builds are") + " under way."
	if loose > 0 {
		return said + " " + Count(loose, "photo you sent is", "photos you sent are") + " in no entry yet."
	}
	if len(p.Builds) == 0 {
		return said
	}
	return said + " Choose yours and post what you did."
}

// UploadPart takes photos in, piece "take-photos".
type UploadPart struct {
	Action   string // where the script sends single files
	Problems journal.Problems
	Refused  []string
}

// Upload returns the part of the form that takes photos in.
func (p EntryNew) Upload() UploadPart {
	return UploadPart{p.Build.URL() + "/photos", p.Problems, p.NotTaken}
}

// Upload returns the part of the form that takes photos in.
func (p EntryEdit) Upload() UploadPart {
	return UploadPart{p.Build.URL() + "/photos", p.Problems, p.NotTaken}
}

// EntryFields are the fields that the forms for a new and an old entry share,
// piece "entry-fields".
type EntryFields struct {
	Form     EntryForm
	Stages   []journal.Stage
	Problems journal.Problems
}

// Fields returns the shared part of the form.
func (p EntryNew) Fields() EntryFields { return EntryFields{p.Form, p.Stages, p.Problems} }

// Fields returns the shared part of the form.
func (p EntryEdit) Fields() EntryFields { return EntryFields{p.Form, p.Stages, p.Problems} }

// Near are the stages to choose from at once: those under way, or all when none
// is.
func (f EntryFields) Near() []Option {
	near, _ := f.divide()
	return near
}

// Far are the other stages, a step further away.
func (f EntryFields) Far() []Option {
	_, far := f.divide()
	return far
}

func (f EntryFields) divide() (near, far []Option) {
	for _, o := range stageOptions(f.Stages) {
		if o.Help == string(journal.UnderWay) {
			near = append(near, o)
		} else {
			far = append(far, o)
		}
	}
	if near == nil {
		return far, nil
	}
	return near, far
}

// FarChosen reports whether the chosen stage is one of the far ones.
func (f EntryFields) FarChosen() bool {
	for _, o := range f.Far() {
		if o.Value == f.Form.Stage {
			return true
		}
	}
	return false
}

// Chosen returns the stage to show as chosen: the one typed, or the only one
// under way.
func (f EntryFields) Chosen() string {
	if near := f.Near(); f.Form.Stage == "" && len(near) == 1 {
		return near[0].Value
	}
	return f.Form.Stage
}

// URL returns the entry's address.
func (p EntryEdit) URL() string { return p.Build.URL() + "/entries/" + string(p.Entry.ID) }

// URL returns the entry's address.
func (p StaffEntry) URL() string { return p.Build.URL() + "/entries/" + string(p.Entry.ID) }

var _ = declare(FloorHome{}, EntryNew{}, EntryEdit{}, StaffEntry{})
