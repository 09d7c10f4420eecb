package server_test

import (
	"bytes"
	"mime/multipart"
	"net/http"
	"net/url"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// A call is recorded by the office and confirmed by the owner; it is never shown
// as signed.
func TestByPhone_RecordedAndConfirmed(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office, owner := s.As(s.Office), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	paper := at + "/papers/" + string(full.Paper.ID)
	form := formIn(t, office.Get(paper), paper+"/by-phone")
	zone, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	now := s.Clock.Now().In(zone)
	filled := with(form, "outcome", "signed", "person", string(s.Owner.ID), "called_on", now.Format("2006-01-02"), "called_time", "9 o'clock", "phone", "555 0199 <b>", "spoke_with", "Wilma")
	reply := office.Post(paper+"/by-phone", filled).Status(http.StatusUnprocessableEntity).Says("such as 14:30")
	reply.Check(htmlcheck.In(`details[open] input[name="phone"][value="555 0199 <b>"]`))
	filled = with(filled, "called_time", now.Format("15:04"))
	office.Post(paper+"/by-phone", with(filled, "total", "1")).Status(http.StatusUnprocessableEntity).Says("not what the paper says")
	s.As(s.Floor).Post(paper+"/by-phone", filled).Status(http.StatusForbidden)
	office.Post(paper+"/by-phone", filled).Redirects(paper)
	office.Post(paper+"/by-phone", filled).Status(http.StatusConflict).Says("already signed by phone")
	office.Get(paper).Says("Agreed by phone").Check(htmlcheck.NotIn(`form[action="` + paper + `/by-phone"]`))
	owner.Get(at).Says("was agreed by phone").Check(htmlcheck.In(`a[href="` + paper + `"]`))
	owner.Get(at + "/papers").Says("Agreed by phone: ")
	page := owner.Get(paper).Says("Is that so?")
	confirm := formIn(t, page, paper+"/confirm")
	owner.Post(paper+"/confirm", with(confirm, "answer", "no", "name", "Ida")).Status(http.StatusUnprocessableEntity).Says("what is not so")
	owner.Post(paper+"/confirm", with(confirm, "answer", "yes", "name", "Ida Marsh")).Redirects(paper)
	owner.Get(paper).Says("Confirmed by Ida Marsh").Check(htmlcheck.NotIn(`form[action="` + paper + `/confirm"]`))
	office.Get(paper).Says("Confirmed by Ida Marsh")
}

// form is a multipart form with one file.
func scanForm(t *testing.T, values url.Values, name string, data []byte) (string, []byte) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for field, all := range values {
		for _, v := range all {
			if err := w.WriteField(field, v); err != nil {
				t.Fatal(err)
			}
		}
	}
	if data != nil {
		part, err := w.CreateFormFile("scan", name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return w.FormDataContentType(), body.Bytes()
}

// Consent is withdrawn, the paper goes by post, and comes back as a scan.
func TestOnPaper_PostedAndRecorded(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	s.Consents(s.Owner)
	office, owner := s.As(s.Office), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	paper := at + "/papers/" + string(full.Paper.ID)
	owner.Post("/consent", url.Values{"withdraw": {"yes"}}).Redirects("/account")
	edit := formIn(t, office.Get(paper+"/edit"), paper+"/edit")
	office.Post(paper+"/edit", with(edit, "title", "Both pans", "do", "preview")).Redirects(paper + "/preview")
	office.Post(paper+"/send", formIn(t, office.Get(paper+"/preview"), paper+"/send")).Redirects(paper)
	page := office.Get(paper).Says("takes papers by post").Check(htmlcheck.In(`a[href="/people/` + string(s.Owner.ID) + `"]`))
	person := "/people/" + string(s.Owner.ID)
	office.Post(person, with(formIn(t, office.Get(person), person), "postal", "9 Lake Street\nFar Lake")).Redirects(person)
	office.Get(paper).Says("9 Lake Street")
	posted := formIn(t, page, paper+"/posted")
	office.Post(paper+"/posted", with(posted, "posted_on", "2026-13-01")).Status(http.StatusUnprocessableEntity)
	zone, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	today := s.Clock.Now().In(zone).Format("2006-01-02")
	office.Post(paper+"/posted", with(posted, "posted_on", today)).Redirects(paper)
	office.Get(paper).Says("was posted on")

	form := with(formIn(t, office.Get(paper), paper+"/on-paper"), "outcome", "signed", "person", string(s.Owner.ID), "name", "Ida Marsh", "signed_on", today)
	kind, body := scanForm(t, form, "page.html", []byte("<html><script>alert(1)</script>"))
	office.Send(http.MethodPost, paper+"/on-paper", kind, bytes.NewReader(body)).Status(http.StatusUnprocessableEntity).Says("no PDF, JPEG or PNG")
	kind, body = scanForm(t, form, "", nil)
	office.Send(http.MethodPost, paper+"/on-paper", kind, bytes.NewReader(body)).Status(http.StatusUnprocessableEntity).Says("choose the scan").
		Check(htmlcheck.In(`details[open] input[name="name"][value="Ida Marsh"]`))
	scan := servertest.JPEG(t, 7)
	kind, body = scanForm(t, form, "signed\r\nX: y.jpg", scan)
	office.Send(http.MethodPost, paper+"/on-paper", kind, bytes.NewReader(body)).Redirects(paper)
	office.Get(paper).Says("Signed on paper by Ida Marsh")
	reply := owner.Get(paper + "/scan").Status(http.StatusOK)
	if reply.Body != string(scan) || reply.Header.Get("Content-Type") != "image/jpeg" || reply.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("the scan comes as %v", reply.Header)
	}
	s.As(s.Add(journal.Owner, "Somebody Else")).Get(paper + "/scan").Status(http.StatusNotFound)
}

func TestDelegate_EndedOnTheOwnersPage(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	dell := s.Add(journal.Owner, "Dell Finch")
	office, owner, delegate := s.As(s.Office), s.As(s.Owner), s.As(dell)
	at := "/builds/" + string(full.ID)
	office.Post(at+"/people", url.Values{"person": {string(dell.ID)}, "as": {"delegate"}, "named_by": {"letter of 3 March"}}).Status(http.StatusSeeOther)
	delegate.Get(at).Status(http.StatusOK).Check(htmlcheck.NotIn(`form[action*="/delegates/"]`))
	end := at + "/delegates/" + string(dell.ID) + "/end"
	form := formIn(t, owner.Get(at).Says("Dell Finch may decide for you"), end)
	delegate.Post(end, form).Status(http.StatusForbidden)
	owner.Post(end, form).Redirects(at)
	owner.Get(at).Check(htmlcheck.NotIn(`form[action="` + end + `"]`))
	delegate.Get(at).Status(http.StatusNotFound)
	delegate.Post(at+"/papers/"+string(full.Paper.ID)+"/sign", url.Values{"name": {"Dell Finch"}, "sure": {"yes"}}).Status(http.StatusNotFound)
}
