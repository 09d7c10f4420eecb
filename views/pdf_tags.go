package views

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/carlos7ags/folio/core"
	"github.com/carlos7ags/folio/document"
	"github.com/carlos7ags/folio/font"
	"github.com/carlos7ags/folio/image"
)

// pdfTag is an element of the print's logical structure (ISO 32000-1, 14.7 and
// 14.8.4), in the order in which it is to be read.
type pdfTag struct {
	kind   string // "P", "H1", "Table" and so on
	alt    string // of a figure, for those who do not see it
	column bool   // of a TH: it heads a column
	kids   []any  // *pdfTag or pdfMark
}

// pdfMark is marked content on a page.
type pdfMark struct{ page, id int }

// under adds an element below another.
func (t *pdfTag) under(kind string) *pdfTag {
	kid := &pdfTag{kind: kind}
	t.kids = append(t.kids, kid)
	return kid
}

// marked draws something as the content of an element.
func (d *pdfDoc) marked(t *pdfTag, draw func(p *pdfPage)) {
	p := d.page()
	id := len(p.owners)
	p.owners = append(p.owners, t)
	t.kids = append(t.kids, pdfMark{len(d.pages) - 1, id})
	p.out.BeginMarkedContentWithID(t.kind, id)
	draw(p)
	p.out.EndMarkedContent()
}

// pdfFile puts a document's objects together.
type pdfFile struct {
	w      *document.Writer
	pages  []*core.PdfIndirectReference
	fonts  map[*font.EmbeddedFont]*core.PdfIndirectReference
	images map[*image.Image]*core.PdfIndirectReference
	tags   map[*pdfTag]*core.PdfIndirectReference
}

func dict(pairs ...any) *core.PdfDictionary {
	all := core.NewPdfDictionary()
	for i := 0; i < len(pairs); i += 2 {
		all.Set(pairs[i].(string), pairs[i+1].(core.PdfObject))
	}
	return all
}

func pdfName(s string) core.PdfObject { return core.NewPdfName(s) }
func pdfInt(n int) core.PdfObject     { return core.NewPdfInteger(n) }

// write writes the document. at is the time that it says it was made.
func (d *pdfDoc) write(ctx context.Context, w io.Writer, title string, at time.Time) error {
	f := pdfFile{
		w: document.NewWriter("1.7"), fonts: map[*font.EmbeddedFont]*core.PdfIndirectReference{},
		images: map[*image.Image]*core.PdfIndirectReference{}, tags: map[*pdfTag]*core.PdfIndirectReference{},
	}
	catalog, pages, kids := dict("Type", pdfName("Catalog")), dict("Type", pdfName("Pages")), core.NewPdfArray()
	f.w.SetRoot(f.w.AddObject(catalog))
	parent := f.w.AddObject(pages)
	for i, p := range d.pages {
		ref := f.page(parent, i, p)
		f.pages = append(f.pages, ref)
		kids.Add(ref)
	}
	pages.Set("Kids", kids)
	pages.Set("Count", pdfInt(len(d.pages)))
	catalog.Set("Pages", parent)
	catalog.Set("Lang", core.NewPdfTextString("en-US"))
	catalog.Set("MarkInfo", dict("Marked", core.NewPdfBoolean(true)))
	catalog.Set("ViewerPreferences", dict("DisplayDocTitle", core.NewPdfBoolean(true)))
	catalog.Set("StructTreeRoot", f.tree(d))
	date := core.NewPdfLiteralString(at.UTC().Format("D:20060102150405Z"))
	f.w.SetInfo(f.w.AddObject(dict("Title", core.NewPdfTextString(title), "Author", core.NewPdfTextString(d.v.Sheet.Shop.Name),
		"Subject", core.NewPdfTextString(d.about), "Creator", core.NewPdfTextString("Farbay"), "CreationDate", date, "ModDate", date)))
	if err := ctx.Err(); err != nil {
		return err
	}
	_, err := f.w.WriteToWithOptions(w, document.WriteOptions{Deterministic: true, UseXRefStream: true, UseObjectStreams: true})
	return err
}

func (f *pdfFile) page(parent core.PdfObject, i int, p *pdfPage) *core.PdfIndirectReference {
	fonts, images := core.NewPdfDictionary(), core.NewPdfDictionary()
	for n, one := range p.fonts {
		if f.fonts[one] == nil {
			f.fonts[one] = f.w.AddObject(one.BuildObjects(f.w.AddObject))
		}
		fonts.Set(fmt.Sprintf("F%d", n+1), f.fonts[one])
	}
	for n, one := range p.images {
		if f.images[one] == nil {
			f.images[one], _ = one.BuildXObject(f.w.AddObject)
		}
		images.Set(fmt.Sprintf("Im%d", n+1), f.images[one])
	}
	box := core.NewPdfArray(pdfInt(0), pdfInt(0), pdfInt(pdfWidth), pdfInt(pdfHeight))
	return f.w.AddObject(dict("Type", pdfName("Page"), "Parent", parent, "MediaBox", box, "Resources", dict("Font", fonts, "XObject", images),
		"Contents", f.w.AddObject(p.out.ToPdfStream()), "StructParents", pdfInt(i), "Tabs", pdfName("S")))
}

// tree makes the structure tree, and for each page the way back into it.
func (f *pdfFile) tree(d *pdfDoc) *core.PdfIndirectReference {
	root := dict("Type", pdfName("StructTreeRoot"))
	ref := f.w.AddObject(root)
	root.Set("K", f.element(d.root, ref))
	nums := core.NewPdfArray()
	for i, p := range d.pages {
		owners := core.NewPdfArray()
		for _, t := range p.owners {
			owners.Add(f.tags[t])
		}
		nums.Add(pdfInt(i))
		nums.Add(f.w.AddObject(owners))
	}
	root.Set("ParentTree", f.w.AddObject(dict("Nums", nums)))
	root.Set("ParentTreeNextKey", pdfInt(len(d.pages)))
	return ref
}

func (f *pdfFile) element(t *pdfTag, parent *core.PdfIndirectReference) *core.PdfIndirectReference {
	e := dict("Type", pdfName("StructElem"), "S", pdfName(t.kind), "P", parent)
	ref := f.w.AddObject(e)
	f.tags[t] = ref
	if t.alt != "" {
		e.Set("Alt", core.NewPdfTextString(t.alt))
	}
	if t.column {
		e.Set("A", dict("O", pdfName("Table"), "Scope", pdfName("Column")))
	}
	kids := core.NewPdfArray()
	for _, kid := range t.kids {
		switch kid := kid.(type) {
		case *pdfTag:
			kids.Add(f.element(kid, ref))
		case pdfMark:
			kids.Add(dict("Type", pdfName("MCR"), "Pg", f.pages[kid.page], "MCID", pdfInt(kid.id)))
		}
	}
	e.Set("K", kids)
	return ref
}
