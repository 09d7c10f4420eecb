package journal

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// spreadDay is the day on which the stages of these tests turn, hour by hour.
func spreadDay(hour int) time.Time { return time.Date(2026, 3, 2, hour, 0, 0, 0, time.UTC) }

// taken is a photo whose file says when it was taken.
func taken(id PhotoID, at time.Time) Photo {
	return Photo{ID: id, CapturedAt: at, ReceivedAt: spreadDay(240)}
}

func TestSpread(t *testing.T) {
	turns := []Turn{
		{StageID: "teardown", To: UnderWay, At: spreadDay(1)}, {StageID: "plating", To: UnderWay, At: spreadDay(3)},
		{StageID: "teardown", To: Closed, At: spreadDay(5)}, {StageID: "plating", To: Closed, At: spreadDay(7)},
		{StageID: "body", To: UnderWay, At: spreadDay(8)},
	}
	doubtful, received := taken("doubtful", spreadDay(2)), taken("received", spreadDay(240))
	doubtful.CapturedDoubt = "That is before the truck arrived."
	of := map[PhotoID]Photo{
		"early": taken("early", spreadDay(0)), "t1": taken("t1", spreadDay(2)), "t2": taken("t2", spreadDay(1)), "both": taken("both", spreadDay(4)),
		"p": taken("p", spreadDay(6)), "between": taken("between", spreadDay(7)), "b": taken("b", spreadDay(9)), "doubtful": doubtful, "received": received,
	}
	for _, c := range []struct {
		reason string
		chosen StageID
		photos []PhotoID
		want   string
	}{
		{"none", "body", nil, ""},
		{"each to its stage, in the order of the batch", "body", []PhotoID{"b", "t1", "p", "t2"}, "body:b teardown:t1,t2 plating:p "},
		{"the chosen one of two under way", "teardown", []PhotoID{"both"}, "teardown:both "},
		{"the one opened last of two under way, of which neither is chosen", "body", []PhotoID{"both"}, "plating:both "},
		{"none was under way", "body", []PhotoID{"early", "between"}, "body:early,between "},
		{"doubtful and received times say nothing", "body", []PhotoID{"doubtful", "received", "b"}, "body:doubtful,received,b "},
		{"nothing chosen", "", []PhotoID{"received", "t1"}, ":received teardown:t1 "},
		{"a photo that is not known goes where it was put", "body", []PhotoID{"stranger"}, "body:stranger "},
	} {
		var batch []EntryPhoto
		for _, id := range c.photos {
			batch = append(batch, EntryPhoto{PhotoID: id, Caption: "of " + string(id)})
		}
		got := ""
		for _, share := range Spread(turns, c.chosen, batch, of) {
			got += string(share.StageID) + ":"
			for i, p := range share.Photos {
				if i > 0 {
					got += ","
				}
				if got += string(p.PhotoID); p.Caption != "of "+string(p.PhotoID) {
					t.Errorf("%s: %s has the caption %q", c.reason, p.PhotoID, p.Caption)
				}
			}
			got += " "
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.reason, got, c.want)
		}
	}
}

// Whatever the turns and times: the shares hold each photo once, none is empty,
// and a stage has one share; a photo is in another stage than the chosen one only
// if that stage was under way when it was taken and the chosen one was not.
func TestSpread_losesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var turns []Turn
		hour := 0
		for range rapid.IntRange(0, 12).Draw(t, "turns") {
			hour += rapid.IntRange(0, 2).Draw(t, "pause")
			turns = append(turns, Turn{
				StageID: StageID(rapid.SampledFrom([]string{"s1", "s2", "s3"}).Draw(t, "stage")), At: spreadDay(hour),
				To: rapid.SampledFrom([]StageState{UnderWay, Closed}).Draw(t, "to"),
			})
		}
		chosen := StageID(rapid.SampledFrom([]string{"s1", "s2", "s4"}).Draw(t, "chosen"))
		of := map[PhotoID]Photo{}
		var batch []EntryPhoto
		for i := range rapid.IntRange(0, 30).Draw(t, "photos") {
			p := taken(PhotoID(fmt.Sprint("p", i)), spreadDay(rapid.IntRange(-1, 26).Draw(t, "at")))
			if rapid.IntRange(0, 4).Draw(t, "doubt") == 0 {
				p.CapturedDoubt = "Doubtful."
			}
			of[p.ID], batch = p, append(batch, EntryPhoto{PhotoID: p.ID})
		}
		// The states at an instant, found anew from the beginning.
		under := func(stage StageID, at time.Time) bool {
			state := NotStarted
			for _, turn := range turns {
				if turn.StageID == stage && !turn.At.After(at) {
					state = turn.To
				}
			}
			return state == UnderWay
		}
		seen, stages := map[PhotoID]bool{}, map[StageID]bool{}
		for _, share := range Spread(turns, chosen, batch, of) {
			if len(share.Photos) == 0 || stages[share.StageID] {
				t.Fatalf("share of %q has %d photos, or is one of two", share.StageID, len(share.Photos))
			}
			stages[share.StageID] = true
			for _, p := range share.Photos {
				photo := of[p.PhotoID]
				if seen[p.PhotoID] {
					t.Fatalf("%s is in two shares", p.PhotoID)
				}
				seen[p.PhotoID] = true
				if share.StageID != chosen && (photo.CapturedDoubt != "" || under(chosen, photo.CapturedAt) || !under(share.StageID, photo.CapturedAt)) {
					t.Fatalf("%s of %s went to %s, chosen was %s", p.PhotoID, photo.CapturedAt, share.StageID, chosen)
				}
			}
			inBatch := func(p EntryPhoto) int { return slices.Index(batch, p) }
			if !slices.IsSortedFunc(share.Photos, func(a, b EntryPhoto) int { return inBatch(a) - inBatch(b) }) {
				t.Fatalf("share of %s is not in the batch's order", share.StageID)
			}
		}
		if len(seen) != len(batch) {
			t.Fatalf("%d of %d photos are in a share", len(seen), len(batch))
		}
	})
}
