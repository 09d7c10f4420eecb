package views

import (
	"context"
	"fmt"
	"io"
	"time"

	"farbay/journal/signoff"
)

// PaperPrint is one revision of a paper, to be printed.
type PaperPrint struct {
	// Record is the revision's frozen bytes; all that was sent is read from them.
	Record []byte
	// Decision is the one on this revision; nil if there is none.
	Decision *signoff.Decision
	// RecordedBy names who in the office recorded the decision; "" when nobody
	// did.
	RecordedBy string
	// Confirmation is what the owner's side said to an agreement by phone; nil if
	// nothing.
	Confirmation *signoff.Confirmation
	// Scan describes the scan of a sheet signed by hand; its data is not used.
	Scan *signoff.Scan
	// Questions are printed after the paper, as no part of it.
	Questions []QuestionView
	// Picture returns an evidence photo as it was shown when the paper was sent
	// ([signoff.SheetShown.View]), without its marks, as JPEG or PNG of at most
	// edge pixels; edge is one of [journal.PhotoSizes]. An error fails the print;
	// nil bytes leave the photo's place empty, with a sentence that says so.
	Picture func(p signoff.SheetPhoto, edge int) ([]byte, error)
}

// pdfYear is a present moment in no year of any paper, so that every date in
// print has its year.
var pdfYear = time.Date(1, time.July, 1, 0, 0, 0, 0, time.UTC)

// PaperPDF writes one revision of a paper as a PDF: tagged, US Letter, with kind,
// number, revision and the SHA-256 of the frozen bytes on every page. The same
// print gives the same bytes, whenever it is made; the time in it is that of the
// decision, or of the sending. Dates are in the zone of the shop that sent it.
//
// It needs memory for the pictures, which are not decoded if they are JPEG, and
// little more: what it writes goes out as it is made. Errors: a record that [signoff.ParseSheet] refuses, a
// decision on other bytes, those of Picture, and those of w and ctx. An error
// before the first byte leaves w untouched.
func PaperPDF(ctx context.Context, w io.Writer, p PaperPrint) error {
	sheet, err := signoff.ParseSheet(p.Record)
	if err != nil {
		return err
	}
	hash := signoff.Hash(p.Record)
	at, err := time.Parse(time.RFC3339, sheet.SentAt)
	if err != nil {
		return fmt.Errorf("views.PaperPDF: time of sending: %w", err)
	}
	if p.Decision != nil {
		if p.Decision.SHA256 != hash {
			return fmt.Errorf("views.PaperPDF: the decision is on %s, the record is %s", p.Decision.SHA256, hash)
		}
		at = p.Decision.At
	}
	v, err := Words{Now: pdfYear}.OfSheet(sheet, hash)
	if err != nil {
		return err
	}
	d, err := newPDFDoc(v)
	if err != nil {
		return err
	}
	d.about = "SHA-256 of the record: " + hash
	if err := d.paper(ctx, p); err != nil {
		return err
	}
	return d.write(ctx, w, fmt.Sprintf("%s, revision %d", v.Reference(), sheet.Revision), at)
}

// paper gathers what is printed, and draws it.
func (d *pdfDoc) paper(ctx context.Context, p PaperPrint) error {
	d.letterhead()
	d.opening()
	if err := d.pictures(ctx, p.Picture); err != nil {
		return err
	}
	d.content()
	d.act(p.Decision == nil)
	if p.Decision != nil {
		d.decision(p)
	}
	d.check()
	d.questions(p.Questions)
	if d.fault != nil {
		return d.fault
	}
	d.layOut()
	for i := range d.pages {
		d.everyPage(i)
	}
	return nil
}

// everyPage draws what stands on each page: kind, number, revision, the hash
// and the page's number; from the second on, the shop and the build too. For a
// reader of the tags it is an artifact, not told on each page anew.
func (d *pdfDoc) everyPage(i int) {
	d.headAndFoot(i, fmt.Sprintf("%s, revision %d", d.v.Name(), d.v.Sheet.Revision), func(line pdfEdge) {
		line("SHA-256 of the record", 36, false, d.fonts.plain, 7)
		line(d.v.SHA256, 36, true, d.fonts.mono, 6.8)
	})
}

// pdfEdge draws a line of text above or below what is printed.
type pdfEdge func(s string, y float64, toRight bool, f pdfFont, size float64)

// headAndFoot draws what stands on every page of any print: what it is, the page's
// number, from the second on the shop and the build, and last what below adds.
func (d *pdfDoc) headAndFoot(i int, what string, below func(pdfEdge)) {
	const right = pdfLeft + pdfMeasure
	p := d.pages[i]
	line := func(s string, y float64, toRight bool, f pdfFont, size float64) {
		s = f.shortened(d.fonts.printable(s), size, pdfMeasure*0.72)
		x := pdfLeft
		if toRight {
			x = right - f.width(s, size)
		}
		p.show(s, f, size, x, y, toneSoft)
	}
	p.artifact(func() {
		if i > 0 {
			line(d.v.Sheet.Shop.Name, pdfHeight-57, false, d.fonts.plain, smallSize)
			line(d.v.Sheet.Build.Nickname, pdfHeight-57, true, d.fonts.plain, smallSize)
			p.line(pdfLeft, pdfHeight-65, right, pdfHeight-65, 0.75, toneLine)
		}
		p.line(pdfLeft, 61, right, 61, 0.75, toneLine)
		line(what, 48, false, d.fonts.plain, smallSize)
		line(fmt.Sprintf("Page %d of %d", i+1, len(d.pages)), 48, true, d.fonts.plain, smallSize)
		below(line)
	})
}
