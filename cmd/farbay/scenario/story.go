package scenario

import (
	"image/color"

	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// buildStory is one build from its arrival on.
type buildStory struct {
	nickname  string
	truck     journal.Truck
	paint     scenery.Truck
	owner     who
	delegate  who // "" for none
	lead      who
	arrived   int            // working days ago, as all days here
	agreed    int            // when the agreement was signed; 0: still being scoped
	offered   int            // when an agreement was sent that is not signed yet; 0: none
	scope     string         // what the agreement says is to be done
	allowance signoff.Limits // zero: none
	ready     int            // agreed ready date in working days from today; negative: past
	deposit   journal.Cents
	holdback  journal.BasisPoints
	terms     func(*billing.Terms) // what else is agreed; nil for nothing
	stages    []stageStory
	changes   []changeStory
	uses      []useStory
	delivery  int // 0: not delivered
}

// stageStory is one stage, by the name it has in the shop's plan.
type stageStory struct {
	name    string
	value   journal.Split
	metered bool // by time and materials
	opened  int  // 0: not started
	closed  int  // 0: not closed; -1: today
	billed  int  // when the work logged so far was billed before the close; 0: not
	paid    int  // when its invoice was paid; 0: not
	ticks   int  // checks ticked while the stage is open; all when it closes
	entries []entryStory
	paint   []paintStory
	works   []workStory
}

// workStory is work logged on a stage: hours, or a part with what it cost.
type workStory struct {
	day     int
	by      who
	text    string
	minutes int
	cost    journal.Cents
}

// entryStory is one entry, with its photos.
type entryStory struct {
	day, hour, minute int
	by                who
	kind              journal.EntryKind
	shopOnly          bool
	text              string
	shots             []shotStory
	// key names the entry for a change order that comes from it; its photos
	// are taken in before the paper is sent.
	key string
	// belonging is what the owner is asked about, a while after it is posted.
	belonging string
	wish      journal.BelongingAnswer // what they say to it; "" for nothing yet
	wished    int                     // when
}

// useStory is a find booked on the standing allowance.
type useStory struct {
	from   string // key of the find
	day    int
	title  string
	reason string
	lines  []lineStory
}

// shotStory is one photo of an entry.
type shotStory struct {
	state   scenery.State
	view    scenery.View
	upright bool
	caption string
}

// changeStory is a change order and what became of it.
type changeStory struct {
	from     string // key of the find
	day      int    // sent
	title    string
	reason   string
	stage    string
	lines    []lineStory
	days     int
	signed   int // 0: not
	declined int
	why      string // of declining
	asks     []askStory
}

type lineStory struct {
	kind    journal.LineKind
	text    string
	minutes int
	amount  journal.Cents
}

// askStory is a question of the owner's; answer "" leaves it open.
type askStory struct {
	day      int
	text     string
	answered int
	answer   string
}

// shots is short for photos without captions, seen from several sides.
func shots(state scenery.State, views ...scenery.View) []shotStory {
	var out []shotStory
	for i, v := range views {
		out = append(out, shotStory{state: state, view: v, upright: i%4 == 3})
	}
	return out
}

func rgb(r, g, b uint8) color.RGBA { return color.RGBA{r, g, b, 255} }

// dollars makes whole dollars of cents.
func dollars(n int64) journal.Cents { return journal.Cents(n * 100) }

// split is labour, parts and outside work in whole dollars.
func split(labour, parts, outside int64) journal.Split {
	return journal.Split{Labour: dollars(labour), Parts: dollars(parts), Outside: dollars(outside)}
}
