package server

import (
	"bytes"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// paintCSV sends a stage's paint record as a table, all of it.
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
	var made bytes.Buffer
	if err := views.WritePaintTable(&made, shop.Location(), paintLines(v)); err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="paint-record.csv"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8", made.Bytes())
}

// paintLines are the lines of the table: one for each component of a mix, for each
// reading and for each amount used.
func paintLines(v flow.PaintView) []views.PaintLine {
	var lines []views.PaintLine
	add := func(id journal.PaintID, line views.PaintLine) {
		if b, gone := v.Backs[id]; gone {
			line = line.TakenBack(b, v.Names)
		}
		lines = append(lines, line)
	}
	for _, m := range v.Mixes {
		for i, component := range m.Mix.Formula.Components {
			wanted := m.Batch.Targets[i]
			if m.Batch.Done() {
				wanted = m.Batch.Ideal(i) // also where too much was left
			}
			add(m.Mix.ID, views.PaintLine{
				Kind: "mix", At: m.Mix.At, By: v.Names[m.Mix.ByID], Mix: m.Mix, Of: component.Name, Wanted: wanted, Poured: m.Batch.In[i],
			})
		}
	}
	for _, x := range v.Readings {
		add(x.ID, views.PaintLine{Kind: "film reading", At: x.At, By: v.Names[x.ByID], Reading: x})
	}
	for _, x := range v.Used {
		add(x.ID, views.PaintLine{Kind: "used", At: x.At, By: v.Names[x.ByID], Used: x})
	}
	return lines
}
