package server_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/servertest"
)

// Promise 8: nobody sees another's build. The cases are made from the route
// table itself, so that a new route cannot be forgotten.

// fill puts a build's own identifiers into a route's path. When the route names
// something below the build, below is set.
func fill(t *testing.T, path string, build journal.BuildID, of servertest.Full) (filled string, below bool) {
	t.Helper()
	values := map[string]string{
		":stage": string(of.Open), ":entry": string(of.Shared), ":photo": string(of.SharedPhoto.ID), ":size": "320",
		":paper": string(of.Paper.ID), ":revision": "1", ":question": string(of.Question), ":invoice": string(of.Invoice.ID),
		":payment": string(of.Payment), ":paint": string(of.Mix), ":person": string(of.Owner.ID), ":upload": "0123456789abcdefghijklmnop",
		":work": string(of.Work),
	}
	parts := strings.Split(path, "/")
	for i, part := range parts {
		switch value := values[part]; {
		case part == ":build":
			parts[i] = string(build)
		case value != "":
			parts[i], below = value, true
		case strings.HasPrefix(part, ":") || part == "*":
			t.Fatalf("%s: the test has no value for %s; please give it one", path, part)
		}
	}
	return strings.Join(parts, "/"), below
}

// fingerprint is everything of a build that an act could change.
func fingerprint(t *testing.T, s *servertest.Server, build journal.BuildID) string {
	t.Helper()
	var print string
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		events, err := r.Events(build)
		if err != nil {
			return err
		}
		b, err := r.Build(build)
		if err != nil {
			return err
		}
		photos, err := r.CountPhotos(build, true)
		print = fmt.Sprintf("%d events, version %d, %d photos", len(events), b.Version, photos)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return print
}

// form has every field that any act asks for, so that an act is refused for
// who does it, and not for what is missing.
func actForm(of servertest.Full) url.Values {
	return url.Values{
		"name": {"Orla Wintle"}, "revision": {"1"}, "sure": {"yes"}, "reason": {"Because."}, "text": {"Words"}, "version": {"1"},
		"stage": {string(of.Open)}, "amount": {"1.00"}, "on": {"2026-04-10"}, "means": {"cheque"}, "invoice": {string(of.Invoice.ID)},
		"id": {"0123456789abcdef0123"}, "audience": {"owner too"}, "kind": {"progress"}, "done": {"yes"}, "person": {string(of.Owner.ID)}, "as": {"owner"},
	}
}

func send(c *servertest.Client, method, path string, form url.Values) *servertest.Reply {
	switch method {
	case http.MethodGet:
		return c.Get(path)
	case http.MethodPost:
		return c.Post(path, form)
	}
	return c.Send(method, path, "", nil)
}

// reading reports whether a method changes nothing, so that somebody signed out
// is led to the sign-in page.
func reading(method string) bool { return method == http.MethodGet || method == http.MethodHead }

func buildRoutes(s *servertest.Server) (own, other []server.Route) {
	for _, route := range s.App.Routes() {
		if strings.Contains(route.Path, ":build") {
			own = append(own, route)
		} else {
			other = append(other, route)
		}
	}
	return own, other
}

func TestAccess_StrangersOfABuild(t *testing.T) {
	s := servertest.New(t)
	mine := s.Full("Heron", s.Owner, 100)
	theirs := s.Full("Juniper", s.Add(journal.Owner, "Bodil Strand"), 200)
	former := s.Add(journal.Owner, "Former Owner")
	s.Settle()
	steps, ctx, office := s.App.Steps(), context.Background(), servertest.Actor(s.Office)
	if err := steps.AddOwner(ctx, office, theirs.ID, flow.NewMember{PersonID: former.ID, As: journal.AsDelegate, NamedBy: "letter of 3 March"}); err != nil {
		t.Fatal(err)
	}
	formerClient := s.As(former)
	formerClient.Get("/builds/" + string(theirs.ID)).Status(http.StatusOK)
	if err := steps.EndOwner(ctx, office, theirs.ID, former.ID); err != nil {
		t.Fatal(err)
	}
	strangers := map[string]*servertest.Client{"another build's owner": s.As(s.Owner), "a former delegate": formerClient}
	nobody := s.Client()
	before := fingerprint(t, s, theirs.ID)
	routes, _ := buildRoutes(s)
	if len(routes) < 50 {
		t.Fatalf("only %d routes of builds", len(routes))
	}
	for _, route := range routes {
		path, below := fill(t, route.Path, theirs.ID, theirs)
		for who, c := range strangers {
			reply := send(c, route.Method, path, actForm(theirs))
			if reply.StatusCode != http.StatusNotFound {
				t.Errorf("%s %s by %s: status %d", route.Method, route.Path, who, reply.StatusCode)
			}
			for _, secret := range []string{"Juniper", "Bodil", "Two-part clear", "Seen by the owner", "floor pans"} {
				if strings.Contains(reply.Body, secret) {
					t.Errorf("%s %s by %s tells of %q", route.Method, route.Path, who, secret)
				}
			}
		}
		reply := send(nobody, route.Method, path, actForm(theirs))
		want := http.StatusSeeOther
		if !reading(route.Method) {
			want = http.StatusUnauthorized
		}
		if reply.StatusCode != want || want == http.StatusSeeOther && !strings.HasPrefix(reply.Header.Get("Location"), "/sign-in") {
			t.Errorf("%s %s by nobody: status %d to %q", route.Method, route.Path, reply.StatusCode, reply.Header.Get("Location"))
		}
		if below {
			mixed, _ := fill(t, route.Path, mine.ID, theirs) // theirs, under my build's address
			for who, c := range map[string]*servertest.Client{"its owner": strangers["another build's owner"], "the office": s.As(s.Office), "the floor": s.As(s.Floor)} {
				got := send(c, route.Method, mixed, actForm(theirs)).StatusCode
				if got != http.StatusNotFound && got != http.StatusForbidden && got != http.StatusConflict && got != http.StatusUnprocessableEntity {
					t.Errorf("%s %s with another build's ids, by %s: status %d", route.Method, route.Path, who, got)
				}
				if route.Method == http.MethodGet && got != http.StatusNotFound && got != http.StatusForbidden {
					t.Errorf("%s %s with another build's ids, by %s is shown: status %d", route.Method, route.Path, who, got)
				}
			}
		}
	}
	if after := fingerprint(t, s, theirs.ID); after != before {
		t.Errorf("the other build went from %s to %s", before, after)
	}
}

// Each level of the table lets in whom it names and nobody else.
func TestAccess_RolesOfABuild(t *testing.T) {
	s := servertest.New(t)
	build := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office, floor, owner := s.As(s.Office), s.As(s.Floor), s.As(s.Owner)
	may := map[server.Who]map[string]bool{
		server.BuildReader:  {"office": true, "floor": true, "owner": true},
		server.BuildStaff:   {"office": true, "floor": true},
		server.BuildOffice:  {"office": true},
		server.BuildDecider: {"owner": true},
	}
	routes, _ := buildRoutes(s)
	for _, route := range routes {
		allowed, known := may[route.Who]
		if !known {
			t.Fatalf("%s %s: level %d is not one of a build", route.Method, route.Path, route.Who)
		}
		path, _ := fill(t, route.Path, build.ID, build)
		for who, c := range map[string]*servertest.Client{"office": office, "floor": floor, "owner": owner} {
			if allowed[who] && route.Method != http.MethodGet {
				continue // acts are tried where they are tested
			}
			got := send(c, route.Method, path, url.Values{}).StatusCode
			if !allowed[who] && got != http.StatusForbidden {
				t.Errorf("%s %s by %s: status %d, want 403", route.Method, route.Path, who, got)
			}
			switch {
			case got == http.StatusNotFound && (strings.HasSuffix(route.Path, "/receipt") || strings.HasSuffix(route.Path, "/scan") || strings.HasSuffix(route.Path, "/video")):
				continue // nothing is decided in this build, and no photo is a video; they are tried elsewhere
			case got == http.StatusNotFound && who == "owner" && strings.HasSuffix(route.Path, "/work/:work/file"):
				continue // the stage has a fixed price
			case got == http.StatusForbidden && who == "owner" && strings.HasSuffix(route.Path, "/original"):
				continue // not handed out
			}
			if allowed[who] && got != http.StatusOK && got != http.StatusSeeOther {
				t.Errorf("%s %s by %s: status %d", route.Method, route.Path, who, got)
			}
		}
	}
}

// Pages outside builds: the table's level decides, too.
func TestAccess_RolesOfTheHouse(t *testing.T) {
	s := servertest.New(t)
	s.Full("Heron", s.Owner, 100)
	letters, _, err := s.App.Steps().Outbox(context.Background(), servertest.Actor(s.Office), 1)
	if err != nil {
		t.Fatal(err)
	}
	plans, err := s.App.Steps().Plans(context.Background(), servertest.Actor(s.Office))
	if err != nil {
		t.Fatal(err)
	}
	values := strings.NewReplacer(":person", string(s.Floor.ID), ":plan", string(plans[0].ID), ":correction", "c1", ":passkey", "k1", ":letter", string(letters[0].Letter.ID))
	_, routes := buildRoutes(s)
	for _, route := range routes {
		path := values.Replace(route.Path)
		if route.Who == server.Public || route.Path == "/sign-out" {
			continue
		}
		if strings.Contains(path, ":") {
			t.Fatalf("%s: the test has no value for its parameter", route.Path)
		}
		for who, p := range map[string]journal.Person{"office": s.Office, "floor": s.Floor, "owner": s.Owner} {
			allowed := route.Who == server.SignedIn || route.Who == server.Staff && p.Role.Staff() || route.Who == server.Office && p.Role == journal.Office
			if allowed {
				continue
			}
			if got := send(s.As(p), route.Method, path, url.Values{}).StatusCode; got != http.StatusForbidden {
				t.Errorf("%s %s by %s: status %d, want 403", route.Method, route.Path, who, got)
			}
		}
		want := http.StatusSeeOther
		if !reading(route.Method) {
			want = http.StatusUnauthorized
		}
		if got := send(s.Client(), route.Method, path, url.Values{}).StatusCode; got != want {
			t.Errorf("%s %s by nobody: status %d, want %d", route.Method, route.Path, got, want)
		}
	}
}

// What is for the shop only reaches an owner by no address, not even when they
// guess it: entries, photos, originals, drafts, camera and place.
func TestAccess_ShopOnlyStaysInTheShop(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	owner := s.As(s.Owner)
	at := "/builds/" + string(b.ID)
	for _, path := range []string{
		"/entries/" + string(b.Shop), "/photos/" + string(b.ShopPhoto.ID), "/photos/" + string(b.ShopPhoto.ID) + "/320",
		"/photos/" + string(b.LoosePhoto.ID), "/photos/" + string(b.LoosePhoto.ID) + "/960", "/papers/" + string(b.Draft.ID),
		"/papers/" + string(b.Draft.ID) + "/revisions/1", "/papers/" + string(b.Draft.ID) + "/revisions/0/record",
	} {
		owner.Get(at + path).Status(http.StatusNotFound)
	}
	for _, id := range []journal.PhotoID{b.SharedPhoto.ID, b.Evidence.ID} {
		owner.Get(at + "/photos/" + string(id)).Status(http.StatusOK)
		owner.Get(at + "/photos/" + string(id) + "/320").Status(http.StatusOK)
		owner.Get(at + "/photos/" + string(id) + "/original").Status(http.StatusForbidden)
	}
	// Every page the owner may open, searched for what is the shop's.
	routes, _ := buildRoutes(s)
	for _, route := range routes {
		if route.Method != http.MethodGet || route.Who != server.BuildReader {
			continue
		}
		path, _ := fill(t, route.Path, b.ID, b)
		for _, address := range []string{path, path + "?stage=" + string(b.Open), path + "?kind=find"} {
			body := owner.Get(address).Body
			for _, secret := range []string{"For the shop only, of Heron", "Two-part clear", "Blasted for the shop only", "blaster", "987.65", string(b.Work), string(b.Shop), string(b.ShopPhoto.ID), string(b.LoosePhoto.ID), string(b.Draft.ID), "IMG_10"} {
				if strings.Contains(body, secret) {
					t.Errorf("%s tells the owner of %q", address, secret)
				}
			}
		}
	}
	for _, letter := range s.Mail.To(s.Owner.Email) {
		if strings.Contains(letter.Text, "For the shop only") || strings.Contains(letter.Text, "Blasted") {
			t.Errorf("a letter tells of the shop's entry: %s", letter.Text)
		}
	}
}
