package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// Owners find what they may see and nothing else; nothing that is typed is
// taken for syntax or for markup.
func TestSearch(t *testing.T) {
	s := servertest.New(t)
	heron := s.Full("Heron", s.Owner, 100)
	at := "/builds/" + string(heron.ID) + "/search"
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	query := func(words string) string { return at + "?" + url.Values{"q": {words}}.Encode() }
	owner.Get(at).Says("Type words of an entry")
	owner.Get(query("seen OWNER")).Says("1 entry has these words").Check(
		htmlcheck.In(".found mark", htmlcheck.HasText("Seen")), htmlcheck.In(`.found a[href$="`+string(heron.Shared)+`"]`))
	owner.Get(query("shop only")).Says("has all of these words").Check(htmlcheck.NotIn(".found"))
	floor.Get(query("shop only")).Says("1 entry has these words").Check(htmlcheck.In(".found .tag", htmlcheck.HasText("shop only")))
	for _, odd := range []string{`"`, `seen" OR "shop`, "*", "text:seen", "NEAR(seen, shop)", `<script>alert(1)</script>`, strings.Repeat("seen ", 2000), "\xff\x02\x03", "-seen"} {
		r := owner.Get(query(odd)).Status(http.StatusOK)
		if strings.Contains(r.Body, "<script>alert") || strings.Contains(r.Body, "For the shop only") {
			t.Errorf("%.40q: %s", odd, servertest.Words(r.Body))
		}
	}
	s.As(s.Add("owner", "Somebody Else")).Get(query("seen")).Status(http.StatusNotFound)
	owner.Get("/builds/" + string(heron.ID) + "/journal").Check(htmlcheck.In(`form[role=search] input[name=q]`))
}
