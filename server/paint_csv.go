package server

import (
	"bytes"
	"encoding/csv"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/journal/flow"
)

// paintColumns are the columns of a paint record as a table. A mix has a line for
// each of its components.
var paintColumns = []string{
	"record", "recorded", "by", "product", "colour", "batch number", "for", "component", "wanted g", "poured g",
	"place", "coat", "substrate", "film", "amount", "unit", "taken back", "reason",
}

// paintCSV sends a stage's paint record as CSV (RFC 4180), in UTF-8 with a byte order
// mark, so that spreadsheets take it for that; times with the shop's offset.
// GET /builds/:build/stages/:stage/paint.csv
func (a *App) paintCSV(c echo.Context) error {
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	shop, err := a.shop(c)
	if err != nil {
		return err
	}
	made := bytes.NewBufferString("\ufeff")
	w := csv.NewWriter(made)
	w.UseCRLF = true
	if err := w.WriteAll(append([][]string{paintColumns}, paintLines(v, shop.Location())...)); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="paint-record.csv"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8", made.Bytes())
}

// paintLines are the lines below the columns' names.
func paintLines(v flow.PaintView, zone *time.Location) [][]string {
	var lines [][]string
	add := func(id journal.PaintID, kind string, at time.Time, by journal.PersonID, cells map[string]string) {
		cells["record"], cells["recorded"], cells["by"] = kind, at.In(zone).Format(time.RFC3339), v.Names[by]
		if b, gone := v.Backs[id]; gone {
			cells["taken back"], cells["reason"] = b.At.In(zone).Format(time.RFC3339)+" "+v.Names[b.ByID], b.Reason
		}
		var line []string
		for _, column := range paintColumns {
			line = append(line, plainCell(cells[column]))
		}
		lines = append(lines, line)
	}
	for _, m := range v.Mixes {
		for i, component := range m.Mix.Formula.Components {
			add(m.Mix.ID, "mix", m.Mix.At, m.Mix.ByID, map[string]string{
				"product": m.Mix.Product, "colour": m.Mix.Colour, "batch number": m.Mix.Lot, "for": m.Mix.For, "component": component.Name,
				"wanted g": m.Batch.Targets[i].In(coating.Tenth), "poured g": m.Batch.In[i].In(coating.Tenth),
			})
		}
	}
	for _, x := range v.Readings {
		add(x.ID, "film reading", x.At, x.ByID, map[string]string{"place": x.Place, "coat": x.Coat, "substrate": x.Substrate, "film": x.Film.String(), "unit": string(x.Unit)})
	}
	for _, x := range v.Used {
		add(x.ID, "used", x.At, x.ByID, map[string]string{"product": x.Product, "for": x.For, "amount": x.Amount.String(), "unit": string(x.Unit)})
	}
	return lines
}

// plainCell keeps a spreadsheet from taking what somebody typed for a formula: such
// a cell gets an apostrophe in front, unless it is a number.
func plainCell(text string) string {
	if text == "" || !strings.ContainsRune("=+-@\t\r", rune(text[0])) {
		return text
	}
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		return text
	}
	return "'" + text
}
