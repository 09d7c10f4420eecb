package journal

import "time"

// EntryKind says what an entry reports.
type EntryKind string

const (
	KindProgress EntryKind = "progress"
	KindFind     EntryKind = "find"
	KindProblem  EntryKind = "problem"
	KindRoadTest EntryKind = "road test"
	KindVisit    EntryKind = "visit"
)

// EntryKinds lists all kinds in the order they are offered.
var EntryKinds = []EntryKind{KindProgress, KindFind, KindProblem, KindRoadTest, KindVisit}

// Audience says who sees an entry.
type Audience string

const (
	ShopOnly Audience = "shop only"
	OwnerToo Audience = "owner too"
)

// MaxEntryPhotos bounds the photos of one entry and of one upload.
const MaxEntryPhotos = 60

// Entry is one post in a build's journal.
type Entry struct {
	ID           EntryID
	BuildID      BuildID
	StageID      StageID
	AuthorID     PersonID
	Kind         EntryKind
	Audience     Audience
	Text         string
	Photos       []EntryPhoto // in order
	HappenedAt   time.Time    // earliest undoubted capture time of its photos, else PostedAt
	PostedAt     time.Time
	SharedAt     time.Time // when the owner could first see it; zero if never
	EditedAt     time.Time // last edit; zero if never
	WithdrawnAt  time.Time
	WithdrawnWhy string
	Version      int
}

// EntryPhoto is a photo's place in an entry.
type EntryPhoto struct {
	PhotoID PhotoID
	Caption string
}

// EntryEdit is what an entry was before an edit or withdrawal.
type EntryEdit struct {
	EntryID  EntryID
	Version  int // the version that was replaced
	Kind     EntryKind
	Audience Audience
	StageID  StageID
	Text     string
	Photos   []EntryPhoto
	ByID     PersonID // who replaced it
	At       time.Time
}

// Validate checks what a person can enter, field by field.
func (e Entry) Validate() error {
	bad := Problems{}
	CheckText(bad, "text", e.Text, 0, 10_000, "Please keep the text to 10,000 characters.")
	if e.Text == "" && len(e.Photos) == 0 {
		bad.Add("text", "Please write a line or add a photo.")
	}
	if e.StageID == "" {
		bad.Add("stage", "Please choose the stage this belongs to.")
	}
	known := false
	for _, k := range EntryKinds {
		known = known || e.Kind == k
	}
	if !known {
		bad.Add("kind", "Please choose what kind of entry this is.")
	}
	if e.Audience != ShopOnly && e.Audience != OwnerToo {
		bad.Add("audience", "Please choose who sees this: shop only, or owner too.")
	}
	if len(e.Photos) > MaxEntryPhotos {
		bad.Add("photos", "An entry takes at most %d photos; please post the rest as another entry.", MaxEntryPhotos)
	}
	seen := map[PhotoID]bool{}
	for _, p := range e.Photos {
		if seen[p.PhotoID] {
			bad.Add("photos", "A photo is listed twice.")
		}
		seen[p.PhotoID] = true
		CheckLine(bad, "photos", p.Caption, 0, 300, "Please keep each caption to one line of at most 300 characters.")
	}
	return bad.Err()
}

// Visible reports whether the entry stands for a reader: withdrawn entries do
// not, and the owner's side sees only what is shared.
func (e Entry) Visible(staff bool) bool {
	return e.WithdrawnAt.IsZero() && (staff || e.Audience == OwnerToo)
}
