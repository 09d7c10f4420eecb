package views

import (
	"fmt"

	"github.com/carlos7ags/folio/content"
	"github.com/carlos7ags/folio/font"
	"github.com/carlos7ags/folio/image"
	"github.com/carlos7ags/folio/layout"
)

// The page: US Letter (ANSI/ASME Y14.1, size A) in points, with room to punch
// holes at the left.
const (
	pdfWidth  = 612.0
	pdfHeight = 792.0
	pdfLeft   = 86.0
	pdfRight  = 60.0
	pdfTop    = 88.0 // of all pages but the first, which begins with the shop's head
	pdfFirst  = 50.0
	pdfBottom = 80.0

	pdfMeasure = pdfWidth - pdfLeft - pdfRight // width of what is printed
)

// The tones of the house, as the pages have them in light (look.css).
const (
	toneInk     = "#1b211e"
	toneSoft    = "#505853"
	toneLine    = "#c9cdc7"
	toneTopcoat = "#1f4f3c"
	tonePrimer  = "#8f3d2f"
	toneZinc    = "#e6bd3c"
	toneBare    = "#d3d6d3"
)

// tone returns a tone as three parts of 1.
func tone(hex string) (r, g, b float64) {
	c := layout.Hex(hex)
	return c.R, c.G, c.B
}

// pdfPage is a page while it is drawn.
type pdfPage struct {
	out    *content.Stream
	fonts  []*font.EmbeddedFont
	images []*image.Image
	owners []*pdfTag // the element of each marked content, by its number
}

// pdfBlock is a piece of the print that is never split.
type pdfBlock struct {
	height float64
	after  float64 // space below it, which may fall away at a page's end
	keep   bool    // it does not end a page: the next block stands below it
	draw   func(top float64)
	head   *pdfBlock // is drawn again above the block when it begins a page
}

// pdfDoc is a print being made: blocks are gathered, and then laid out.
type pdfDoc struct {
	fonts  pdfFonts
	v      SheetView
	about  string // its subject, among what a reader says of the file
	root   *pdfTag
	blocks []pdfBlock
	pages  []*pdfPage
	free   float64 // height of what is free of the page, down to its bottom margin
	fault  error   // the first of a method that says an amount or a date
}

func newPDFDoc(v SheetView) (*pdfDoc, error) {
	fonts, err := newPDFFonts()
	return &pdfDoc{fonts: fonts, v: v, root: &pdfTag{kind: "Document"}}, err
}

// said passes on what a method of [Words] says, and keeps its failure.
func (d *pdfDoc) said(s string, err error) string {
	if err != nil && d.fault == nil {
		d.fault = err
	}
	return s
}

func (d *pdfDoc) add(blocks ...pdfBlock) { d.blocks = append(d.blocks, blocks...) }

// layOut draws all blocks on pages.
func (d *pdfDoc) layOut() {
	d.newPage()
	for i := 0; i < len(d.blocks); {
		end, height := i, d.blocks[i].height
		for d.blocks[end].keep && end+1 < len(d.blocks) {
			height += d.blocks[end].after + d.blocks[end+1].height
			end++
		}
		if height > d.free && !d.untouched() {
			d.newPage()
			d.again(d.blocks[i])
		}
		for ; i <= end; i++ {
			b := d.blocks[i]
			if b.height > d.free && !d.untouched() { // together they are higher than a page
				d.newPage()
				d.again(b)
			}
			b.draw(d.free + pdfBottom)
			d.free -= b.height + b.after
		}
	}
}

// again draws the head of a table on a further page.
func (d *pdfDoc) again(b pdfBlock) {
	if b.head != nil {
		b.head.draw(d.free + pdfBottom)
		d.free -= b.head.height + b.head.after
	}
}

func (d *pdfDoc) newPage() {
	d.pages = append(d.pages, &pdfPage{out: content.NewStream()})
	d.free = d.whole()
}

// whole is the height that can be printed on, of the last page.
func (d *pdfDoc) whole() float64 {
	if len(d.pages) == 1 {
		return pdfHeight - pdfFirst - pdfBottom
	}
	return pdfHeight - pdfTop - pdfBottom
}

func (d *pdfDoc) untouched() bool { return d.free == d.whole() }

func (d *pdfDoc) page() *pdfPage { return d.pages[len(d.pages)-1] }

// show draws a line of text with its left end at x and its baseline at y.
func (p *pdfPage) show(s string, f pdfFont, size, x, y float64, colour string) {
	p.out.SetFillColorRGB(tone(colour))
	p.write(s, f, size, x, y, textFilled)
}

// Text rendering modes (ISO 32000-1, table 106).
const (
	textFilled  = 0
	textStroked = 1
)

func (p *pdfPage) write(s string, f pdfFont, size, x, y float64, mode int) {
	p.out.BeginText()
	p.out.SetTextRenderingMode(mode)
	p.out.MoveText(x, y)
	var run []rune
	var in *font.EmbeddedFont
	flush := func() {
		if len(run) > 0 {
			p.out.SetFont(p.fontName(in), size)
			p.out.ShowTextHex(in.EncodeString(string(run)))
		}
		run = nil
	}
	for _, r := range s {
		one := f.of(r)
		if one == nil {
			continue // printable leaves none of these
		}
		if one != in {
			flush()
			in = one
		}
		run = append(run, r)
	}
	flush()
	p.out.EndText()
}

// fontName names a font among those of the page.
func (p *pdfPage) fontName(f *font.EmbeddedFont) string {
	for i, known := range p.fonts {
		if known == f {
			return fmt.Sprintf("F%d", i+1)
		}
	}
	p.fonts = append(p.fonts, f)
	return fmt.Sprintf("F%d", len(p.fonts))
}

// picture draws a picture into a box whose top left corner is at x and top.
func (p *pdfPage) picture(i *image.Image, x, top, w, h float64) {
	p.images = append(p.images, i)
	p.out.SaveState()
	p.out.ConcatMatrix(w, 0, 0, h, x, top-h)
	p.out.Do(fmt.Sprintf("Im%d", len(p.images)))
	p.out.RestoreState()
}

// line draws a straight line.
func (p *pdfPage) line(x1, y1, x2, y2, width float64, colour string) {
	p.out.SetStrokeColorRGB(tone(colour))
	p.out.SetLineWidth(width)
	p.out.MoveTo(x1, y1)
	p.out.LineTo(x2, y2)
	p.out.Stroke()
}

// artifact draws what is no part of the text (ISO 32000-1, 14.8.2.2): rules, and
// what stands on every page.
func (p *pdfPage) artifact(draw func()) {
	p.out.BeginMarkedContent("Artifact")
	draw()
	p.out.EndMarkedContent()
}
