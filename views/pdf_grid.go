package views

// pdfGridRow is a row of a table of figures: what it is for, on a line of its own
// where the table has many columns, and the figures.
type pdfGridRow struct {
	what    string
	figures []string
	strong  bool
}

// grid has a first column for words and equal ones for figures, which stand under
// each other at the right. With words of no width the words stand above the figures.
// A row is never split over pages, and the head stands on each.
func (d *pdfDoc) grid(first string, words float64, heads []string, rows []pdfGridRow) {
	const pad, gap = 4.0, 6.0
	width := (pdfMeasure - words) / float64(len(heads))
	tag := d.root.under("Table")
	plain := d.small()
	plain.size = 7.6
	block := func(tr *pdfTag, kind string, r pdfGridRow, word, figure pdfStyle) pdfBlock {
		figure.right = true
		across := words - gap
		if words == 0 {
			across = pdfMeasure
		}
		what, cell := d.lines(r.what, word, across), tr.under(kind)
		cell.column = kind == "TH"
		height := what.height()
		below := 0.0
		if words == 0 {
			below = what.height()
		}
		var figures []pdfLines
		var cells []*pdfTag
		for _, s := range r.figures {
			l, t := d.lines(s, figure, width-gap), tr.under(kind)
			t.column = kind == "TH"
			figures, cells = append(figures, l), append(cells, t)
			height = max(height, below+l.height())
		}
		return pdfBlock{height: height + 2*pad, draw: func(top float64) {
			what.draw(cell, pdfLeft, top-pad)
			for i, l := range figures {
				l.draw(cells[i], pdfLeft+words+float64(i)*width+gap, top-pad-below)
			}
		}}
	}
	ruled := func(b pdfBlock, thick float64, colour string) pdfBlock {
		inner := b.draw
		b.draw = func(top float64) {
			inner(top)
			p := d.page()
			p.artifact(func() { p.line(pdfLeft, top-b.height, pdfLeft+pdfMeasure, top-b.height, thick, colour) })
		}
		return b
	}
	top := ruled(block(tag.under("TR"), "TH", pdfGridRow{first, heads, false}, plain, plain), 1.2, toneInk)
	top.keep = true
	d.add(top)
	again := d.gridHead(first, words, width, heads, plain)
	for i, r := range rows {
		word, figure := d.small(), plain
		word.colour, figure.colour = toneInk, toneInk
		if r.strong {
			word.font, figure.font = d.fonts.bold, d.fonts.bold
		}
		thick, colour := 0.6, toneLine
		if i == len(rows)-1 || rows[i+1].strong {
			thick, colour = 1.2, toneInk
		}
		b := ruled(block(tag.under("TR"), "TD", r, word, figure), thick, colour)
		b.head = &again
		b.keep = i == len(rows)-2 // the sum is never alone
		d.add(b)
	}
	d.space(13)
}

// gridHead is a table's head on further pages, where it is no content.
func (d *pdfDoc) gridHead(first string, words, width float64, heads []string, st pdfStyle) pdfBlock {
	const pad, gap = 4.0, 6.0
	across, below := words-gap, 0.0
	if words == 0 {
		across = pdfMeasure
	}
	what := d.lines(first, st, across)
	if words == 0 {
		below = what.height()
	}
	height := what.height()
	var cells []pdfLines
	for _, s := range heads {
		l := d.lines(s, st, width-gap)
		cells, height = append(cells, l), max(height, below+l.height())
	}
	height += 2 * pad
	return pdfBlock{height: height, draw: func(top float64) {
		p := d.page()
		p.artifact(func() {
			show := func(l pdfLines, x, from float64, right bool) {
				for n, s := range l.all {
					at := x
					if right {
						at += l.width - st.font.width(s, st.size)
					}
					p.show(s, st.font, st.size, at, from-float64(n)*st.size*leading-st.size*rise, st.colour)
				}
			}
			show(what, pdfLeft, top-pad, false)
			for i, l := range cells {
				show(l, pdfLeft+words+float64(i)*width+gap, top-pad-below, true)
			}
			p.line(pdfLeft, top-height, pdfLeft+pdfMeasure, top-height, 1.2, toneInk)
		})
	}}
}
