package store

import (
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
)

func nickname(b journal.Build) string  { return b.Nickname }
func stageID(s journal.Stage) string   { return string(s.ID) }
func memberID(m journal.Member) string { return string(m.PersonID) }
func checkText(c journal.Check) string { return c.Text }
func turnReason(t journal.Turn) string { return t.Reason }

func TestBuilds(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		for _, b := range []journal.Build{
			{ID: "x", Nickname: "bramble", State: journal.Scoping},
			{ID: "y", Nickname: "Abbot", State: journal.Delivered},
		} {
			b.CreatedAt = noon
			if err := tx.AddBuild(b); err != nil {
				return err
			}
		}
		for _, m := range []journal.Member{
			{BuildID: "x", PersonID: ada, As: journal.AsOwner, AddedAt: noon},
			{BuildID: "y", PersonID: ada, As: journal.AsOwner, AddedAt: noon},
			{BuildID: heron, PersonID: ada, As: journal.AsOwner, AddedAt: noon},
		} {
			if err := tx.AddMember(m); err != nil {
				return err
			}
		}
		return tx.EndMember("x", ada, pat, hours(1))
	})
	if got := names(get(t, s, flow.Reads.Builds), nickname); got != "bramble Heron Juniper Abbot " {
		t.Errorf("builds come as %q, want undelivered first, then by nickname", got)
	}
	if got := names(get(t, s, func(r flow.Reads) ([]journal.Build, error) { return r.BuildsOf(ada) }), nickname); got != "Heron Abbot " {
		t.Errorf("ada's builds are %q, want those she still belongs to", got)
	}
	if got := get(t, s, func(r flow.Reads) ([]journal.Build, error) { return r.BuildsOf(ben) }); got != nil {
		t.Errorf("ben's builds are %v, want none", got)
	}
	again := journal.Build{ID: "z", Nickname: "HERON", State: journal.Scoping, CreatedAt: noon}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddBuild(again) })
	again.ID = "x"
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SaveBuild(again) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error {
		return tx.SaveBuild(journal.Build{ID: "nowhere", Nickname: "N", State: journal.Scoping, CreatedAt: noon})
	})
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Build("nowhere"); return err })
}

func TestMembers(t *testing.T) {
	s := yard(t)
	add := func(p journal.PersonID, as journal.MemberAs, n int) {
		write(t, s, func(tx flow.Tx) error {
			return tx.AddMember(journal.Member{BuildID: heron, PersonID: p, As: as, AddedAt: hours(n)})
		})
	}
	add(ben, journal.AsDelegate, 0)
	add(ada, journal.AsOwner, 2)
	add(pat, journal.AsOwner, 1)
	members := func(r flow.Reads) ([]journal.Member, error) { return r.Members(heron) }
	if got := names(get(t, s, members), memberID); got != "pat ada ben " {
		t.Errorf("members come as %q, want owners first, then by time", got)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {
		return tx.AddMember(journal.Member{BuildID: heron, PersonID: ada, As: journal.AsDelegate, AddedAt: hours(3)})
	})
	write(t, s, func(tx flow.Tx) error { return tx.EndMember(heron, ada, pat, hours(3)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Member(heron, ada); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.EndMember(heron, ada, pat, hours(4)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Member(juniper, ben); return err })
	add(ada, journal.AsDelegate, 5) // back again, in another quality
	if m := get(t, s, func(r flow.Reads) (journal.Member, error) { return r.Member(heron, ada) }); m.As != journal.AsDelegate || !m.EndedAt.IsZero() {
		t.Errorf("ada is back as %+v", m)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { // there is no such person
		return tx.AddMember(journal.Member{BuildID: heron, PersonID: "nobody", As: journal.AsOwner, AddedAt: noon})
	})
	if v := get(t, s, func(r flow.Reads) (journal.Visit, error) { return r.Visit(heron, ben) }); v != (journal.Visit{BuildID: heron, PersonID: ben}) {
		t.Errorf("a visit that never was is %+v", v)
	}
}

func TestStages(t *testing.T) {
	s := yard(t)
	stages := func(r flow.Reads) ([]journal.Stage, error) { return r.Stages(heron) }
	write(t, s, func(tx flow.Tx) error {
		// In steps, as a reordering is: two stages share a position in between.
		for _, move := range []struct {
			id journal.StageID
			to int
		}{{frame, 1}, {teardown, 2}} {
			st, err := tx.Stage(heron, move.id)
			if err != nil {
				return err
			}
			st.Position = move.to
			if err := tx.SaveStage(st); err != nil {
				return err
			}
		}
		return nil
	})
	if got := names(get(t, s, stages), stageID); got != "frame teardown " {
		t.Errorf("stages come as %q, want by position", got)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Stage(juniper, frame); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { // a stage does not move to another build
		return tx.SaveStage(journal.Stage{ID: frame, BuildID: juniper, State: journal.UnderWay, Version: 1})
	})
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {
		return tx.SaveStage(journal.Stage{ID: frame, BuildID: heron, State: journal.UnderWay, Version: 0})
	})
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {
		return tx.AddStage(journal.Stage{ID: frame, BuildID: heron, State: journal.UnderWay})
	})

	check := journal.Check{StageID: teardown, Text: "Frame number read", PersonID: jory, At: hours(2)}
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddCheck(check); err != nil {
			return err
		}
		later := check
		later.PersonID, later.At = pat, hours(3)
		if err := tx.AddCheck(later); err != nil { // ticked already
			return err
		}
		return tx.AddCheck(journal.Check{StageID: teardown, Text: "Fuel drained", PersonID: jory, At: hours(1)})
	})
	checks := func(r flow.Reads) ([]journal.Check, error) { return r.Checks(teardown) }
	got := get(t, s, checks)
	if names(got, checkText) != "Fuel drained Frame number read " || got[1] != check {
		t.Errorf("checks are %+v, want by time, and the first tick to stand", got)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.DropStage(heron, teardown) }) // ticked checks hang on it
	write(t, s, func(tx flow.Tx) error { return tx.DropCheck(teardown, check.Text) })
	write(t, s, func(tx flow.Tx) error { return tx.DropCheck(teardown, check.Text) }) // nothing left
	if got := names(get(t, s, checks), checkText); got != "Fuel drained " {
		t.Errorf("checks left: %q", got)
	}

	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.DropStage(juniper, frame) })
	write(t, s, func(tx flow.Tx) error { return tx.DropStage(heron, frame) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.DropStage(heron, frame) })

	write(t, s, func(tx flow.Tx) error {
		for i, reason := range []string{"second", "third", "first"} {
			turn := journal.Turn{StageID: teardown, To: journal.UnderWay, Reason: reason, ByID: pat, At: hours([]int{5, 5, 4}[i])}
			if err := tx.AddTurn(turn); err != nil {
				return err
			}
		}
		return nil
	})
	turns := func(b journal.BuildID) func(flow.Reads) ([]journal.Turn, error) {
		return func(r flow.Reads) ([]journal.Turn, error) { return r.Turns(b) }
	}
	if got := names(get(t, s, turns(heron)), turnReason); got != "second third first " {
		t.Errorf("turns come as %q, want as they were made, whatever the clock said", got)
	}
	if got := get(t, s, turns(juniper)); got != nil {
		t.Errorf("Juniper has Heron's turns: %v", got)
	}
}
