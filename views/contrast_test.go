package views

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// Contrast by WCAG 2.1: relative luminance and contrast ratio as its glossary
// defines them, and the limits of SC 1.4.3 (text 4.5:1, large text 3:1) and SC
// 1.4.11 (parts of controls and graphics 3:1).
// Source: W3C, Web Content Accessibility Guidelines 2.1.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	linear := func(two string) float64 {
		n, err := strconv.ParseUint(two, 16, 8)
		if err != nil {
			t.Fatal(err)
		}
		c := float64(n) / 255
		if c <= 0.03928 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(hex[1:3]) + 0.7152*linear(hex[3:5]) + 0.0722*linear(hex[5:7])
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	high, low := luminance(t, a), luminance(t, b)
	if high < low {
		high, low = low, high
	}
	return (high + 0.05) / (low + 0.05)
}

// The formula against published values: black on white is 21:1, and #767676 on
// white 4.54:1 (WebAIM, "Contrast and Color Accessibility").
func TestContrastFormula(t *testing.T) {
	if c := contrast(t, "#000000", "#ffffff"); math.Abs(c-21) > 0.001 {
		t.Errorf("black on white is %.3f", c)
	}
	if c := contrast(t, "#767676", "#ffffff"); math.Abs(c-4.54) > 0.005 {
		t.Errorf("#767676 on white is %.3f", c)
	}
}

func tokens(t *testing.T) (light, dark map[string]string) {
	t.Helper()
	data, err := staticFiles.ReadFile("static/css/look.css")
	if err != nil {
		t.Fatal(err)
	}
	before, after, found := strings.Cut(string(data), "@media (prefers-color-scheme:dark)")
	if !found {
		t.Fatal("look.css has no dark colours")
	}
	pattern := regexp.MustCompile(`--([a-z-]+):(#[0-9a-f]{6})\b`)
	read := func(css string) map[string]string {
		found := map[string]string{}
		for _, m := range pattern.FindAllStringSubmatch(css, -1) {
			found[m[1]] = m[2]
		}
		return found
	}
	after, _, _ = strings.Cut(after, "/* Ground */")
	return read(before), read(after)
}

func TestColoursHaveContrast(t *testing.T) {
	light, dark := tokens(t)
	for name, set := range map[string]map[string]string{"light": light, "dark": dark} {
		for _, p := range []struct {
			fore, back string
			least      float64
			reason     string
		}{
			{"ink", "paper", 4.5, "text"}, {"ink", "sheet", 4.5, "text"}, {"paper", "ink", 4.5, "acts"},
			{"soft", "paper", 4.5, "captions"}, {"soft", "sheet", 4.5, "captions"}, {"ink", "bare", 4.5, "text where a photo is missing"},
			{"ink", "plate-hi", 4.5, "data plate"}, {"ink", "plate-lo", 4.5, "data plate"}, {"soft", "plate-hi", 4.5, "labels of the plate"}, {"soft", "plate-lo", 4.5, "labels of the plate"},
			{"zinc-ink", "zinc", 4.5, "what waits"}, {"wrong", "paper", 4.5, "what is wrong"}, {"wrong", "sheet", 4.5, "what is wrong"},
			{"edge", "paper", 3, "edge of a field"}, {"edge", "sheet", 3, "edge of a field"}, {"ring", "paper", 3, "focus"}, {"ring", "sheet", 3, "focus"},
			{"mark", "mark-under", 4.5, "words of a mark, on their dark edge"},
			{"topcoat", "paper", 3, "a closed coat"}, {"primer", "paper", 3, "a coat under way"}, {"topcoat", "bare", 3, "closed beside not started"}, {"primer", "bare", 2, "under way beside not started, told apart by hatch and height too"},
		} {
			if c := contrast(t, set[p.fore], set[p.back]); c < p.least {
				t.Errorf("%s: %s on %s (%s) is %.2f:1, want %.1f:1", name, p.fore, p.back, p.reason, c, p.least)
			}
		}
	}
}
