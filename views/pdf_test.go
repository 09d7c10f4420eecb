package views

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// outside runs an outside program and returns what it printed, or skips; with
// FARBAY_TEST_ALL set, as the full run has it, the program must be there.
func outside(t *testing.T, program string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil && os.Getenv("FARBAY_TEST_ALL") == "" {
		t.Skipf("%s is not installed", program)
	}
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(path, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v\n%s", program, args, err, out)
	}
	return string(out)
}

// givenPicture is a photo of a size, as the server has them.
func givenPicture(width, height int) []byte {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	for i := range m.Pix {
		m.Pix[i] = uint8(i * 7 / (4 * width))
	}
	m.Set(0, 0, color.White)
	var out bytes.Buffer
	if err := jpeg.Encode(&out, m, nil); err != nil {
		panic(err)
	}
	return out.Bytes()
}

var givenPictures = func(p signoff.SheetPhoto, edge int) ([]byte, error) {
	return givenPicture(edge/8, edge/10), nil
}

// signedPrint is a sheet with its decision on its page.
func signedPrint(t *testing.T, s signoff.Sheet) PaperPrint {
	t.Helper()
	record, err := s.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	return PaperPrint{Record: record, Picture: givenPictures, Decision: &signoff.Decision{
		Revision: s.Revision, SHA256: signoff.Hash(record), Outcome: signoff.OutcomeSigned, As: journal.AsOwner, TypedName: "Ada Lindqvist", Sentence: s.Act, PartsBack: true,
		At: time.Date(2026, 4, 14, 21, 12, 3, 4e6, time.UTC), Zone: "America/Denver", Authenticated: "a link sent to ada@example.org", Address: "192.0.2.7", UserAgent: "Browser 1.0",
		ConsentVersion: "1", ConsentAt: time.Date(2026, 4, 2, 14, 0, 0, 0, time.UTC), CopyTo: "ada@example.org", Manner: signoff.OnPage,
	}}
}

// printed writes a print into a file and returns its name.
func printed(t *testing.T, p PaperPrint) string {
	t.Helper()
	var out bytes.Buffer
	if err := PaperPDF(context.Background(), &out, p); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "paper.pdf")
	write(t, name, out.Bytes())
	return name
}

// textOf is a print's text, a page each, with blanks between words: what
// poppler's pdftotext reads.
func textOf(t *testing.T, name string) []string {
	t.Helper()
	pages := strings.Split(outside(t, "pdftotext", "-raw", name, "-"), "\f")
	for i := range pages {
		pages[i] = strings.Join(strings.Fields(pages[i]), " ")
	}
	return pages[:len(pages)-1]
}

// Every amount, date, name and sentence of each kind of paper is read back from
// its print by pdftotext, and from every page what paper it is, its hash and the
// page's number; qpdf finds no fault in the file, and pdfinfo reads it as tagged
// US Letter. Sources: poppler-utils and qpdf, as Debian has them.
func TestPaperPDF_ReadBack(t *testing.T) {
	want := saidOfMetered()
	maps.Copy(want, map[string][]string{
		"change": {"Both front floor pans", "Rust has eaten through both pans", "Photo 1: Left pan, from above", "18 hours of labour at $95.00 an hour", "$1,710.00", "Two pressed pans", "$480.00", "$112.00", "Tax: 6.25 % on parts", "$37.00", "+ $2,339.00",
			"$98,679.00", "from $96,340.00", "Before tax: $94,902.00, from $92,600.00", "2 October 2026", "6 working days later than 24 September 2026", "Body metal", "Nothing is done or billed"},
		"agreement": {"Teardown", "planned Mon 2 Mar 2026 to Thu 12 Mar 2026", "$4,200.00", "labour $68,400.00", "parts $20,000.00", "$92,600.00", "$3,740.00", "$96,340.00", "24 September 2026", "$20,000.00, asked before work starts",
			"5 % of what is billed before tax", "within 14 days", "powder coated", "Bo Lindqvist", "bo@example.org, 555 0199", "$250.00 for one find", "$750.00 in one calendar month", "Extra work needs a paper of its own"},
		"teardown": {"$4,284.00 with tax, $4,200.00 before it", "$3,100.00 before tax, 7 working days", "Gaskets", "Seals", "O-rings", "may prevent putting it back into its former condition", "For the stage Teardown of Heron."},
		"several":  {"Rear sill", "Body metal", "Crossmember", "Frame and coat", "$950.00", "$610.00", "$1,598.00", "from $96,340.00", "30 September 2026", "$610.00 of $750.00 is left for April 2026"},
		"date":     {"15 working days later than 24 September 2026", "15 October 2026", "This changes no amount.", "three weeks behind"},
		"delivery": {"Handed over on 24 September 2026", "at 88,210 miles", "Two keys", "The spare wheel", "The horn ring comes by post.", "$96,340.00", "$95,340.00", "$1,000.00", "$4,630.00", "Due now"},
	})
	sheets := sheetsByKind()
	sheets["change"] = givenSheet()
	maps.Copy(sheets, meteredSheets())
	for name, sheet := range sheets {
		t.Run(name, func(t *testing.T) {
			p := signedPrint(t, sheet)
			file := printed(t, p)
			pages := textOf(t, file)
			for i, text := range pages {
				for _, each := range []string{fmt.Sprintf("%s %d, revision %d", sheet.Kind.Title(), sheet.Number, sheet.Revision), signoff.Hash(p.Record), fmt.Sprintf("Page %d of %d", i+1, len(pages))} {
					if !strings.Contains(text, each) {
						t.Errorf("page %d does not say %q:\n%s", i+1, each, text)
					}
				}
			}
			whole := strings.Join(pages, " ")
			for _, text := range append(want[name], sheet.Title, sheet.Act, "sent Monday 13 April 2026 by Greta Holm", "Tern Hollow Truck Works", "12 Foundry Lane", "555 0142", "1971 Ostler Fenman, short bed, serial OF7-10442. Owner: Ada Lindqvist",
				"Signed by Ada Lindqvist", "Tuesday 14 April 2026, 3:12 pm at the shop (2026-04-14T21:12:03.004Z)", "a link sent to ada@example.org", "192.0.2.7", "Browser 1.0", "version 1, given Thursday 2 April 2026, 8:00 am at the shop") {
				if !strings.Contains(whole, text) {
					t.Errorf("%q is not in the print:\n%s", text, whole)
				}
			}
			outside(t, "qpdf", "--check", file)
			info := outside(t, "pdfinfo", file)
			for _, fact := range []string{`Tagged: +yes`, `Page size: +612 x 792 pts \(letter\)`, `Title: +` + regexp.QuoteMeta(sheet.Name()+" for Heron: "+sheet.Title), `CreationDate: .*Apr 14 .*2026`} {
				if !regexp.MustCompile(fact).MatchString(info) {
					t.Errorf("pdfinfo does not say %q:\n%s", fact, info)
				}
			}
			if n := strings.Count(outside(t, "pdfimages", "-list", file), "jpeg"); n != len(sheet.Photos) {
				t.Errorf("%d pictures in the print, want %d", n, len(sheet.Photos))
			}
			if fonts := outside(t, "pdffonts", file); strings.Contains(fonts, " no ") {
				t.Errorf("a font is not embedded, not a subset or without its characters:\n%s", fonts)
			}
		})
	}
}

// The text of the tags, read in their order, is that of the paper with its
// blanks, rows under their heads, and pictures have words instead.
func TestPaperPDF_Tags(t *testing.T) {
	file := printed(t, signedPrint(t, givenSheet()))
	tags := strings.Join(strings.Fields(outside(t, "pdfinfo", "-struct-text", file)), " ")
	for _, text := range []string{
		`H1 (block) "Both front floor pans"`, `P (block) "Rust has eaten through both pans under the mats, further than the teardown photos showed. "`,
		`Figure "" Caption "Photo 1: Left pan, from above"`, `Table (block) TR TH: /Scope /Column "What" TH: /Scope /Column "Cost" TR TD "Cut out and weld in" "18`,
		`H2 (block) "Signed by Ada Lindqvist"`, `TR TH "As" TD "owner"`,
	} {
		if !strings.Contains(strings.ReplaceAll(tags, "\u00a0", " "), text) {
			t.Errorf("%s is not among the tags:\n%s", text, tags)
		}
	}
	for _, artifact := range []string{"Page 1 of", "SHA-256 of the record "} {
		if strings.Contains(tags, artifact) {
			t.Errorf("%q, which stands on every page, is read out with the paper", artifact)
		}
	}
	objects := outside(t, "qpdf", "--qdf", "--object-streams=disable", file, "-")
	for _, text := range []string{"/Alt (Photo 1: Left pan, from above)", "/Lang (en-US)", "/DisplayDocTitle true"} {
		if !strings.Contains(objects, text) {
			t.Errorf("%s is not in the file", text)
		}
	}
}

func TestPaperPDF_SameBytes(t *testing.T) {
	p := signedPrint(t, givenSheet())
	p.Questions = []QuestionView{{Question: signoff.Question{Text: "Why?", Revision: 1, AskedAt: p.Decision.At}, AskedBy: "Ada Lindqvist"}}
	var a, b bytes.Buffer
	for _, out := range []*bytes.Buffer{&a, &b} {
		if err := PaperPDF(context.Background(), out, p); err != nil {
			t.Fatal(err)
		}
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("the same print has other bytes")
	}
	p.Decision.TypedName = "Ada Lindquist"
	b.Reset()
	if err := PaperPDF(context.Background(), &b, p); err != nil {
		t.Fatal(err)
	}
	if bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("another name, and the same bytes")
	}
}

// What each manner of deciding leaves on record is in the print.
func TestPaperPDF_Manners(t *testing.T) {
	said := map[string][]string{}
	all := map[string]PaperPrint{}
	make := func(name string, change func(*PaperPrint), want ...string) {
		p := signedPrint(t, givenSheet())
		change(&p)
		all[name], said[name] = p, want
	}
	make("declined", func(p *PaperPrint) {
		p.Decision.Outcome, p.Decision.Reason = signoff.OutcomeDeclined, "Too dear.\nAsk again in May."
	}, "Declined by Ada Lindqvist", "Reason: Too dear.", "Ask again in May.")
	make("by phone", func(p *PaperPrint) {
		p.Decision.Manner, p.Decision.Phone, p.Decision.SpokeWith, p.RecordedBy = signoff.ByPhone, "555 0177", "Wilma Tarn", "Greta Holm"
		p.Decision.HappenedAt = p.Decision.At.Add(-90 * time.Minute)
		p.Confirmation = &signoff.Confirmation{TypedName: "Ada Lindqvist", Sentence: signoff.DisputeSentence, Text: "I never said so.", At: p.Decision.At.Add(time.Hour), Authenticated: "password"}
	}, "Agreed by phone: Ada Lindqvist", "Recorded from address 192.0.2.7", "Number called 555 0177", "Spoke for the shop Wilma Tarn", "Recorded by Greta Holm", "1:42 pm at the shop (2026-04-14T19:42:03.004Z)", "Recorded by the shop Tuesday 14 April 2026, 3:12 pm",
		"Disputed by Ada Lindqvist", "I never said so.", signoff.DisputeSentence)
	make("on paper", func(p *PaperPrint) {
		p.Decision.Manner, p.Decision.ConsentVersion = signoff.OnPaper, ""
		p.Decision.HappenedAt = p.Decision.At.Add(-24 * time.Hour)
		p.Scan = &signoff.Scan{Name: "signed.pdf", SHA256: strings.Repeat("cd", 32)}
	}, "Signed on paper by Ada Lindqvist", "When Monday 13 April 2026 Recorded by the shop Tuesday 14 April 2026, 3:12 pm", "signed.pdf, SHA-256 cdcdcdcd")
	make("open", func(p *PaperPrint) { p.Decision = nil }, "Not decided when this was printed.", "I agree", "I decline", "I want replaced parts back", "Signature", "Name in print")
	make("asked", func(p *PaperPrint) {
		p.Questions = []QuestionView{{Question: signoff.Question{Text: "Both of them?", Revision: 1, AskedAt: p.Decision.At, Answer: "Yes, both.", AnsweredAt: p.Decision.At.Add(time.Hour)}, AskedBy: "Ada Lindqvist", AnsweredBy: "Greta Holm"},
			{Question: signoff.Question{Text: "And the rear?", Revision: 2, AskedAt: p.Decision.At}, AskedBy: "Bo Lindqvist"}}
	}, "Questions and answers Kept with the paper; no part of the frozen record", "Both of them? Greta Holm answered Tuesday 14 April 2026, 4:12 pm at the shop: Yes, both.", "And the rear? Not answered when this was printed.")
	for name, p := range all {
		whole := strings.Join(textOf(t, printed(t, p)), " ")
		for _, text := range said[name] {
			if !strings.Contains(whole, text) {
				t.Errorf("%s: %q is not in the print:\n%s", name, text, whole)
			}
		}
		if signing := strings.Contains(whole, "Name in print"); signing != (p.Decision == nil) {
			t.Errorf("%s: room to sign by hand: %v", name, signing)
		}
	}
}

var word = regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*?)</word>`)

// The longest paper that can be written lies within the page's edges, loses
// nothing, parts no row and no photo from its words. Sources: the places of
// words are those of pdftotext -bbox, of pictures those of pdfimages -list.
func TestPaperPDF_LongestPaper(t *testing.T) {
	s := sheetsByKind()["several"]
	s.Title = strings.TrimSpace(strings.Repeat("Wort ", 23)) // 120 characters is the most
	var scope strings.Builder
	for i := 0; scope.Len() < 19_400; i++ {
		fmt.Fprintf(&scope, "Line%d of what is done — “quoted”, Łódź, Ωμέγα, Жук.\n", i)
	}
	s.Reason = scope.String() + strings.Repeat("x", 500)
	s.Lines, s.Photos = nil, nil
	for i := range 60 {
		s.Lines = append(s.Lines, signoff.SheetLine{Kind: journal.Parts, Text: strings.TrimSpace(fmt.Sprintf("Row%d ", i) + strings.Repeat("of parts ", i%20)), Amount: journal.Cents(100_000 + i)})
	}
	for i := range 24 {
		p := signoff.SheetPhoto{ID: "p1", SHA256: strings.Repeat("ab", 32), Caption: fmt.Sprintf("Picture%d", i) + strings.Repeat(" seen", i)}
		if i%5 == 0 {
			p.Shown = &signoff.SheetShown{Width: 1600, Height: 1200}
			for range journal.MaxMarks {
				p.Shown.Marks = append(p.Shown.Marks, signoff.SheetMark{Shape: journal.MarkArrow, X: 100, Y: 200, X2: 5000, Y2: 5000, Text: strings.Repeat("wide ", 16)[:79]})
			}
		}
		s.Photos = append(s.Photos, p)
	}
	p := signedPrint(t, s)
	p.Decision.UserAgent = strings.Repeat("Browser ", 1000)
	file := printed(t, p)
	outside(t, "qpdf", "--check", file)
	for _, at := range word.FindAllStringSubmatch(outside(t, "pdftotext", "-bbox", file, "-"), -1) {
		var edge [4]float64
		for i := range edge {
			n, err := strconv.ParseFloat(at[i+1], 64)
			if err != nil {
				t.Fatal(err)
			}
			edge[i] = n
		}
		// A font's box is higher than its letters: the middle counts.
		if middle := (edge[1] + edge[3]) / 2; edge[0] < 85 || edge[2] > 612-59 || middle < 40 || middle > 792-30 {
			t.Errorf("%q lies outside the edges: %v", at[5], edge)
		}
	}
	pages := textOf(t, file)
	place := func(text string) int {
		for i, page := range pages {
			if strings.Contains(page, text) {
				return i + 1
			}
		}
		t.Errorf("%q is on no page", text)
		return 0
	}
	for i := range s.Lines {
		if row, amount := place(fmt.Sprintf("Row%d ", i)), place(fmt.Sprintf("$1,000.%02d", i)); row != amount {
			t.Errorf("row %d begins on page %d, its amount is on page %d", i, row, amount)
		}
	}
	for i := 0; strings.Contains(s.Reason, fmt.Sprintf("Line%d ", i)); i++ {
		place(fmt.Sprintf("Line%d of what is done — “quoted”, Łódź, Ωμέγα, Жук.", i))
	}
	images := regexp.MustCompile(`(?m)^ +(\d+) +\d+ image`).FindAllStringSubmatch(outside(t, "pdfimages", "-list", file), -1)
	if len(images) != len(s.Photos) {
		t.Fatalf("%d pictures, want %d", len(images), len(s.Photos))
	}
	for i, at := range images {
		if page := place(fmt.Sprintf("Picture%d", i)); fmt.Sprint(page) != at[1] {
			t.Errorf("picture %d is on page %s, its caption on page %d", i, at[1], page)
		}
	}
	if n := strings.Count(strings.Join(pages, " "), "Browser"); n != 1000 {
		t.Errorf("%d words of the browser's name, want 1000", n)
	}
}

// Characters that no font of the print has, and those that are not seen but turn
// others round, stand as their codes (Unicode Annex 9 on the latter).
func TestPaperPDF_CharactersItHasNot(t *testing.T) {
	s := givenSheet()
	s.Title = "Pan \u202Eevil\u202C 車 🚜"
	s.Reason = "e\u0301 is é; 5 × 3 − 2 ≠ 4; ﬁn"
	whole := strings.Join(textOf(t, printed(t, signedPrint(t, s))), " ")
	for _, text := range []string{"Pan [U+202E]evil[U+202C] [U+8ECA] [U+1F69C]", "é is é; 5 × 3 − 2 ≠ 4; ﬁn"} {
		if !strings.Contains(whole, text) {
			t.Errorf("%q is not in the print:\n%s", text, whole)
		}
	}
}

func TestPaperPDF_Refuses(t *testing.T) {
	broken := errors.New("the disk is gone")
	cases := map[string]func(*PaperPrint){
		"another record's decision": func(p *PaperPrint) { p.Decision.SHA256 = strings.Repeat("0", 64) },
		"a record that was changed": func(p *PaperPrint) { p.Record = bytes.Replace(p.Record, []byte("171000"), []byte("1710.0e2"), 1) },
		"a picture that fails": func(p *PaperPrint) {
			p.Picture = func(signoff.SheetPhoto, int) ([]byte, error) { return nil, broken }
		},
		"a picture that is none": func(p *PaperPrint) {
			p.Picture = func(signoff.SheetPhoto, int) ([]byte, error) { return []byte("no picture"), nil }
		},
	}
	for name, change := range cases {
		p := signedPrint(t, givenSheet())
		change(&p)
		var out bytes.Buffer
		err := PaperPDF(context.Background(), &out, p)
		if err == nil || out.Len() > 0 {
			t.Errorf("%s: %v, %d bytes", name, err, out.Len())
		}
		if strings.HasSuffix(name, "fails") && !errors.Is(err, broken) {
			t.Errorf("%s: the cause is lost: %v", name, err)
		}
	}
	stopped, stop := context.WithCancel(context.Background())
	stop()
	if err := PaperPDF(stopped, &bytes.Buffer{}, signedPrint(t, givenSheet())); !errors.Is(err, context.Canceled) {
		t.Errorf("a print that was called off: %v", err)
	}
}

// A picture that cannot be had leaves a place and a sentence, and its hash.
func TestPaperPDF_NoPicture(t *testing.T) {
	s := givenSheet()
	s.Photos[0].SHA256 = strings.Repeat("ef", 32)
	p := signedPrint(t, s)
	p.Picture = func(f signoff.SheetPhoto, edge int) ([]byte, error) {
		if f.SHA256 != "" {
			return nil, nil
		}
		return givenPictures(f, edge)
	}
	file := printed(t, p)
	whole := strings.Join(textOf(t, file), " ")
	if !strings.Contains(whole, "The picture could not be had when this was printed") || !strings.Contains(whole, s.Photos[0].SHA256) {
		t.Errorf("the print does not say that a picture is missing:\n%s", whole)
	}
	if n := strings.Count(outside(t, "pdfimages", "-list", file), "jpeg"); n != 1 {
		t.Errorf("%d pictures, want 1", n)
	}
}
