package views

import "strings"

// pdfStyle is how a text is set: sizes in points.
type pdfStyle struct {
	font   pdfFont
	size   float64
	colour string
	after  float64 // space below
	right  bool    // lines end at the right edge
	kind   string  // of the element it is; "" for a paragraph
	keep   bool    // the next block stands below it
}

const (
	bodySize  = 10.0
	smallSize = 8.25
	leading   = 1.42 // from baseline to baseline, in sizes
	rise      = 1.06 // from the top of a line to its baseline, in sizes
)

func (d *pdfDoc) body() pdfStyle {
	return pdfStyle{font: d.fonts.plain, size: bodySize, colour: toneInk, after: 7}
}

func (d *pdfDoc) small() pdfStyle {
	return pdfStyle{font: d.fonts.plain, size: smallSize, colour: toneSoft, after: 5}
}

// lines sets a text in lines of a width.
func (d *pdfDoc) lines(s string, st pdfStyle, width float64) pdfLines {
	return pdfLines{d, st, width, st.font.wrap(d.fonts.printable(s), st.size, width)}
}

// pdfLines are the lines of one text.
type pdfLines struct {
	d     *pdfDoc
	style pdfStyle
	width float64
	all   []string
}

func (l pdfLines) height() float64 { return float64(len(l.all)) * l.style.size * leading }

// drawLine draws the line of a number as part of an element.
func (l pdfLines) drawLine(n int, t *pdfTag, x, top float64) {
	s, st := l.all[n], l.style
	if st.right {
		x += l.width - st.font.width(s, st.size)
	}
	if n < len(l.all)-1 {
		s += " " // for who takes the text out of the print
	}
	l.d.marked(t, func(p *pdfPage) { p.show(s, st.font, st.size, x, top-st.size*rise, st.colour) })
}

// draw draws all lines as one element.
func (l pdfLines) draw(t *pdfTag, x, top float64) {
	for n := range l.all {
		l.drawLine(n, t, x, top-float64(n)*l.style.size*leading)
	}
}

// blocks has a block for each line, of which no single one is parted from the
// rest.
func (l pdfLines) blocks(t *pdfTag, x float64) []pdfBlock {
	blocks := make([]pdfBlock, len(l.all))
	for n := range l.all {
		blocks[n] = pdfBlock{height: l.style.size * leading, draw: func(top float64) { l.drawLine(n, t, x, top) }}
		blocks[n].keep = len(l.all) > 1 && (n == 0 || n == len(l.all)-2)
	}
	last := &blocks[len(blocks)-1]
	last.after, last.keep = l.style.after, l.style.keep
	return blocks
}

// text is one paragraph.
func (d *pdfDoc) text(s string, st pdfStyle) {
	kind := st.kind
	if kind == "" {
		kind = "P"
	}
	d.add(d.lines(s, st, pdfMeasure).blocks(d.root.under(kind), pdfLeft)...)
}

// typed is a text as somebody typed it: a paragraph for each line, empty ones
// as space.
func (d *pdfDoc) typed(s string, st pdfStyle) {
	after := st.after
	lines := strings.Split(strings.TrimSpace(s), "\n")
	for i, line := range lines {
		if strings.TrimSpace(line) == "" {
			continue
		}
		st.after = 1
		if i == len(lines)-1 || strings.TrimSpace(lines[i+1]) == "" {
			st.after = after
		}
		d.text(line, st)
	}
}

// heading is a heading in the fonts of headings; what follows stands below it.
func (d *pdfDoc) heading(s, kind string, size float64, colour string) {
	if kind != "H1" {
		d.space(9)
	}
	d.text(s, pdfStyle{font: d.fonts.forHeading(d.fonts.printable(s)), size: size, colour: colour, after: 4, kind: kind, keep: true})
}

// section is a heading below that of the paper.
func (d *pdfDoc) section(s string) { d.heading(s, "H2", 13.5, toneInk) }

// say is a sentence of the paper.
func (d *pdfDoc) say(s string) { d.text(s, d.body()) }

func (d *pdfDoc) space(height float64) {
	if len(d.blocks) > 0 {
		d.blocks[len(d.blocks)-1].after += height
	}
}

// pdfRow is one row of a table: what it is for, a word on it, and the figure.
type pdfRow struct {
	what, help, figure string
	strong             bool
}

// table has two columns, the second for figures, which stand under each other at
// the right. A row is never split over pages, and the head stands on each.
func (d *pdfDoc) table(head [2]string, rows []pdfRow) {
	const figures, gap, pad = 112.0, 14.0, 4.5
	tag := d.root.under("Table")
	set := func(t *pdfTag, kind string, r pdfRow, st, figure pdfStyle) pdfBlock {
		what, help := d.lines(r.what, st, pdfMeasure-figures-gap), d.lines(r.help, d.small(), pdfMeasure-figures-gap)
		figure.right = true
		amount := d.lines(r.figure, figure, figures)
		height := what.height()
		if r.help != "" {
			height += help.height()
		}
		left, right := t.under(kind), t.under(kind)
		left.column, right.column = kind == "TH", kind == "TH"
		return pdfBlock{height: max(height, amount.height()) + 2*pad, draw: func(top float64) {
			what.draw(left, pdfLeft, top-pad)
			if r.help != "" {
				help.draw(left, pdfLeft, top-pad-what.height())
			}
			amount.draw(right, pdfLeft+pdfMeasure-figures, top-pad)
		}}
	}
	ruled := func(b pdfBlock, width float64, colour string) pdfBlock {
		inner := b.draw
		b.draw = func(top float64) {
			inner(top)
			p := d.page()
			p.artifact(func() { p.line(pdfLeft, top-b.height, pdfLeft+pdfMeasure, top-b.height, width, colour) })
		}
		return b
	}
	small := d.small()
	top := ruled(set(tag.under("TR"), "TH", pdfRow{what: head[0], figure: head[1]}, small, small), 1.2, toneInk)
	top.keep = true
	d.add(top)
	again := d.tableHead(head, pad)
	for i, r := range rows {
		st := d.body()
		if r.strong {
			st.font = d.fonts.bold
		}
		width, colour := 0.6, toneLine
		if i == len(rows)-1 || rows[i+1].strong {
			width, colour = 1.2, toneInk
		}
		b := ruled(set(tag.under("TR"), "TD", r, st, st), width, colour)
		b.head = &again
		b.keep = i == len(rows)-2 // the sum is never alone
		d.add(b)
	}
	d.space(13)
}

// tableHead is a table's head on further pages, where it is no content.
func (d *pdfDoc) tableHead(head [2]string, pad float64) pdfBlock {
	st := d.small()
	height := st.size*leading + 2*pad
	return pdfBlock{height: height, draw: func(top float64) {
		p := d.page()
		p.artifact(func() {
			y := top - pad - st.size*rise
			p.show(head[0], st.font, st.size, pdfLeft, y, st.colour)
			p.show(head[1], st.font, st.size, pdfLeft+pdfMeasure-st.font.width(head[1], st.size), y, st.colour)
			p.line(pdfLeft, top-height, pdfLeft+pdfMeasure, top-height, 1.2, toneInk)
		})
	}}
}

// facts is a table of names and what is true of them. Facts without a value are
// left out.
func (d *pdfDoc) facts(all [][2]string) {
	const names, pad = 138.0, 2.8
	tag := d.root.under("Table")
	for _, f := range all {
		if f[1] == "" {
			continue
		}
		tr := tag.under("TR")
		th, td := tr.under("TH"), tr.under("TD")
		st := d.body()
		st.size = 9
		name, value := d.lines(f[0], d.small(), names-10), d.lines(f[1], st, pdfMeasure-names)
		rows := max(len(name.all), len(value.all))
		// A long value, such as a browser's name, may go on over the page.
		for n := range rows {
			first, last := n == 0, n == rows-1
			b := pdfBlock{height: st.size * leading, keep: !last && (rows < 12 || first)}
			above := 0.0
			if first {
				above = pad
			}
			b.height += above
			if last {
				b.height += pad
			}
			b.draw = func(top float64) {
				if n < len(name.all) {
					name.drawLine(n, th, pdfLeft, top-above-0.6)
				}
				if n < len(value.all) {
					value.drawLine(n, td, pdfLeft+names, top-above)
				}
				if last {
					p := d.page()
					p.artifact(func() { p.line(pdfLeft, top-b.height, pdfLeft+pdfMeasure, top-b.height, 0.6, toneLine) })
				}
			}
			d.add(b)
		}
	}
	d.space(11)
}

// items is a list with a dash before each.
func (d *pdfDoc) items(all []string) {
	const indent = 14.0
	tag := d.root.under("L")
	st := d.body()
	st.after = 2.5
	for _, s := range all {
		li := tag.under("LI")
		dash, text := d.lines("–", st, indent), d.lines(s, st, pdfMeasure-indent)
		label, body := li.under("Lbl"), li.under("LBody")
		blocks := text.blocks(body, pdfLeft+indent)
		first := blocks[0].draw
		blocks[0].draw = func(top float64) {
			dash.drawLine(0, label, pdfLeft, top)
			first(top)
		}
		d.add(blocks...)
	}
	d.space(7)
}

// big is a figure that is to be seen at once: what it is, the figure, and words
// on it.
type big struct {
	label, figure string
	below         []string
}

// bigs stand beside each other.
func (d *pdfDoc) bigs(all ...big) {
	const gap, pad = 22.0, 5.0
	width := (pdfMeasure - gap*float64(len(all)-1)) / float64(len(all))
	whole := pdfBlock{after: 14}
	var draws []func(top float64)
	for i, b := range all {
		x := pdfLeft + float64(i)*(width+gap)
		figure := d.body()
		figure.font, figure.size = d.fonts.forHeading(d.fonts.printable(b.figure)), 19
		parts := []pdfLines{d.lines(b.label, d.small(), width), d.lines(b.figure, figure, width)}
		for _, s := range b.below {
			parts = append(parts, d.lines(s, d.small(), width))
		}
		height := pad
		for _, part := range parts {
			tag, down := d.root.under("P"), height
			draws = append(draws, func(top float64) { part.draw(tag, x, top-down) })
			height += part.height()
		}
		draws = append(draws, func(top float64) {
			p := d.page()
			p.artifact(func() { p.line(x, top, x+width, top, 2.2, toneInk) })
		})
		whole.height = max(whole.height, height)
	}
	whole.draw = func(top float64) {
		for _, draw := range draws {
			draw(top)
		}
	}
	d.add(whole)
}
