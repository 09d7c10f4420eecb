package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// An entry from a phone's queue may come any number of times: it is posted once,
// photos that arrive late are added at its end, and never in another's name.
func TestCapture_EntryIsPostedOnce(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	first, late := s.Photo(build, 1), s.Photo(build, 2)
	at := "/builds/" + string(build) + "/capture"
	form := url.Values{"id": {"0123456789abcdef0123456789abcdef"}, "person": {string(s.Floor.ID)}, "stage": {string(stages[0].ID)}, "text": {"Pans out."}, "photo": {string(first.ID)}}
	floor := s.As(s.Floor)
	post := func(c *servertest.Client) *servertest.Reply {
		return c.Send(http.MethodPost, at, "application/x-www-form-urlencoded", strings.NewReader(form.Encode()), asData)
	}
	failureOf(t, post(s.As(s.Office)).Status(http.StatusConflict))
	post(floor).Status(http.StatusOK)
	post(floor).Status(http.StatusOK)
	form.Add("photo", string(late.ID))
	post(floor).Status(http.StatusOK)
	v, err := s.App.Steps().EntryShow(context.Background(), servertest.Actor(s.Office), build, journal.EntryID(form.Get("id")))
	if err != nil {
		t.Fatal(err)
	}
	if e := v.Entry; len(e.Photos) != 2 || e.Photos[0].PhotoID != first.ID || e.Photos[1].PhotoID != late.ID || e.Audience != journal.ShopOnly || e.AuthorID != s.Floor.ID {
		t.Errorf("posted as %+v", e)
	}
}

// takenInTurns are two photos taken while the first stage of a build was under
// way, and two while the second was; both are closed by now.
func takenInTurns(t *testing.T, s *servertest.Server) (build journal.BuildID, stages []journal.Stage, photos []string) {
	t.Helper()
	build, stages = s.Agreed("Heron", s.Owner)
	steps, actor := s.App.Steps(), servertest.Actor(s.Floor)
	for i := range 2 {
		if err := steps.OpenStage(t.Context(), actor, build, stages[i].ID); err != nil {
			t.Fatal(err)
		}
		s.Clock.Pass(time.Hour)
		for range 2 {
			p, _, err := steps.RecordPhoto(t.Context(), actor, build, journal.Photo{
				SHA256: fmt.Sprintf("%064x", len(photos)), Kind: "image/jpeg", CapturedAt: s.Clock.Now(), CapturedSource: "camera with offset",
				ReceivedAt: s.Clock.Now().Add(time.Hour), FromClock: true,
			})
			if err != nil {
				t.Fatal(err)
			}
			photos = append(photos, string(p.ID))
		}
		s.Clock.Pass(time.Hour)
		if _, _, err := steps.CloseStage(t.Context(), servertest.Actor(s.Office), build, stages[i].ID); err != nil {
			t.Fatal(err)
		}
	}
	return build, stages, photos
}

// spreadAnswer is the answer to an entry from a phone's queue.
type spreadAnswer struct{ ID, Said string }

func sendCaptured(t *testing.T, c *servertest.Client, build journal.BuildID, form url.Values) (answer spreadAnswer) {
	t.Helper()
	r := c.Send(http.MethodPost, "/builds/"+string(build)+"/capture", "application/x-www-form-urlencoded", strings.NewReader(form.Encode()), asData).Status(http.StatusOK)
	if err := json.Unmarshal([]byte(r.Body), &answer); err != nil {
		t.Fatal(err)
	}
	answer.Said = strings.ReplaceAll(answer.Said, "\u00a0", " ")
	return answer
}

// postedIn returns the photos of each stage's entry; no stage has two.
func postedIn(t *testing.T, s *servertest.Server, build journal.BuildID) map[journal.StageID]string {
	t.Helper()
	view, err := s.App.Steps().JournalPage(t.Context(), servertest.Actor(s.Floor), build, flow.EntryQuery{})
	if err != nil {
		t.Fatal(err)
	}
	posted := map[journal.StageID]string{}
	for _, e := range view.Entries {
		if _, twice := posted[e.StageID]; twice || e.Text != "Cleaned up." {
			t.Errorf("posted as %+v", e)
		}
		var ids []string
		for _, p := range e.Photos {
			ids = append(ids, string(p.PhotoID))
		}
		posted[e.StageID] = strings.Join(ids, " ")
	}
	return posted
}

// Photos from a phone's queue go to the stage that was under way when they were
// taken, however often and in whatever parts they are sent.
func TestCapture_Split(t *testing.T) {
	// Which photos come when; 0 and 1 were taken in the first stage, 2 and 3 in
	// the second, which is the one chosen.
	tests := []struct {
		name  string
		waves [][]int
		said  string // in the end
		posts map[int]string
	}{
		{"at once", [][]int{{0, 1, 2, 3}}, "By the time they were taken: 2 photos in %s and 2 photos in %s.", map[int]string{0: "0 1", 1: "2 3"}},
		{"two late", [][]int{{0, 2}, {0, 2, 1, 3}}, "By the time they were taken: 2 photos in %s and 2 photos in %s.", map[int]string{0: "0 1", 1: "2 3"}},
		{"the other stage's late", [][]int{{2, 3}, {2, 3, 1}}, "By the time they were taken: 1 photo in %s and 2 photos in %s.", map[int]string{0: "1", 1: "2 3"}},
		{"the chosen stage's late", [][]int{{0}, {0, 3}}, "By the time they were taken: 1 photo in %s and 1 photo in %s.", map[int]string{0: "0", 1: "3"}},
		{"none in the chosen stage", [][]int{{0, 1}}, "By the time they were taken: 2 photos in %s.", map[int]string{0: "0 1"}},
		{"all in the chosen stage", [][]int{{2}, {2, 3}}, "", map[int]string{1: "2 3"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s := servertest.New(t)
			build, stages, photos := takenInTurns(t, s)
			floor := s.As(s.Floor)
			form := url.Values{
				"id": {"0123456789abcdef0123456789abcdef"}, "person": {string(s.Floor.ID)}, "stage": {string(stages[1].ID)}, "text": {"Cleaned up."}, "split": {"yes"},
			}
			var answer spreadAnswer
			for _, wave := range test.waves {
				form["photo"] = nil
				for _, i := range wave {
					form.Add("photo", photos[i])
				}
				for range 2 {
					if answer = sendCaptured(t, floor, build, form); answer.ID != form.Get("id") {
						t.Errorf("answered %+v", answer)
					}
				}
			}
			want := map[journal.StageID]string{}
			for stage, which := range test.posts {
				var ids []string
				for _, i := range strings.Fields(which) {
					ids = append(ids, photos[i[0]-'0'])
				}
				want[stages[stage].ID] = strings.Join(ids, " ")
			}
			if got := postedIn(t, s, build); !maps.Equal(got, want) {
				t.Errorf("posted %v, want %v", got, want)
			}
			said := test.said
			if n := strings.Count(said, "%s"); n > 0 {
				said = fmt.Sprintf(said, []any{stages[0].Name, stages[1].Name}[:n]...)
			}
			// Entries may be named in either order.
			if parts(answer.Said) != parts(said) {
				t.Errorf("said %q, want %q", answer.Said, said)
			}
		})
	}
}

// parts are the parts of a list, in an order of their own.
func parts(s string) string {
	all := strings.Split(strings.TrimSuffix(strings.TrimPrefix(s, "By the time they were taken: "), "."), " and ")
	slices.Sort(all)
	return strings.Join(all, " and ")
}

// Without the tick everything goes to the stage chosen.
func TestCapture_NotSplit(t *testing.T) {
	s := servertest.New(t)
	build, stages, photos := takenInTurns(t, s)
	form := url.Values{
		"id": {"0123456789abcdef0123456789abcdef"}, "person": {string(s.Floor.ID)}, "stage": {string(stages[1].ID)}, "text": {"Cleaned up."}, "split": {"no"}, "photo": photos,
	}
	if answer := sendCaptured(t, s.As(s.Floor), build, form); answer.Said != "" {
		t.Errorf("said %q", answer.Said)
	}
	want := map[journal.StageID]string{stages[1].ID: strings.Join(photos, " ")}
	if got := postedIn(t, s, build); !maps.Equal(got, want) {
		t.Errorf("posted %v, want %v", got, want)
	}
}

// What a phone keeps tells nothing of any person or build, and the install
// manifest names files that are there.
func TestCapture_ShellIsNobodys(t *testing.T) {
	s := servertest.New(t)
	s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	shell := floor.Get("/capture/shell").Status(http.StatusOK).Body
	for _, secret := range []string{"Heron", s.Floor.Name, "Sign out", "My day"} {
		if strings.Contains(shell, secret) {
			t.Errorf("the shell tells of %q", secret)
		}
	}
	nobody := s.Client()
	var m struct {
		StartURL string `json:"start_url"`
		Icons    []struct{ Src, Type string }
	}
	if err := json.Unmarshal([]byte(nobody.Get("/manifest.webmanifest").Status(http.StatusOK).Body), &m); err != nil || m.StartURL != "/capture" || len(m.Icons) != 5 {
		t.Fatalf("the manifest: %+v, %v", m, err)
	}
	for _, icon := range m.Icons {
		if got := nobody.Get(icon.Src).Status(http.StatusOK).Header.Get("Content-Type"); got != icon.Type {
			t.Errorf("%s is %s, not %s", icon.Src, got, icon.Type)
		}
	}
	if got := nobody.Get("/sw.js").Status(http.StatusOK).Header.Get("Content-Type"); !strings.HasPrefix(got, "text/javascript") {
		t.Errorf("the worker is %q", got)
	}
}
