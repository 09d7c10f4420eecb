package server

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal/flow"
	"farbay/views"
)

// textPlain is how the proof log's texts are served.
const textPlain = "text/plain; charset=utf-8"

// proofLog explains the proof log to everybody and shows its state.
// GET /proof-log
func (a *App) proofLog(c echo.Context) error {
	p, err := a.steps.PublishLog(c.Request().Context())
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Proof log")
	if err != nil {
		return err
	}
	page := views.ProofLog{Frame: f, Entries: p.Checkpoint.Size, Checkpoint: string(p.Checkpoint.Note)}
	for _, k := range p.Keys {
		page.Keys = append(page.Keys, views.ProofKey{Public: k.Public, Since: k.At, Why: k.Why})
	}
	return a.show(c, http.StatusOK, page)
}

// proofCheckpoint gives out a signed checkpoint of the log as it stands.
// GET /proof-log/checkpoint
func (a *App) proofCheckpoint(c echo.Context) error {
	p, err := a.steps.PublishLog(c.Request().Context())
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	return c.Blob(http.StatusOK, textPlain, p.Checkpoint.Note)
}

// proofKeys gives out the log's public keys, a line each, the oldest first.
// GET /proof-log/keys
func (a *App) proofKeys(c echo.Context) error {
	p, err := a.steps.PublishLog(c.Request().Context())
	if err != nil {
		return err
	}
	var lines strings.Builder
	for _, k := range p.Keys {
		lines.WriteString(k.Public + "\n")
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-store")
	c.Response().Header().Set(echo.HeaderContentDisposition, contentDisposition("proof-log-keys.txt"))
	return c.Blob(http.StatusOK, textPlain, []byte(lines.String()))
}

// paperReceipt gives out the receipt of a paper's decision.
// GET /builds/:build/papers/:paper/receipt
func (a *App) paperReceipt(c echo.Context) error {
	p, receipt, err := a.steps.DecisionReceipt(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, contentDisposition(flow.ReceiptName(p)))
	return c.Blob(http.StatusOK, textPlain, receipt)
}
