package views

import (
	"strings"
	"testing"
)

// Each photo says the width at which the style sheet shows it. Source: HTML
// Standard, 4.8.4.2.2 "Sizes attributes"; the widths were measured in Chromium
// at 390 and 1440 px.
func TestTiles_Sizes(t *testing.T) {
	for _, c := range []struct{ photos, wide int }{{2, 0}, {3, 1}, {4, 0}, {7, 1}} {
		var photos []PhotoView
		for range c.photos {
			photos = append(photos, photo("p1", false, ""))
		}
		run := tiled(photos)
		wide := 0
		for i, p := range run {
			if p.Wide {
				wide++
				if i != 0 || !strings.HasSuffix(p.TileSizes(), " 100vw") {
					t.Errorf("of %d photos, number %d is wide with sizes %q", c.photos, i, p.TileSizes())
				}
			} else if !strings.HasSuffix(p.TileSizes(), " 50vw") {
				t.Errorf("a tile of half a phone's page says %q", p.TileSizes())
			}
		}
		if wide != c.wide || photos[0].Wide {
			t.Errorf("of %d photos %d are wide, want %d", c.photos, wide, c.wide)
		}
	}
}

// On an entry's page the first photo loads at once and the others when they are
// near.
func TestEntry_LoadsLate(t *testing.T) {
	e := entry("e1", "2026-04-14", "Body metal", "x", "progress", photo("p1", false, ""), photo("p2", true, ""), photo("p3", false, ""))
	html := render(t, mustNew(t), Entry{Frame: frameAt("/builds/b1/entries/e1", "Entry", "owner"), Entry: e})
	if high, lazy := strings.Count(html, `fetchpriority="high"`), strings.Count(html, `loading="lazy"`); high != 1 || lazy != 2 {
		t.Errorf("%d load at once and %d late, want 1 and 2", high, lazy)
	}
}
