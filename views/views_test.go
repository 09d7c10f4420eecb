package views

import (
	"bytes"
	"regexp"
	"slices"
	"strings"
	"testing"
	"text/template"

	"github.com/jba/templatecheck"

	"farbay/journal"
	"farbay/journal/signoff"
)

func mustNew(tb testing.TB) *Set {
	tb.Helper()
	set, err := New()
	if err != nil {
		tb.Fatal(err)
	}
	return set
}

func render(tb testing.TB, set *Set, page Page) string {
	tb.Helper()
	var b bytes.Buffer
	if err := set.Render(&b, page); err != nil {
		tb.Fatalf("%T: %v", page, err)
	}
	return b.String()
}

// Every template is checked against the type it is executed with, so that a
// misspelt field fails here and not on a page with that branch.
func TestTemplatesFitTheirPages(t *testing.T) {
	set, err := parse() // one that was executed is rewritten, and cannot be checked
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range declaredPages {
		if err := templatecheck.CheckHTML(set.pages[p.Template()], p); err != nil {
			t.Errorf("%T: %v", p, err)
		}
	}
	for _, p := range declaredPieces {
		if err := templatecheck.CheckHTML(set.pieces.Lookup(p.Piece()), p); err != nil {
			t.Errorf("%T: %v", p, err)
		}
	}
	for _, l := range declaredLetters {
		for _, text := range []*template.Template{set.mail[l.Mail()].subject, set.mail[l.Mail()].body} {
			if err := templatecheck.CheckText(text, l); err != nil {
				t.Errorf("%T: %v", l, err)
			}
		}
	}
}

// The policy pages are served under refuses inline styles and scripts, so none
// may be made. Source: W3C Content Security Policy Level 3, style-src and
// script-src.
var (
	styleAttribute = regexp.MustCompile(`(?i)<[^>]*\sstyle\s*=`)
	eventAttribute = regexp.MustCompile(`(?i)<[^>]*\son[a-z]+\s*=\s*["']`)
	inlineScript   = regexp.MustCompile(`(?is)<script(?:\s[^>]*)?>\s*[^<\s]`)
	scriptNoSource = regexp.MustCompile(`(?i)<script(?:\s+type="[^"]*")?\s*>`)
)

func TestPagesAreFitForThePolicy(t *testing.T) {
	set := mustNew(t)
	for name, page := range samples {
		html := render(t, set, page)
		for what, pattern := range map[string]*regexp.Regexp{
			"style attribute": styleAttribute, "event attribute": eventAttribute, "inline script": inlineScript, "script without source": scriptNoSource,
			"style element": regexp.MustCompile(`(?i)<style`), "javascript address": regexp.MustCompile(`(?i)javascript:`), "address of another host": regexp.MustCompile(`(?i)(src|href|action)="(https?:)?//`),
		} {
			if found := pattern.FindString(html); found != "" {
				t.Errorf("%s has a %s: %s", name, what, found)
			}
		}
		if strings.Contains(html, "ZgotmplZ") {
			t.Errorf("%s: html/template refused a value", name)
		}
	}
}

// The patterns above must find what they look for.
func TestPolicyPatternsFind(t *testing.T) {
	for html, pattern := range map[string]*regexp.Regexp{
		`<p class="a" style="x">`: styleAttribute, `<a onclick="x()">`: eventAttribute, `<script>x()</script>`: inlineScript, `<script type="module">`: scriptNoSource,
	} {
		if !pattern.MatchString(html) {
			t.Errorf("%s is not found by %s", html, pattern)
		}
	}
}

// One id stands once on a page, and every label, description and anchor of the
// page itself leads to one. Source: HTML Standard, 3.2.6 "The id attribute" and
// 4.10.4 "The label element".
func TestIdsAreThereOnce(t *testing.T) {
	set := mustNew(t)
	idPattern := regexp.MustCompile(`\sid="([^"]*)"`)
	toPattern := regexp.MustCompile(`\s(?:for|aria-describedby|href)="(#?[^"]*)"`)
	for name, page := range samples {
		html := render(t, set, page)
		ids := map[string]int{}
		for _, m := range idPattern.FindAllStringSubmatch(html, -1) {
			ids[m[1]]++
		}
		for id, n := range ids {
			if n > 1 && !strings.HasPrefix(id, "e-") { // samples repeat nothing but entries in two lists
				t.Errorf("%s: id %q stands %d times", name, id, n)
			}
		}
		for _, m := range toPattern.FindAllStringSubmatch(html, -1) {
			attribute, to := m[0], m[1]
			switch {
			case strings.HasPrefix(strings.TrimSpace(attribute), "href"):
				anchor, here := strings.CutPrefix(to, "#")
				if here && ids[anchor] == 0 {
					t.Errorf("%s: link to #%s leads nowhere", name, anchor)
				}
			default:
				for _, id := range strings.Fields(to) {
					if ids[id] == 0 {
						t.Errorf("%s: %s leads nowhere", name, strings.TrimSpace(attribute))
					}
				}
			}
		}
	}
}

// Text that people type is shown as they typed it and never becomes markup.
// The attack strings are from the OWASP XSS Filter Evasion Cheat Sheet.
func TestNothingTypedBecomesMarkup(t *testing.T) {
	attacks := []string{`<SCRIPT SRC=//xss.example/a.js></SCRIPT>`, `"><img src=x onerror=alert(1)>`, `javascript:alert(1)`, `</textarea><script>alert(1)</script>`, `' onmouseover='alert(1)`}
	set := mustNew(t)
	for _, attack := range attacks {
		f := frameAt("/builds/b1", attack, journal.Owner)
		f.ShopName, f.Flash, f.Refused, f.Person.Name, f.Build.Nickname = attack, attack, attack, attack, attack
		e := entry("e1", "2026-04-14", "Body metal", attack, journal.EntryKind(attack), photo("p1", false, attack))
		e.Stage, e.Author = attack, attack
		paper := givenPaper()
		paper.Frame, paper.Form, paper.Notice = f, DecideForm{Name: attack, Text: attack, Reason: attack}, attack
		paper.Sheet.Sheet.Title, paper.Sheet.Sheet.Reason, paper.Sheet.Sheet.Build.Truck = attack, attack, attack
		paper.Sheet.Sheet.Lines[0].Text, paper.Sheet.Sheet.Photos[0].Caption = attack, attack
		paper.Problems = journal.Problems{"name": attack}
		paper.Questions[0].Question.Text, paper.Questions[0].AskedBy = attack, attack
		decision := givenDecision(signoff.OutcomeDeclined)
		decision.Decision.TypedName, decision.Decision.Reason, decision.Decision.UserAgent = attack, attack, attack
		for _, page := range []Page{
			Entry{Frame: f, Entry: e}, Journal{Frame: f, Entries: JournalPiece{Words: givenWords, Entries: []EntryView{e}, Older: "/builds/b1/journal"}}, paper,
			PaperDecided{Frame: f, Sheet: paper.Sheet, Decision: decision}, PaperConfirm{Frame: f, Outcome: signoff.OutcomeDeclined, Sheet: paper.Sheet, Form: paper.Form},
			SignIn{Frame: f, Email: attack, Next: attack, Notice: attack}, SignedOutKept{Frame: f, Next: attack, Text: attack}, LinkSent{Frame: f, Email: attack},
			Failure{Frame: f, Heading: attack, Sentence: attack, Do: attack, Kept: attack, Back: Link{Text: attack, Href: attack}},
			NewConsent(f, attack),
		} {
			html := render(t, set, page)
			for _, bad := range []string{"<SCRIPT", "<img src=x", "<script>alert", `href="javascript:`, `' onmouseover='`} {
				if strings.Contains(html, bad) {
					t.Errorf("%T with %s: %s stands in the page", page, attack, bad)
				}
			}
		}
	}
}

// What was typed comes back to the character. Browsers drop one line break after
// <textarea>, so the template writes one. Source: HTML Standard, 13.2.6.4.7.
func TestTypedTextComesBack(t *testing.T) {
	set := mustNew(t)
	p := givenPaper()
	p.Form.Text = "\nfirst\n  second \U0001F6FB שלום & <b>"
	html := render(t, set, p)
	if want := ">\n\nfirst\n  second \U0001F6FB שלום &amp; &lt;b&gt;</textarea>"; !strings.Contains(html, want) {
		t.Errorf("the question does not come back as typed")
	}
}

func TestRenderNeedsWords(t *testing.T) {
	set := mustNew(t)
	b := givenOwnerBuild()
	b.Words, b.Plate.Words = Words{}, Words{}
	if err := set.Render(new(bytes.Buffer), b); err == nil {
		t.Error("a page without zone and currency was shown")
	}
}

func TestJournalPiece_MarksNews(t *testing.T) {
	set := mustNew(t)
	j := givenJournal()
	var b bytes.Buffer
	if err := set.RenderPiece(&b, j); err != nil {
		t.Fatal(err)
	}
	mark, first, third := strings.Index(b.String(), "New since Sunday"), strings.Index(b.String(), `id="e-e9"`), strings.Index(b.String(), `id="e-e7"`)
	if mark < 0 || mark > first || first > third || strings.Count(b.String(), "New since") != 1 {
		t.Errorf("the mark stands at %d, the first new entry at %d, an old one at %d", mark, first, third)
	}
	stages := []string{}
	for _, r := range j.Runs() {
		stages = append(stages, r.Stage)
	}
	if want := []string{"Body metal", "Plating", "Body metal"}; !slices.Equal(stages, want) {
		t.Errorf("runs are %v, want %v", stages, want)
	}
	j.NewSince = j.NewSince.AddDate(-1, 0, 0).Truncate(0)
	j.Entries[0].New, j.Entries[1].New = false, false
	if j.MarkAt() != "" {
		t.Error("a mark without news")
	}
}

// The owner's side never gets what is for the shop only, though the template
// could show it.
func TestOwnersSeeNoShopFacts(t *testing.T) {
	set := mustNew(t)
	p := journal.Photo{ID: "p1", BuildID: "b1", State: journal.PhotoReady, FileName: "IMG_secret.JPG", Camera: "Lumen K2", Latitude: 40.01499, Longitude: -105.2, Located: true, SHA256: givenHash, CapturedAt: at("2026-04-14", 9, 0)}
	page := Photo{Frame: frameAt("/builds/b1/photos/p1", "Photo", journal.Owner), Photo: NewPhotoView(givenWords, p, "", "")}
	html := render(t, set, page)
	for _, secret := range []string{"IMG_secret", "Lumen", "40.01", givenHash[:8], "/original"} {
		if strings.Contains(html, secret) {
			t.Errorf("the owner’s photo page shows %s", secret)
		}
	}
}

func TestPhotoView_SrcSet(t *testing.T) {
	// A 4032 x 3024 photo at a long edge of 960 is 960 x 720; upright it is 720
	// wide. Widths in srcset are of the image, not of its long edge, and no width
	// stands twice (HTML Standard, 4.8.4.2.1).
	if got, want := photo("p", true, "").SrcSet(), "/builds/b1/photos/p/320 240w, /builds/b1/photos/p/960 720w, /builds/b1/photos/p/2048 1536w"; got != want {
		t.Errorf("upright: %s", got)
	}
	small := photo("p", false, "")
	small.Width, small.Height = 640, 480
	if got, want := small.SrcSet(), "/builds/b1/photos/p/320 320w, /builds/b1/photos/p/960 640w"; got != want {
		t.Errorf("small: %s", got)
	}
}
