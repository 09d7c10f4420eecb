package server_test

import (
	"context"
	"net/http"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// What a photo is sent with. Sources: RFC 9110, sections 8.8.3 (strong entity
// tags), 13.1.2 and 13.1.3 (If-None-Match), 14.2 (Range), 9.3.2 (HEAD); RFC 9111,
// sections 5.2.2.7 (private) and 4.1 (Vary); RFC 8246 (immutable).
func TestPhotoFile_Headers(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	at := "/builds/" + string(b.ID) + "/photos/" + string(b.SharedPhoto.ID) + "/320"
	for who, c := range map[string]*servertest.Client{"owner": s.As(s.Owner), "floor": s.As(s.Floor)} {
		whole := c.Get(at).Status(http.StatusOK)
		for name, want := range map[string]string{
			"Content-Type": "image/jpeg", "Cache-Control": "private, max-age=31536000, immutable", "Vary": "Cookie",
			"X-Content-Type-Options": "nosniff", "Accept-Ranges": "bytes", "Content-Encoding": "",
		} {
			if got := whole.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", who, name, got, want)
			}
		}
		tag := whole.Header.Get("ETag")
		if len(tag) < 4 || tag[0] != '"' {
			t.Fatalf("%s: ETag %s is not a strong one", who, tag)
		}
		head := c.Send(http.MethodHead, at, "", nil).Status(http.StatusOK)
		if head.Body != "" || head.ContentLength != int64(len(whole.Body)) || head.Header.Get("ETag") != tag {
			t.Errorf("%s: HEAD has %d bytes, says %d and %s", who, len(head.Body), head.ContentLength, head.Header.Get("ETag"))
		}
		asking := func(name, value string) *servertest.Reply {
			return c.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set(name, value) })
		}
		if kept := asking("If-None-Match", tag).Status(http.StatusNotModified); kept.Body != "" {
			t.Errorf("%s: 304 with %d bytes", who, len(kept.Body))
		}
		asking("If-None-Match", `"another"`).Status(http.StatusOK)
		part := asking("Range", "bytes=10-19").Status(http.StatusPartialContent)
		if part.Body != whole.Body[10:20] {
			t.Errorf("%s: the range has %q", who, part.Body)
		}
		asking("Range", "bytes=9999999-").Status(http.StatusRequestedRangeNotSatisfiable)
		if got := asking("Accept-Encoding", "gzip").Header.Get("Content-Encoding"); got != "" {
			t.Errorf("%s: a photo is sent as %s", who, got)
		}
	}
	for _, c := range []*servertest.Client{s.Client(), s.As(s.Add(journal.Owner, "Bodil Strand"))} {
		if got := c.Send(http.MethodHead, at, "", nil); got.StatusCode == http.StatusOK || got.Header.Get("ETag") != "" {
			t.Errorf("a stranger's HEAD has status %d and ETag %q", got.StatusCode, got.Header.Get("ETag"))
		}
	}
}

// A photo under a layer is sent as one is without, by both ways of asking; a
// view that is no longer in force has another tag than the one that is.
func TestPhotoFile_Views(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	at := "/builds/" + string(b.ID) + "/photos/" + string(b.SharedPhoto.ID)
	plain := floor.Get(at + "/320").Status(http.StatusOK)
	floor.Post(at+"/marks", layerForm(0, lowerHalf)).Redirects(at)
	s.Settle()
	const view = "?view=t1-0-5000-10000-5000"
	in := owner.Get(at + "/320" + view).Status(http.StatusOK)
	again := floor.Get(at + "/320").Status(http.StatusOK) // the shop, by the long way
	if again.Header.Get("ETag") != plain.Header.Get("ETag") || in.Header.Get("ETag") == plain.Header.Get("ETag") {
		t.Errorf("tags: %s before, %s by the long way, %s in the view", plain.Header.Get("ETag"), again.Header.Get("ETag"), in.Header.Get("ETag"))
	}
	for _, r := range []*servertest.Reply{in, again} {
		if r.Header.Get("Cache-Control") != "private, max-age=31536000, immutable" || r.Header.Get("Vary") != "Cookie" {
			t.Errorf("sent with %q and Vary %q", r.Header.Get("Cache-Control"), r.Header.Get("Vary"))
		}
	}
	for path, cache := range map[string]string{"/full": "private, no-cache", "/original": "private, no-store"} {
		got := floor.Send(http.MethodHead, at+path, "", nil).Status(http.StatusOK)
		if got.Header.Get("Cache-Control") != cache || got.Body != "" || got.ContentLength <= 0 {
			t.Errorf("HEAD of %s: %q, %d bytes said", path, got.Header.Get("Cache-Control"), got.ContentLength)
		}
	}
}

// Promise 8: whatever ends a person's right to a photo ends it with their next
// request, however often they had it before.
func TestPhotoFile_EndsAtOnce(t *testing.T) {
	ctx := context.Background()
	for name, end := range map[string]func(s *servertest.Server, b servertest.Full, c *servertest.Client) error{
		"signed out": func(_ *servertest.Server, _ servertest.Full, c *servertest.Client) error {
			c.Post("/sign-out", nil).Status(http.StatusSeeOther)
			return nil
		},
		"sessions ended by the office": func(s *servertest.Server, b servertest.Full, _ *servertest.Client) error {
			s.As(s.Office).Post("/people/"+string(b.Owner.ID)+"/sessions/end", nil).Status(http.StatusSeeOther)
			return nil
		},
		"account ended": func(s *servertest.Server, b servertest.Full, _ *servertest.Client) error {
			s.As(s.Office).Post("/people/"+string(b.Owner.ID)+"/end", nil).Status(http.StatusSeeOther)
			return nil
		},
		"no longer an owner": func(s *servertest.Server, b servertest.Full, _ *servertest.Client) error {
			return s.App.Steps().EndOwner(ctx, servertest.Actor(s.Office), b.ID, b.Owner.ID)
		},
		"entry withdrawn": func(s *servertest.Server, b servertest.Full, _ *servertest.Client) error {
			return s.App.Steps().WithdrawEntry(ctx, servertest.Actor(s.Floor), b.ID, b.Shared, 1, "Posted by mistake.")
		},
		"entry kept for the shop": func(s *servertest.Server, b servertest.Full, _ *servertest.Client) error {
			return s.App.Steps().Store.Write(ctx, func(tx flow.Tx) error {
				e, err := tx.Entry(b.ID, b.Shared)
				if err != nil {
					return err
				}
				before := journal.EntryEdit{EntryID: e.ID, Version: e.Version, At: s.Clock.Now(), ByID: s.Floor.ID, Text: e.Text, Kind: e.Kind, Audience: e.Audience, StageID: e.StageID, Photos: e.Photos}
				e.Audience = journal.ShopOnly
				return tx.SaveEntry(e, before)
			})
		},
		"session run out": func(s *servertest.Server, _ servertest.Full, _ *servertest.Client) error {
			s.Clock.Pass(31 * 24 * time.Hour)
			return nil
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := servertest.New(t)
			b := s.Full("Heron", s.Owner, 100)
			s.Settle()
			c := s.As(s.Owner)
			at := "/builds/" + string(b.ID) + "/photos/" + string(b.SharedPhoto.ID) + "/320"
			for range 3 {
				c.Get(at).Status(http.StatusOK)
			}
			if err := end(s, b, c); err != nil {
				t.Fatal(err)
			}
			if got := c.Get(at); got.StatusCode == http.StatusOK {
				t.Errorf("the photo is still sent, with %d bytes", len(got.Body))
			}
		})
	}
}

// A request for a photo writes nothing, also when the session's last use has
// not been noted for long.
func TestPhotoFile_WritesNothing(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	c := s.As(s.Owner)
	s.Clock.Pass(time.Hour)
	seen := func() (at time.Time) {
		err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
			sessions, err := r.Sessions(s.Owner.ID)
			at = sessions[0].LastSeenAt
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	before := seen()
	c.Get("/builds/" + string(b.ID) + "/photos/" + string(b.SharedPhoto.ID) + "/320").Status(http.StatusOK)
	if after := seen(); !after.Equal(before) {
		t.Errorf("a photo moved the session's last use from %v to %v", before, after)
	}
	c.Get("/builds/" + string(b.ID)).Status(http.StatusOK)
	if after := seen(); !after.After(before) {
		t.Error("a page did not note the session's use")
	}
}
