package server_test

import (
	"net/http"
	"testing"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// An invoice is taken back from its page, with a reason that the owner reads.
func TestInvoice_TakenBack(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office, owner := s.As(s.Office), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	invoice := at + "/invoices/" + string(full.Invoice.ID)
	owner.Get(invoice).Check(htmlcheck.NotIn(`form[action="` + invoice + `/cancel"]`))
	form := formIn(t, office.Get(invoice), invoice+"/cancel")
	office.Post(invoice+"/cancel", with(form, "reason", "")).Status(http.StatusUnprocessableEntity).Says("why it is taken back")
	reply := office.Post(invoice+"/cancel", with(form, "reason", "Two hours <b> too many.")).Status(http.StatusSeeOther)
	memo := reply.Header.Get("Location")
	owner.Get(memo).Says("It takes back invoice 1: Two hours <b> too many.").Check(htmlcheck.In(`a[href="` + invoice + `"]`))
	owner.Get(invoice).Says("Taken back by credit memo 1").Check(htmlcheck.In(`a[href="` + memo + `"]`))
	office.Get(invoice).Check(htmlcheck.NotIn(`form[action="` + invoice + `/cancel"]`))
	office.Post(invoice+"/cancel", with(form, "reason", "Again.")).Status(http.StatusConflict).Says("was cancelled by credit memo 1 already")
}

// A stage is reopened with a credit.
func TestStage_ReopenedWithACredit(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office := s.As(s.Office)
	stage := "/builds/" + string(full.ID) + "/stages/" + string(full.Closed)
	form := formIn(t, office.Get(stage), stage+"/reopen")
	office.Post(stage+"/reopen", with(form, "reason", "Everything anew.", "invoices", "credit")).Redirects(stage)
	office.Get("/builds/" + string(full.ID) + "/money").Says("Credit memo 1")
	office.Post(stage+"/close", nil).Status(http.StatusSeeOther)
	office.Get("/builds/" + string(full.ID) + "/money").Says("Invoice 2")
}
