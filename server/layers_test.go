package server_test

import (
	"fmt"
	"image/jpeg"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/server/servertest"
)

func layerForm(number int, layer string) url.Values {
	return url.Values{"number": {fmt.Sprint(number)}, "layer": {layer}}
}

const lowerHalf = `{"turn":1,"crop":{"x":0,"y":5000,"w":10000,"h":5000},"marks":[{"shape":"arrow","x":1000,"y":6000,"x2":5000,"y2":8000,"text":"crack"}]}`

// Once the shop has cropped a photo, no address gives the owner the rest of it;
// the shop gets both. Evidence of a paper that is out stays as it was sent
// (promise 4), also when it is cropped later.
func TestLayers_OwnerGetsTheViewInForce(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	photo := fmt.Sprintf("/builds/%s/photos/%s", b.ID, b.SharedPhoto.ID)
	const view = "?view=t1-0-5000-10000-5000"
	owner.Get(photo + "/960").Status(http.StatusOK)
	floor.Post(photo+"/marks", layerForm(0, lowerHalf)).Redirects(photo)
	s.Settle()
	for _, size := range []string{"/320", "/960", "/2048"} {
		for _, other := range []string{"", "?view=", "?view=t0-0-0-10000-10000", "?view=t1-0-0-10000-10000", "?view=../../x", "?view=%00"} {
			owner.Get(photo + size + other).Status(http.StatusNotFound)
		}
		r := owner.Get(photo + size + view).Status(http.StatusOK)
		// 64 x 48 turned is 48 x 64; its lower half is 48 x 32.
		config, err := jpeg.DecodeConfig(strings.NewReader(r.Body))
		if err != nil || config.Width != 48 || config.Height != 32 {
			t.Errorf("%s is %d x %d, %v", size, config.Width, config.Height, err)
		}
		floor.Get(photo + size).Status(http.StatusOK)
		floor.Get(photo + size + view).Status(http.StatusOK)
		floor.Get(photo + size + "?view=t2-0-0-10000-10000").Status(http.StatusNotFound)
	}
	page := owner.Get(photo).Status(http.StatusOK).Says("Arrow: crack")
	if strings.Contains(page.Body, "/960\"") || strings.Contains(page.Body, "/2048\"") || !strings.Contains(page.Body, `width="48" height="32"`) {
		t.Error("the owner's page names the plain photo, or its size")
	}

	evidence := fmt.Sprintf("/builds/%s/photos/%s", b.ID, b.Evidence.ID)
	s.As(s.Office).Post(evidence+"/marks", layerForm(0, lowerHalf)).Redirects(evidence)
	s.Settle()
	owner.Get(evidence + "/960").Status(http.StatusOK)
	owner.Get(evidence + "/960" + view).Status(http.StatusOK)
	sheet := owner.Get(fmt.Sprintf("/builds/%s/papers/%s", b.ID, b.Paper.ID)).Status(http.StatusOK)
	if !strings.Contains(sheet.Body, evidence+`/960"`) || strings.Contains(sheet.Body, "t1-0-5000") {
		t.Error("the paper that is out does not show its evidence as it was sent")
	}
	s.As(s.Office).Post(fmt.Sprintf("/builds/%s/papers/%s/recall", b.ID, b.Paper.ID), url.Values{})
	owner.Get(evidence + "/960").Status(http.StatusNotFound)
}

// Who may mark; what is refused changes nothing; who was slower loses nothing;
// what was set before can be had again.
func TestLayers_Saving(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office, floor, owner, other := s.As(s.Office), s.As(s.Floor), s.As(s.Owner), s.As(s.Add(journal.Floor, "Tove Brack"))
	photo := fmt.Sprintf("/builds/%s/photos/%s", b.ID, b.SharedPhoto.ID)
	marks := photo + "/marks"
	owner.Post(marks, layerForm(0, lowerHalf)).Status(http.StatusForbidden)
	other.Get(marks).Status(http.StatusForbidden)
	other.Post(marks, layerForm(0, lowerHalf)).Status(http.StatusForbidden)

	mark := `{"shape":"ring","x":1,"y":1,"x2":9,"y2":9,"text":""}`
	whole := `"turn":0,"crop":{"x":0,"y":0,"w":0,"h":0}`
	for reason, layer := range map[string]string{
		"nothing": "", "no JSON": "{", "a list": "[]", "a member of no layer": `{"turn":0,"by":"office"}`, "two": "{}{}", "a fraction": `{"turn":0.5}`,
		"too large a number": `{"turn":99999999999999999999}`, "text for a number": `{"turn":"1"}`, "deep": strings.Repeat("[", 20000), "long": `{"marks":[` + strings.Repeat(mark+",", 1000) + mark + `]}`,
		"five turns": `{"turn":5}`, "an empty crop": `{"crop":{"x":1,"y":1,"w":0,"h":0}}`, "a crop outside": `{"crop":{"x":9000,"y":0,"w":9000,"h":9000}}`,
		"41 marks": `{` + whole + `,"marks":[` + strings.Repeat(mark+",", 40) + mark + `]}`, "a mark outside": `{"marks":[{"shape":"arrow","x":-1,"y":0,"x2":5,"y2":5,"text":""}]}`,
		"a shape": `{"marks":[{"shape":"script","x":1,"y":0,"x2":5,"y2":5,"text":""}]}`, "no words": `{"marks":[{"shape":"text","x":1,"y":1,"x2":1,"y2":1,"text":" "}]}`,
	} {
		if r := floor.Post(marks, layerForm(0, layer)); r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: status %d", reason, r.StatusCode)
		}
	}
	if p := photoOf(t, s, b.ID, b.SharedPhoto.ID); p.Layer.Number != 0 || p.State != journal.PhotoReady {
		t.Errorf("a refused layer left %+v", p.Layer)
	}

	floor.Post(marks, layerForm(0, `{`+whole+`,"marks":[`+mark+`]}`)).Redirects(photo)
	r := office.Post(marks, layerForm(0, lowerHalf)).Status(http.StatusConflict).Says("Fenn Askew changed this photo’s marks meanwhile")
	if !strings.Contains(r.Body, "&#34;text&#34;:&#34;crack&#34;") || !strings.Contains(r.Body, `name="number" value="1"`) {
		t.Error("what the slower one drew is lost")
	}
	office.Post(marks, layerForm(1, lowerHalf)).Redirects(photo)
	s.Settle()
	office.Post(marks+"/back", url.Values{"number": {"1"}, "to": {"1"}}).Status(http.StatusConflict)
	office.Post(marks+"/back", url.Values{"number": {"2"}, "to": {"7"}}).Status(http.StatusNotFound)
	office.Post(marks+"/back", url.Values{"number": {"2"}, "to": {"0"}}).Redirects(photo)
	s.Settle()
	if p := photoOf(t, s, b.ID, b.SharedPhoto.ID); p.Layer.Number != 3 || !p.Layer.Plain() || len(p.Layer.Marks) != 0 || p.State != journal.PhotoReady {
		t.Errorf("back to how it was taken: %+v, %s", p.Layer, p.State)
	}
	owner.Get(photo + "/960").Status(http.StatusOK)
	office.Get(marks).Status(http.StatusOK).Says("As it was before")
}

// Two photos of one build for whoever may see both.
func TestCompare(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	at := fmt.Sprintf("/builds/%s/compare?a=%s&b=", b.ID, b.SharedPhoto.ID)
	owner.Get(at + string(b.Evidence.ID)).Status(http.StatusOK).Says("Then and now")
	owner.Get(at + string(b.ShopPhoto.ID)).Status(http.StatusNotFound)
	floor.Get(at + string(b.ShopPhoto.ID)).Status(http.StatusOK)
	owner.Get(at + string(b.SharedPhoto.ID)).Status(http.StatusUnprocessableEntity)
	owner.Get(at + "&stage=nowhere").Status(http.StatusNotFound)
	if r := owner.Get(at).Status(http.StatusOK); strings.Contains(r.Body, string(b.ShopPhoto.ID)) {
		t.Error("the owner is offered a photo that is for the shop only")
	}
}
