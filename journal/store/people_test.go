package store

import (
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

func names[T any](all []T, name func(T) string) string {
	s := ""
	for _, v := range all {
		s += name(v) + " "
	}
	return s
}

func TestPeople(t *testing.T) {
	s := yard(t)
	sorted := names(get(t, s, flow.Reads.People), func(p journal.Person) string { return p.Name + "," })
	if want := "Ada Finch, ben marsh, Jory Pike, Pat Moor, "; sorted != want {
		t.Errorf("people come as %q, want %q whatever their case", sorted, want)
	}
	again := journal.Person{ID: "other", Name: "Other", Email: "ada@example.org", Role: journal.Owner, CreatedAt: noon}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPerson(again) })
	again.ID = ben
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SavePerson(again) })
	again.ID, again.Email = "nobody", "nobody@example.org"
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SavePerson(again) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Person("nobody"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.PersonByEmail("nobody@example.org"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.PersonByEmail(""); return err })
}

// TestAdd_NoInstant: a time that was forgotten is a fault, not filled in.
func TestAdd_NoInstant(t *testing.T) {
	p := journal.Person{ID: "x", Name: "X", Email: "x@example.org", Role: journal.Owner}
	refused(t, yard(t), journal.Internal, func(tx flow.Tx) error { return tx.AddPerson(p) })
	p.CreatedAt = time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC) // would not sort as text
	refused(t, yard(t), journal.Internal, func(tx flow.Tx) error { return tx.AddPerson(p) })
}

// TestInstants_SortAsText: whatever the zone and the fraction.
func TestInstants_SortAsText(t *testing.T) {
	east := time.FixedZone("east", 14*3600)
	ordered := []time.Time{
		{},
		time.Date(1971, 1, 1, 0, 0, 0, 0, time.UTC),
		time.Date(2026, 4, 14, 23, 59, 59, 999_999_999, east), // 09:59 UTC
		time.Date(2026, 4, 14, 10, 0, 0, 0, time.UTC),
		time.Date(2026, 4, 14, 10, 0, 0, 1, time.UTC),
		time.Date(2026, 4, 14, 10, 0, 0, 100_000_000, time.UTC),
		time.Date(9999, 12, 31, 23, 59, 59, 999_999_999, time.UTC),
	}
	for i := 1; i < len(ordered); i++ {
		if a, b := at(ordered[i-1]).text(), at(ordered[i]).text(); a >= b {
			t.Errorf("%q does not come before %q", a, b)
		}
	}
	for _, wrong := range []any{"2026-04-14", "2026-04-14T10:00:00Z", 7, []byte("x")} {
		if err := new(instant).Scan(wrong); err == nil {
			t.Errorf("%v was taken for an instant", wrong)
		}
	}
}

func TestSessions(t *testing.T) {
	s := yard(t)
	session := func(hash string, p journal.PersonID, expires int) journal.Session {
		return journal.Session{TokenHash: hash, PersonID: p, CreatedAt: noon, ExpiresAt: hours(expires)}
	}
	write(t, s, func(tx flow.Tx) error {
		for _, v := range []journal.Session{session("a", ada, 1), session("b", ada, 5), session("c", ben, 5), session("d", ben, 5)} {
			if err := tx.AddSession(v); err != nil {
				return err
			}
		}
		return nil
	})
	write(t, s, func(tx flow.Tx) error {
		seen := session("b", ada, 5)
		seen.LastSeenAt = hours(2)
		return tx.SaveSession(seen)
	})
	of := func(p journal.PersonID) string {
		all := get(t, s, func(r flow.Reads) ([]journal.Session, error) { return r.Sessions(p) })
		return names(all, func(v journal.Session) string { return v.TokenHash })
	}
	if of(ada) != "b a " || of(ben) != "c d " || of(pat) != "" {
		t.Errorf("sessions are %q, %q and %q; want each person's own, the one used last first", of(ada), of(ben), of(pat))
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Session("x"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SaveSession(session("x", ada, 1)) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddSession(session("a", ben, 1)) })

	write(t, s, func(tx flow.Tx) error { return tx.EndSessions(ada, hours(1)) })
	write(t, s, func(tx flow.Tx) error { return tx.EndSessions(ada, hours(2)) }) // the first end stands
	ended := func(hash string) time.Time {
		return get(t, s, func(r flow.Reads) (journal.Session, error) { return r.Session(hash) }).EndedAt
	}
	if !ended("a").Equal(hours(1)) || !ended("b").Equal(hours(1)) || !ended("c").IsZero() {
		t.Errorf("ended at %v, %v and %v; want ada's at the first end, ben's not", ended("a"), ended("b"), ended("c"))
	}
	// A request that read the session before it was ended saves what it read.
	write(t, s, func(tx flow.Tx) error { return tx.SaveSession(session("a", ada, 9)) })
	if !ended("a").Equal(hours(1)) {
		t.Error("an older reading brought an ended session back to life")
	}

	// Sweep: b ended at 1, d runs out at 5; before 3 only the ended ones go.
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(hours(1)) })
	ended("b") // ended at that very time: still there
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(hours(3)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Session("b"); return err })
	ended("c")
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(hours(6)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Session("c"); return err })
}

func TestLinks(t *testing.T) {
	s := yard(t)
	link := journal.Link{TokenHash: "link", PersonID: ada, Purpose: journal.LinkSignIn, CreatedAt: noon, ExpiresAt: hours(1)}
	form := journal.KeptForm{TokenHash: "form", Path: "/x", ExpiresAt: hours(1)} // of nobody known
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddLink(link); err != nil {
			return err
		}
		return tx.AddKeptForm(form)
	})
	for i, want := range []bool{true, false, false} {
		write(t, s, func(tx flow.Tx) error {
			first, err := tx.UseLink("link", hours(i))
			if first != want {
				t.Errorf("use %d: first = %v, want %v", i, first, want)
			}
			return err
		})
	}
	if l := get(t, s, func(r flow.Reads) (journal.Link, error) { return r.Link("link") }); !l.UsedAt.Equal(noon) {
		t.Errorf("used at %v, want the first use", l.UsedAt)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.UseLink("x", noon); return err })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddLink(link) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddKeptForm(form) })

	write(t, s, func(tx flow.Tx) error { return tx.DropKeptForm("form") })
	write(t, s, func(tx flow.Tx) error { return tx.DropKeptForm("form") }) // nothing left to drop
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.KeptForm("form"); return err })

	write(t, s, func(tx flow.Tx) error { return tx.AddKeptForm(form) })
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(hours(2)) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.KeptForm("form"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Link("link"); return err })
}

func TestShop(t *testing.T) {
	s := yard(t)
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Shop(); return err })
	shop := journal.Shop{Name: "Tern Hollow Truck Works", Zone: "America/Denver", Currency: "USD"}
	write(t, s, func(tx flow.Tx) error { return tx.SaveShop(shop) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SaveShop(shop) }) // set up twice
	shop.Version = 1
	write(t, s, func(tx flow.Tx) error { return tx.SaveShop(shop) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SaveShop(shop) }) // a stale page

	if v := get(t, s, func(r flow.Reads) (string, error) { return r.Meta("unknown") }); v != "" {
		t.Errorf("an unknown key has the value %q", v)
	}
	write(t, s, func(tx flow.Tx) error {
		if err := tx.AddPlan(journal.Plan{ID: "b", Name: "body-off"}); err != nil {
			return err
		}
		return tx.AddPlan(journal.Plan{ID: "a", Name: "Axles only", Version: 4})
	})
	if got := names(get(t, s, flow.Reads.Plans), func(p journal.Plan) string { return string(p.ID) }); got != "a b " {
		t.Errorf("plans come as %q, want by name", got)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPlan(journal.Plan{ID: "c", Name: "body-off"}) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {
		return tx.SavePlan(journal.Plan{ID: "a", Name: "body-off", Version: 4})
	})
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SavePlan(journal.Plan{ID: "a", Name: "Axles", Version: 3}) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SavePlan(journal.Plan{ID: "x", Name: "X"}) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Plan("x"); return err })
}
