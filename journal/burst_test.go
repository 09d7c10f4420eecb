package journal

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// shot is a photo of one camera, so many seconds into a burst.
func shot(id PhotoID, second int, hash uint64, bytes int64) Photo {
	p := taken(id, spreadDay(9).Add(time.Duration(second)*time.Second))
	p.Hash, p.Camera, p.Bytes, p.Width, p.Height = fmt.Sprintf("%016x", hash), "Ostler One", bytes, 4000, 3000
	return p
}

func TestSameBurst(t *testing.T) {
	a := shot("a", 0, 0xff00, 1)
	for _, c := range []struct {
		reason string
		change func(*Photo)
		want   bool
	}{
		{"the same picture", func(*Photo) {}, true},
		{"10 bits apart", func(p *Photo) { p.Hash = fmt.Sprintf("%016x", 0xff00^0x3ff) }, true},
		{"11 bits apart", func(p *Photo) { p.Hash = fmt.Sprintf("%016x", 0xff00^0x7ff) }, false},
		{"20 seconds later", func(p *Photo) { p.CapturedAt = p.CapturedAt.Add(20 * time.Second) }, true},
		{"a moment more", func(p *Photo) { p.CapturedAt = p.CapturedAt.Add(20*time.Second + 1) }, false},
		{"20 seconds before", func(p *Photo) { p.CapturedAt = p.CapturedAt.Add(-20 * time.Second) }, true},
		{"the same view on another day", func(p *Photo) { p.CapturedAt = p.CapturedAt.Add(24 * time.Hour) }, false},
		{"another camera", func(p *Photo) { p.Camera = "Ostler Two" }, false},
		{"camera not known", func(p *Photo) { p.Camera = "" }, true},
		{"time not known", func(p *Photo) { p.CapturedAt = p.ReceivedAt }, true},
		{"time doubtful", func(p *Photo) { p.CapturedAt, p.CapturedDoubt = p.CapturedAt.AddDate(-9, 0, 0), "Too early." }, true},
		{"no sizes yet, so no hash", func(p *Photo) { p.Hash = "" }, false},
	} {
		b := shot("b", 0, 0xff00, 1)
		c.change(&b)
		if SameBurst(a, b) != c.want || SameBurst(b, a) != c.want {
			t.Errorf("%s: %v, want %v", c.reason, SameBurst(a, b), c.want)
		}
	}
}

func TestBursts(t *testing.T) {
	wide := shot("wide", 8, 0, 10)
	wide.Width = 8000
	for _, c := range []struct {
		reason string
		photos []Photo
		want   string
	}{
		{"none", nil, "[]"},
		{"one alone is no burst", []Photo{shot("a", 0, 0, 1)}, "[]"},
		{"the largest file first, the others as taken", []Photo{shot("a", 0, 0, 5), shot("b", 1, 0, 9), shot("c", 2, 1, 7)}, "[[b a c]]"},
		{"of equal ones the last", []Photo{shot("a", 0, 0, 5), shot("b", 1, 0, 5)}, "[[b a]]"},
		{"more pixels before a larger file", []Photo{wide, shot("a", 9, 0, 90)}, "[[wide a]]"},
		{"a walk around the truck is cut, any two must be alike", []Photo{
			shot("a", 0, 0, 1), shot("b", 5, 0xff, 1), shot("c", 10, 0xffff, 1), shot("d", 15, 0xffffff, 1)}, "[[b a] [d c]]"},
		{"a slow series is cut, any two must be near", []Photo{shot("a", 0, 0, 1), shot("b", 15, 0, 1), shot("c", 30, 0, 1), shot("d", 45, 0, 1)}, "[[b a] [d c]]"},
		{"two bursts, others between", []Photo{shot("y", 2, 0xffff, 1), shot("a", 0, 0, 1), shot("z", 3, 0xffff0000ffff, 1), shot("x", 1, 0xffff, 1), shot("b", 4, 0, 1)}, "[[b a] [y x]]"},
	} {
		var got [][]PhotoID
		for _, group := range Bursts(c.photos) {
			var ids []PhotoID
			for _, p := range group {
				ids = append(ids, p.ID)
			}
			got = append(got, ids)
		}
		if fmt.Sprint(got) != c.want {
			t.Errorf("%s: %v, want %s", c.reason, got, c.want)
		}
	}
	if Best(nil) != -1 {
		t.Error("there is a best of none")
	}
}

// Whatever the photos: any two of a burst are of the same burst, no photo is in
// two, the first is the best, and the order in which they are given is nothing.
func TestBursts_anyPhotos(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var photos []Photo
		for i := range rapid.IntRange(0, 25).Draw(t, "photos") {
			p := shot(PhotoID(fmt.Sprint("p", i)), rapid.IntRange(0, 90).Draw(t, "second"),
				rapid.SampledFrom([]uint64{0, 0x3f, 0xfff, 0xffff_ffff, 1 << 63}).Draw(t, "hash"), rapid.Int64Range(1, 3).Draw(t, "bytes"))
			switch rapid.IntRange(0, 9).Draw(t, "odd") {
			case 0:
				p.Camera = "Ostler Two"
			case 1:
				p.CapturedAt = p.ReceivedAt
			case 2:
				p.Hash = ""
			}
			photos = append(photos, p)
		}
		mixed := slices.Clone(photos)
		for i := range mixed {
			j := rapid.IntRange(0, i).Draw(t, "swap")
			mixed[i], mixed[j] = mixed[j], mixed[i]
		}
		groups := Bursts(photos)
		names := func(groups [][]Photo) string {
			text := ""
			for _, group := range groups {
				for _, p := range group {
					text += string(p.ID) + " "
				}
				text += "/"
			}
			return text
		}
		if names(groups) != names(Bursts(mixed)) {
			t.Fatalf("%q, and in another order %q", names(groups), names(Bursts(mixed)))
		}
		seen := map[PhotoID]bool{}
		for _, group := range groups {
			if len(group) < 2 {
				t.Fatalf("a burst of %d", len(group))
			}
			for i, a := range group {
				if seen[a.ID] {
					t.Fatalf("%s is in two bursts", a.ID)
				}
				seen[a.ID] = true
				for _, b := range group[i+1:] {
					if !SameBurst(a, b) {
						t.Fatalf("%s and %s are in one burst", a.ID, b.ID)
					}
				}
				if a.Bytes > group[0].Bytes {
					t.Fatalf("%s has %d bytes, the best %d", a.ID, a.Bytes, group[0].Bytes)
				}
			}
		}
	})
}
