package views

import (
	"html"
	"strconv"
	"strings"
	"testing"
	"time"

	"farbay/journal"
)

// sortingPages are the pages on which photos are sorted and cameras' clocks
// corrected, by a name to look at them under.
func sortingPages() map[string]Page {
	stages := stagesOf(shopStages(6, 2))
	entry := journal.Entry{ID: "e1", BuildID: "h", StageID: "sh", AuthorID: "p2", Kind: journal.KindFind, Audience: journal.ShopOnly, HappenedAt: ago(1), PostedAt: ago(1), Version: 2}
	other := journal.Entry{ID: "e2", Audience: journal.OwnerToo, HappenedAt: ago(2), Photos: []journal.EntryPhoto{{PhotoID: "x"}}, Text: "Both floor pans are gone under the mats.\nThe left one is worse."}
	target, err := shopWords.EntryOption(other, "Body metal")
	if err != nil {
		panic(err)
	}
	burst := pickedPhotos(6)
	clocks := officeFrame("Clocks", "/clocks")
	line := ClockLine{Words: shopWords, By: "Mara Lind", Correction: journal.ClockCorrection{ID: "c1", Camera: "Ostler One", ShiftSeconds: 3661, Why: "It was still on winter time.", At: ago(1), BuildID: "h", PhotoID: "pha", From: ago(9), To: ago(2)}}
	undone := line
	undone.UndoneBy, undone.Correction.UndoneAt, undone.Correction.ShiftSeconds, undone.Correction.From, undone.Correction.To = "Mara Lind", ago(0), -90, time.Time{}, time.Time{}
	undone.Correction.PhotoID = ""
	effect := ClockEffect{Words: shopWords, Photos: 40, First: TimeShift{ago(9), ago(8)}, Last: TimeShift{ago(3), ago(2)}, Doubtful: 2, Settled: 1, Seen: "1-0",
		Builds: []BuildShift{{BuildRef{"h", "Heron"}, 30, 4, 3}, {BuildRef{"j", "Juniper"}, 9, 1, 0}, {BuildRef{"b", "Bramble"}, 1, 0, 0}}}
	cameras := []CameraLine{{"Ostler One", 1412, ago(90), ago(1)}, {"Tolland T3", 1, ago(3), ago(3)}}
	typed := ClockForm{ID: "0123456789abcdef", Camera: "Ostler One", Hours: "1", Seconds: "x", Was: "behind", To: "2026-04-14T15:12", Why: "Wall clock"}
	bad := journal.Problems{"seconds": "Please type a whole number between 0 and 59.", "shift": "The two times are the same, so there is nothing to correct.", "to": "The last photo lies before the first."}
	stand := func(entry, stage string) PhotoStand {
		return PhotoStand{EntryID: journal.EntryID(entry), Stage: stage}
	}
	withdrawn := stand("e2", "Plating")
	withdrawn.Withdrawn = true
	step := func(from, to PhotoStand) PhotoStepLine {
		return PhotoStepLine{Words: shopWords, Build: "h", At: ago(1), By: "Mara Lind", From: from, To: to}
	}
	photo := Photo{Frame: heronFrame("Photo", "/photos/pha"), Photo: shopPhotos(1)[0], Time: &PhotoTime{
		Words: shopWords, Off: "1 hour behind", ForShop: true, Claim: "Tuesday 14 April, 3:12 pm at the shop (camera clock and zone)", Doubt: "That is before the truck arrived.",
		Why: "Wall clock", By: "Mara Lind", MadeAt: ago(1), ClockPage: "/clocks/c1", WrongAt: "/clocks?photo=pha", History: []PhotoStepLine{
			step(stand("e1", "Teardown"), stand("e2", "Plating")), step(stand("e2", "Plating"), PhotoStand{}), step(PhotoStand{}, stand("e3", "Plating")),
			step(stand("e3", "Plating"), stand("e2", "Plating")), step(stand("e2", "Teardown"), stand("e2", "Plating")), step(stand("e2", "Plating"), withdrawn)}}}
	return map[string]Page{
		"photo-time": photo,
		"entry-new-bursts": EntryNew{Frame: floorFrame("New entry", "/entries/new"), Stages: stages, Loose: burst,
			Bursts: [][]journal.PhotoID{{burst[3].View.ID, burst[1].View.ID}, {burst[4].View.ID, burst[5].View.ID}}},
		"entry-split": EntrySplit{Frame: floorFrame("One entry, or one a stage?", "/entries"), Chosen: "Body metal", Typed: []Hidden{{"text", "What <we> did"}, {"photo", "pha"}},
			Shares: []SplitShare{{Stage: "Plating", Photos: shopPhotos(6)}, {Stage: "Body metal", Chosen: true, Photos: shopPhotos(2)}}},
		"entry-move": EntryMove{Frame: floorFrame("Move photos", "/entries/e1/move"), Entry: entry, Stage: "Body metal", Photos: pickedPhotos(3), Entries: []Option{target},
			Stages: []Option{{Value: NewStageValue("sh"), Text: "Body metal"}}, To: "e2", Hidden: 2,
			Problems: journal.Problems{"photos": "Please choose photos of this entry.", "to": "Please choose another entry.", "show": "Please tick that the owner may see them."}},
		"entry-bursts": StaffEntry{Frame: floorFrame("Find", "/entries/e1"), Entry: entry, Shown: shopJournal().Entries[0], CanEdit: true, Bursts: [][]PhotoView{shopPhotos(3)}},
		"clocks":       Clocks{Frame: clocks, Cameras: cameras, Corrections: []ClockLine{line, undone}, Typed: typed, Problems: bad},
		"clocks-photo": Clocks{Frame: clocks, Cameras: cameras, Typed: ClockForm{ID: "0123456789abcdef", Camera: "Ostler One", Build: "h", Photo: "pha", Read: "2026-04-14T15:12"},
			Shown: &ClockPhoto{Photo: shopPhotos(1)[0], Said: ago(1)}, Problems: journal.Problems{"read": "Please type the date and time.", "photo": "The time of this photo does not come from the camera's clock."}},
		"clocks-none":   Clocks{Frame: clocks},
		"clock-preview": ClockPreview{Frame: clocks, Line: line, Effect: effect, Typed: typed, Change: "/clocks?camera=Ostler+One"},
		"clock":         Clock{Frame: clocks, Line: line, Effect: effect},
		"clock-undone":  Clock{Frame: clocks, Line: undone},
	}
}

func TestEntryNew_Groups(t *testing.T) {
	photos := pickedPhotos(6) // pha to phf
	for _, c := range []struct {
		reason string
		bursts [][]journal.PhotoID
		want   string
	}{
		{"no burst", nil, "a b c d e f"},
		{"a burst stands where its first would, the best guess first", [][]journal.PhotoID{{"phe", "phb"}}, "a [e b] c d f"},
		{"two bursts", [][]journal.PhotoID{{"phf", "pha"}, {"phc", "phb", "phd"}}, "[f a] [c b d] e"},
		{"a shot that is not offered is left out", [][]journal.PhotoID{{"gone", "phf"}}, "a b c d e [f]"},
	} {
		var got []string
		for _, group := range (EntryNew{Loose: photos, Bursts: c.bursts}).Groups() {
			var ids []string
			for _, p := range group.Photos {
				ids = append(ids, strings.TrimPrefix(string(p.View.ID), "ph"))
			}
			text := strings.Join(ids, " ")
			if group.Burst {
				text = "[" + text + "]"
			}
			got = append(got, text)
		}
		if text := strings.Join(got, " "); text != c.want {
			t.Errorf("%s: %s, want %s", c.reason, text, c.want)
		}
	}
}

func TestEntrySplit_Say(t *testing.T) {
	share := func(stage string, n int, chosen bool) SplitShare {
		return SplitShare{Stage: stage, Chosen: chosen, Photos: make([]PhotoView, n)}
	}
	for _, c := range []struct {
		shares []SplitShare
		want   string
	}{
		{[]SplitShare{share("Teardown", 25, false), share("Fabrication", 15, true)}, "25 photos were taken while Teardown was under way. 15 photos go with Fabrication, as you chose."},
		{[]SplitShare{share("Fabrication", 1, true), share("Teardown", 1, false)}, "One photo was taken while Teardown was under way. One photo goes with Fabrication, as you chose."},
		{[]SplitShare{share("Teardown", 2, false), share("Plating", 3, false)}, "Two photos were taken while Teardown was under way, 3 while Plating was. None goes with Fabrication, which you chose."},
	} {
		if got := strings.ReplaceAll((EntrySplit{Chosen: "Fabrication", Shares: c.shares}).Say(), nbsp, " "); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}

func TestSayShift(t *testing.T) {
	for seconds, want := range map[int]string{
		1: "1 second behind", -60: "1 minute ahead", 3661: "1 hour, 1 minute and 1 second behind", -2 * 86400: "2 days ahead", 86400 + 7200: "1 day and 2 hours behind",
	} {
		if got := strings.ReplaceAll(SayShift(time.Duration(seconds)*time.Second), nbsp, " "); got != want {
			t.Errorf("%d s: %q, want %q", seconds, got, want)
		}
	}
}

// What was typed for a correction comes back to the character, in both forms,
// beside what is wrong with it.
func TestClocks_keepWhatWasTyped(t *testing.T) {
	set := mustNew(t)
	const odd = `2 <b> "&` + "\u202e"
	pages := sortingPages()
	for _, c := range []struct {
		name  string
		typed ClockForm
		want  []string
	}{
		{"clocks", ClockForm{Days: odd + "1", Hours: odd + "2", Minutes: odd + "3", Seconds: odd + "4", From: odd + "5", To: odd + "6", Why: odd + "7"},
			[]string{"days", "hours", "minutes", "seconds", "from", "to", "why"}},
		{"clocks-photo", ClockForm{Read: odd + "1", From: odd + "2", To: odd + "3", Why: odd + "4"}, []string{"read", "from", "to", "why"}},
	} {
		page := pages[c.name].(Clocks)
		page.Typed, page.Problems = c.typed, journal.Problems{}
		for _, field := range c.want {
			page.Problems.Add(field, "Wrong %s.", field)
		}
		out := render(t, set, page)
		for i, field := range c.want {
			value := `name="` + field + `" value="` + html.EscapeString(odd) + strconv.Itoa(i+1) + `"`
			problem := `id="f-` + field + `-problem">Wrong ` + field + `.`
			if !strings.Contains(out, value) || !strings.Contains(out, problem) {
				t.Errorf("%s: %s does not come back as %s beside %s", c.name, field, value, problem)
			}
		}
	}
	preview := render(t, set, pages["clock-preview"])
	for _, field := range pages["clock-preview"].(ClockPreview).Typed.Fields() {
		if !strings.Contains(preview, `type="hidden" name="`+field.Name+`" value="`+html.EscapeString(field.Value)+`"`) {
			t.Errorf("%s is not passed on", field.Name)
		}
	}
}

func TestPhotoTime_tellsTheWay(t *testing.T) {
	out := render(t, mustNew(t), sortingPages()["photo-time"])
	for _, want := range []string{
		"The camera’s clock was 1 hour behind", "Moved from Teardown to Plating", "Taken out of an entry of Plating", "Put into an entry of Plating",
		"Moved to another entry of Plating", "Went with its entry from Teardown to Plating", "Withdrawn with its entry of Plating", `href="/builds/h/entries/e1"`,
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}
