package views

import (
	"embed"
	"fmt"
	"strings"
	"unicode"

	"github.com/carlos7ags/folio/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/text/unicode/norm"
)

// fontFiles are the fonts of prints, with their licences: Noto Sans, cut down to
// Latin, Greek and Cyrillic, and the weight 600 of the pages' own Besley. The Go
// fonts fill in what they lack, such as the minus sign.
//
//go:embed fonts/*.ttf
var fontFiles embed.FS

// pdfFont is a font, with others for the characters that it lacks.
type pdfFont []*font.EmbeddedFont

// pdfFonts are the fonts of one document. Each keeps count of the glyphs that
// the document uses, so no two documents share them.
type pdfFonts struct{ plain, bold, mono, heading pdfFont }

func newPDFFonts() (f pdfFonts, err error) {
	parse := func(data []byte) *font.EmbeddedFont {
		face, fault := font.ParseTTF(data)
		if fault != nil && err == nil {
			err = fmt.Errorf("views: font of a print: %w", fault)
		}
		return font.NewEmbeddedFont(face)
	}
	read := func(name string) *font.EmbeddedFont {
		data, fault := fontFiles.ReadFile("fonts/" + name)
		if fault != nil {
			err = fault
			return nil
		}
		return parse(data)
	}
	f = pdfFonts{
		plain:   pdfFont{read("noto-sans-regular.ttf"), parse(goregular.TTF)},
		bold:    pdfFont{read("noto-sans-bold.ttf"), parse(gobold.TTF)},
		mono:    pdfFont{parse(gomono.TTF)},
		heading: pdfFont{read("besley-semibold.ttf")},
	}
	return f, err
}

// of is the font of the list that shows a character; nil for none.
func (f pdfFont) of(r rune) *font.EmbeddedFont {
	for _, one := range f {
		if one.Face().GlyphIndex(r) != 0 {
			return one
		}
	}
	return nil
}

// width is that of a text without kerning, in points, as it is drawn.
func (f pdfFont) width(s string, size float64) float64 {
	total := 0.0
	for _, r := range s {
		if one := f.of(r); one != nil {
			face := one.Face()
			total += float64(face.GlyphAdvance(face.GlyphIndex(r))) * size / float64(face.UnitsPerEm())
		}
	}
	return total
}

// forHeading is the font for a heading: that of headings if it can show all of
// it, else a bold one.
func (f pdfFonts) forHeading(text string) pdfFont {
	for _, r := range text {
		if f.heading.of(r) == nil {
			return f.bold
		}
	}
	return f.heading
}

// printable makes a text fit to be printed on lines: composed (Unicode Annex 15,
// form C), white space as blanks, and every character that the fonts cannot
// show, or that shows nothing but changes how others are read, written as its
// code: "[U+202E]". So nothing of what was frozen is left out in print.
func (f pdfFonts) printable(text string) string {
	var out strings.Builder
	for _, r := range norm.NFC.String(text) {
		switch {
		case r == '\u00a0':
			out.WriteRune(r)
		case unicode.IsSpace(r):
			out.WriteByte(' ')
		case r == '\u00ad' || unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || f.plain.of(r) == nil || f.bold.of(r) == nil:
			fmt.Fprintf(&out, "[U+%04X]", r)
		default:
			out.WriteRune(r)
		}
	}
	return out.String()
}

// wrap breaks a printable text into lines of at most a width, between words, and
// within a word only where it is longer than a line. One line at least.
func (f pdfFont) wrap(s string, size, width float64) []string {
	var lines []string
	line := ""
	for _, word := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }) {
		if line != "" && f.width(line+" "+word, size) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for f.width(word, size) > width {
			n := f.fits(word, size, width)
			lines, word = append(lines, word[:n]), word[n:]
		}
		line = word
	}
	return append(lines, line)
}

// fits is how many bytes of a word go on a line; one character at least.
func (f pdfFont) fits(word string, size, width float64) int {
	used := 0.0
	for i, r := range word {
		used += f.width(string(r), size)
		if used > width && i > 0 {
			return i
		}
	}
	return len(word)
}

// shortened cuts a text to a width, with a sign that it goes on.
func (f pdfFont) shortened(s string, size, width float64) string {
	if f.width(s, size) <= width {
		return s
	}
	return s[:f.fits(s, size, width-f.width("…", size))] + "…"
}
