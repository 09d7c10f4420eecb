package views

import (
	"html"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode"

	"farbay/journal"
	"farbay/journal/signoff"
)

// shopPages are all filled pages of office and floor.
func shopPages() map[string]Page {
	pages := officePages()
	for name, page := range floorPages() {
		pages[name] = page
	}
	for name, page := range sortingPages() {
		pages[name] = page
	}
	for name, page := range booksPages() {
		pages[name] = page
	}
	for name, page := range paintPages() {
		pages[name] = page
	}
	for name, page := range cashPages() {
		pages[name] = page
	}
	return pages
}

func TestEveryShopPageIsFilled(t *testing.T) {
	filled := map[string]bool{}
	for _, p := range shopPages() {
		filled[p.Template()] = true
	}
	for _, p := range declaredPages {
		name := p.Template()
		if (strings.HasPrefix(name, "office/") || strings.HasPrefix(name, "floor/")) && !filled[name] {
			t.Errorf("no filled page is tested for template %s", name)
		}
	}
}

// The shop's pages are served under the same policy as the owners' (W3C Content
// Security Policy Level 3), and their ids stand once, with every label,
// description and anchor leading to one (HTML Standard, 3.2.6 and 4.10.4).
func TestShopPagesAreFit(t *testing.T) {
	set := mustNew(t)
	ids := regexp.MustCompile(`\sid="([^"]*)"`)
	refs := regexp.MustCompile(`\s(?:(?:for|list|aria-describedby)="|href="#)([^"]*)"`)
	for name, page := range shopPages() {
		out := render(t, set, page)
		for what, pattern := range map[string]*regexp.Regexp{"style attribute": styleAttribute, "event attribute": eventAttribute,
			"inline script": inlineScript, "script without source": scriptNoSource, "refused value": regexp.MustCompile("ZgotmplZ")} {
			if found := pattern.FindString(out); found != "" {
				t.Errorf("%s has a %s: %s", name, what, found)
			}
		}
		seen := map[string]int{}
		for _, m := range ids.FindAllStringSubmatch(out, -1) {
			seen[m[1]]++
		}
		for id, n := range seen {
			if n > 1 {
				t.Errorf("%s: id %q stands %d times", name, id, n)
			}
		}
		for _, m := range refs.FindAllStringSubmatch(out, -1) {
			for _, id := range strings.Fields(m[1]) {
				if seen[id] == 0 {
					t.Errorf("%s: %s leads nowhere", name, strings.TrimSpace(m[0]))
				}
			}
		}
	}
}

// changed returns a copy of a page in which f has replaced every plain string,
// told the names of the fields down to it. Strings that choose the zone, the
// currency or the kind of a wait stay.
func changed(page Page, f func(path, was string) string) Page {
	own := reflect.New(reflect.TypeOf(page)).Elem()
	own.Set(reflect.ValueOf(page))
	changeStrings(own, "", f)
	return own.Interface().(Page)
}

func changeStrings(v reflect.Value, path string, f func(path, was string) string) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() && v.Type() != reflect.TypeFor[*time.Location]() {
			changeStrings(v.Elem(), path, f)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			return
		}
		for i := range v.NumField() {
			name := v.Type().Field(i).Name
			if !v.Type().Field(i).IsExported() {
				continue // no template can show it
			}
			if name != "For" && name != "Currency" && name != "Zone" || strings.HasSuffix(path, ".Form") {
				changeStrings(v.Field(i), path+"."+name, f)
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			changeStrings(v.Index(i), path+"["+strconv.Itoa(i)+"]", f)
		}
	case reflect.Map:
		for _, key := range v.MapKeys() {
			if v.Type().Elem().Kind() == reflect.String {
				v.SetMapIndex(key, reflect.ValueOf(f(path+"."+key.String(), v.MapIndex(key).String())))
			}
		}
	case reflect.String:
		if v.Type() == reflect.TypeFor[string]() {
			v.SetString(f(path, v.String()))
		}
	}
}

// Every string of every page becomes an attack, and none becomes markup. The
// attack strings are from the OWASP XSS Filter Evasion Cheat Sheet.
func TestNothingInShopPagesBecomesMarkup(t *testing.T) {
	set := mustNew(t)
	for _, attack := range []string{`<SCRIPT SRC=//xss.example/a.js></SCRIPT>`, `"><img src=x onerror=alert(1)>`, `javascript:alert(1)`, `</textarea><script>alert(1)</script>`, `' onmouseover='alert(1)`} {
		escaped := false
		for name, page := range shopPages() {
			out := render(t, set, changed(page, func(string, string) string { return attack }))
			for _, bad := range []string{"<SCRIPT", "<img src=x", "<script>alert", `href="javascript:`, `action="javascript:`, `' onmouseover='`} {
				if strings.Contains(out, bad) {
					t.Errorf("%s with %s: %s stands in the page", name, attack, bad)
				}
			}
			escaped = escaped || strings.Contains(out, html.EscapeString(attack))
		}
		if !escaped {
			t.Errorf("%s is shown on no page", attack)
		}
	}
}

// snake turns "DelegateName" into "delegate_name".
func snake(field string) string {
	var b strings.Builder
	for i, r := range field {
		if unicode.IsUpper(r) && i > 0 {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// Everything typed into a form comes back to the character, beside what was
// wrong with it. Left out are fields that are chosen, not typed, and days that
// the state of the build hides.
func TestShopFormsKeepWhatWasTyped(t *testing.T) {
	set := mustNew(t)
	chosen := regexp.MustCompile(`\.(Stage|Source|Kind|Audience|Plan|Lead|Unit|Crediting|TaxBasis|Pricing|HoldbackCap|LateAsks|Transport|Role|Invoice|Means|ID|ReEstimate|Entry|ReadyOn|DeliveredOn|By|Step|Densities|AskedIn|What|Units|AddsAfter|AddsMetered|Drops|StopBy)$`)
	fields, paperFields := 0, map[string]bool{}
	for field := range reflect.TypeFor[PaperForm]().Fields() {
		if field.Type.Kind() == reflect.String {
			paperFields[field.Name] = true
		}
	}
	for name, page := range shopPages() {
		if name == "terms-fixed" || name == "scope-agreed" {
			continue // shown, not typed
		}
		typed := map[string]string{}
		plain := render(t, set, page)
		_, isPaper := page.(PaperEdit)
		out := render(t, set, changed(page, func(path, was string) string {
			// Of a paper's fields each kind shows its own; together they show all.
			if field, under := strings.CutPrefix(path, ".Form."); isPaper && under && !strings.Contains(field, "[") {
				if !strings.Contains(plain, `name="`+snake(field)+`"`) {
					return was
				}
				delete(paperFields, field)
			}
			if !strings.HasPrefix(path, ".Form.") && !strings.HasPrefix(path, ".Lines[") || chosen.MatchString(path) {
				return was
			}
			typed[path] = "typed\u202e <b>&\U0001F6FB " + strconv.Itoa(len(typed)) + "."
			return typed[path]
		}))
		fields += len(typed)
		for path, text := range typed {
			if want := html.EscapeString(text); !strings.Contains(out, want) {
				t.Errorf("%s: %s does not come back", name, path)
			}
		}
	}
	if len(paperFields) > 0 {
		t.Errorf("no kind of paper asks for %v", paperFields)
	}
	if fields < 250 {
		t.Errorf("only %d fields were tried", fields)
	}
	for _, name := range []string{"paper-wrong", "terms", "build-new", "shop", "payment-new"} {
		page := shopPages()[name]
		problems := reflect.ValueOf(page).FieldByName("Problems").Interface().(journal.Problems)
		out := render(t, set, page)
		for field, sentence := range problems {
			beside := regexp.MustCompile(`id="f-` + regexp.QuoteMeta(field) + `-problem">` + regexp.QuoteMeta(html.EscapeString(sentence)))
			if !beside.MatchString(out) || !strings.Contains(out, `name="`+field+`"`) {
				t.Errorf("%s: what is wrong with %s does not stand beside it", name, field)
			}
		}
	}
}

// officeOnly finds forms and links that only the office may use (routes).
var officeOnly = regexp.MustCompile(`(?:action|href)="[^"]*/(?:close|reopen|papers|send|recall|answer|payments|payments/new|reverse|bill|invoices|release|scope|terms|people|builds/new)["?]`)

// What the floor may not do, its pages do not offer.
func TestFloorIsOfferedNoOfficeActs(t *testing.T) {
	set := mustNew(t)
	actForms := regexp.MustCompile(`(?s)<main.*</main>`)
	offered := 0
	for name, page := range shopPages() {
		switch page.(type) {
		case StaffBuild, StaffStage, StaffPaper, StaffMoney, StaffEntry, Builds:
		default:
			continue
		}
		own := reflect.New(reflect.TypeOf(page)).Elem()
		own.Set(reflect.ValueOf(page))
		main := func(role journal.Role) string {
			own.FieldByName("Frame").FieldByName("Person").Set(reflect.ValueOf(&Who{Name: "Ines Varga", Role: role}))
			if own.FieldByName("Waits").IsValid() {
				own.FieldByName("Waits").SetZero() // the server leaves out what is not theirs
			}
			if work := own.FieldByName("Work"); work.IsValid() {
				work.FieldByName("Office").SetBool(role == journal.Office)
			}
			return actForms.FindString(render(t, set, own.Interface().(Page)))
		}
		for _, found := range officeOnly.FindAllString(main(journal.Floor), -1) {
			t.Errorf("%s offers the floor %s", name, found)
		}
		offered += len(officeOnly.FindAllString(main(journal.Office), -1))
	}
	if offered < 10 {
		t.Errorf("the office is offered %d acts; the pattern finds too little", offered)
	}
}

func TestWhatWaits_WorstFirst(t *testing.T) {
	row := func(name string, quiet bool, waits ...Wait) BoardRow {
		return BoardRow{Build: journal.Build{Nickname: name}, Quiet: quiet, Waits: waits}
	}
	page := WhatWaits{Rows: []BoardRow{
		row("Calm", false), row("Long", false, Wait{Days: 30}), row("Quiet", true), row("Late", false, Wait{Days: 1, Late: 2}),
		row("Later", false, Wait{Days: 1, Late: 5}), row("Also calm", false)}}
	var got []string
	for _, r := range page.WorstFirst() {
		got = append(got, r.Build.Nickname)
	}
	// Late before quiet before long: the order that WhatWaits.WorstFirst states.
	if want := []string{"Later", "Late", "Quiet", "Long", "Also calm", "Calm"}; !slices.Equal(got, want) {
		t.Errorf("order is %v, want %v", got, want)
	}
	if page.Rows[0].Build.Nickname != "Calm" {
		t.Error("sorting changed the page")
	}
	waits := WorstFirst([]Wait{{On: OnOwner, Days: 9}, {On: OnUs, Days: 1}, {On: OnPayment, Days: 2, Late: 1}})
	if waits[0].On != OnPayment || waits[1].On != OnUs || waits[2].On != OnOwner {
		t.Errorf("waits are ordered %v", waits)
	}
}

func TestWhatWaits_Say(t *testing.T) {
	got, err := officePages()["what-waits"].(WhatWaits).Say()
	if err != nil {
		t.Fatal(err)
	}
	want := "Four builds are under way. Three wait on us, one waits on its owner and two wait on payments. " +
		"Most pressing is Heron: invoice 31, 3" + nbsp + "days late. Juniper has been quiet for 9" + nbsp + "days."
	if got != want {
		t.Errorf("said %q, want %q", got, want)
	}
}

func TestWait_EveryKindHasWordsAndAWay(t *testing.T) {
	said := map[string]bool{}
	for _, w := range everyWait() {
		what, err := w.What()
		if err != nil || what == "" || said[what] {
			t.Errorf("%s: said %q, %v", w.For, what, err)
		}
		said[what] = true
		if path, err := w.Path(); err != nil || !strings.HasPrefix(path, "/builds/h/") {
			t.Errorf("%s: leads to %q, %v", w.For, path, err)
		}
	}
	unknown := Wait{For: "weather"}
	if _, err := unknown.What(); err == nil {
		t.Error("a kind without words was said")
	}
	if _, err := unknown.Path(); err == nil {
		t.Error("a kind without a way leads somewhere")
	}
}

// The journal's kinds, audiences, line kinds, means and roles are all offered,
// so that a new one cannot be forgotten.
func TestFormsOfferAllThereIs(t *testing.T) {
	values := func(options []Option) (all []string) {
		for _, o := range options {
			if o.Text == "" {
				t.Errorf("option %q has no words", o.Value)
			}
			all = append(all, o.Value)
		}
		return all
	}
	var kinds, lines, means []string
	for _, k := range journal.EntryKinds {
		kinds = append(kinds, string(k))
		if kindHelp[k] == "" {
			t.Errorf("entry kind %s says not what it is for", k)
		}
	}
	for _, k := range journal.LineKinds {
		lines = append(lines, string(k))
	}
	for _, m := range journal.MeansOffered {
		means = append(means, string(m))
	}
	if got := values(EntryForm{}.KindOptions()); !slices.Equal(got, kinds) {
		t.Errorf("kinds of entry %v, want %v", got, kinds)
	}
	if got := values(LineForm{}.KindOptions()); !slices.Equal(got, lines) {
		t.Errorf("kinds of line %v, want %v", got, lines)
	}
	if got := values(PaymentForm{}.MeansOptions()); !slices.Equal(got, means) {
		t.Errorf("means %v, want %v", got, means)
	}
	for _, value := range values(PersonForm{}.RoleOptions()) {
		if !journal.Role(value).Valid() {
			t.Errorf("role %q is none", value)
		}
	}
}

// Nobody outside the shop sees a new entry unless somebody says so (DESIGN.md,
// Words: "shop only until somebody says otherwise").
func TestEntryNew_IsShopOnlyAtFirst(t *testing.T) {
	out := render(t, mustNew(t), floorPages()["entry-new"])
	if !strings.Contains(out, `name="audience" value="shop only" checked`) || strings.Contains(out, `value="owner too" checked`) {
		t.Error("a new entry does not begin as shop only")
	}
	for _, part := range []string{`enctype="multipart/form-data"`, `type="file"`, `name="photos" multiple accept="image/jpeg,image/png,image/webp,video/mp4,video/quicktime"`} {
		if !strings.Contains(out, part) {
			t.Errorf("the form is of no use without scripts: %s is missing", part)
		}
	}
}

func TestEntryFields_Stages(t *testing.T) {
	open := EntryFields{Stages: stagesOf(shopStages(2, 1))}
	if open.Chosen() != "sc" || len(open.Near()) != 1 || len(open.Far()) != 12 {
		t.Errorf("with one stage under way: chosen %q, %d near, %d far", open.Chosen(), len(open.Near()), len(open.Far()))
	}
	none := EntryFields{Stages: stagesOf(shopStages(2, 0))}
	if none.Chosen() != "" || len(none.Near()) != 13 || none.Far() != nil {
		t.Errorf("with no stage under way: chosen %q, %d near, %d far", none.Chosen(), len(none.Near()), len(none.Far()))
	}
	open.Form.Stage = "sa"
	if !open.FarChosen() {
		t.Error("a closed stage that was chosen stays folded away")
	}
}

func TestStaffStage_OffersClosingOnlyWhenTheGateHasAll(t *testing.T) {
	set := mustNew(t)
	for name, want := range map[string]bool{"stage-ready": true, "stage-missing": false, "stage-closed": false, "stage-new": false} {
		if got := strings.Contains(render(t, set, officePages()[name]), `action="/builds/h/stages/sh/close"`); got != want {
			t.Errorf("%s: closing offered is %t", name, got)
		}
	}
}

func TestStaffPaper_Unanswered(t *testing.T) {
	p := officePages()["paper-out"].(StaffPaper)
	forms := p.Unanswered()
	if len(forms) != 1 || forms[0].Text != "It " || forms[0].Action != "/builds/h/papers/c4/questions/q1/answer" || len(p.Answered()) != 1 {
		t.Errorf("forms are %+v", forms)
	}
	for _, state := range []signoff.State{signoff.Drafted, signoff.Sent, signoff.Signed, signoff.Declined, signoff.Recalled} {
		p.Paper.State = state
		if got := p.Editable(); got != (state != signoff.Signed && state != signoff.Declined) {
			t.Errorf("%s: editable is %t", state, got)
		}
	}
}

func TestLetterPage_Parts(t *testing.T) {
	text := "See (https://shop.example/enter/a-b_1?x=1&y=2).\nOr call us: 5.5 \"http://x.example/\"<end>"
	together, hrefs := "", []string{}
	for _, p := range (LetterPage{Letter: journal.Letter{Text: text}}).Parts() {
		together += p.Text
		if p.Href != "" {
			hrefs = append(hrefs, p.Href)
		}
	}
	if together != text {
		t.Errorf("the parts make up %q", together)
	}
	if want := []string{"https://shop.example/enter/a-b_1?x=1&y=2", "http://x.example/"}; !slices.Equal(hrefs, want) {
		t.Errorf("addresses are %v, want %v", hrefs, want)
	}
}

// Chosen photos are numbered as they stand, what was typed stays, and the others
// wait for a number.
func TestNumbered(t *testing.T) {
	photos := []PickPhoto{{Chosen: true}, {Chosen: true, Place: "7"}, {}, {Chosen: true}}
	var places []string
	for _, p := range numbered(photos) {
		places = append(places, p.Place)
		if !p.Numbered {
			t.Error("a place cannot be typed")
		}
	}
	if want := []string{"1", "7", "", "4"}; !slices.Equal(places, want) {
		t.Errorf("places are %q, want %q", places, want)
	}
	if photos[0].Place != "" {
		t.Error("numbering changed the page")
	}
	out := render(t, mustNew(t), floorPages()["entry-edit"])
	for _, field := range []string{`name="place_pha" value="1"`, `name="place_phb" value="7"`, `name="place_phc" value=""`} {
		if !strings.Contains(out, field) {
			t.Errorf("%s is not there", field)
		}
	}
}
