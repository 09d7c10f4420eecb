package server_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"farbay/server/servertest"
)

// Each figure of the statement leads to a page whose sum is that figure, and whose
// records lead on to pages that are there. Without scripts: plain links.
func TestStatement_EveryFigureLeadsToItsRecords(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	owner := s.As(s.Owner)
	page := owner.Get("/builds/" + string(b.ID) + "/statement").Status(http.StatusOK).Body
	links := regexp.MustCompile(`<a class="fig" href="([^"]+)">([^<]+)</a>`)
	figures := links.FindAllStringSubmatch(page, -1)
	if len(figures) < 20 {
		t.Fatalf("%d figures on the statement:\n%s", len(figures), page)
	}
	foot := regexp.MustCompile(`(?s)<tfoot>.*<td class="n">([^<]+)</td>`)
	records, seen := 0, map[string]bool{}
	for _, f := range figures {
		why := owner.Get(strings.ReplaceAll(f[1], "&amp;", "&")).Status(http.StatusOK).Body
		sum := foot.FindStringSubmatch(why)
		if want := strings.TrimPrefix(f[2], "+\u00a0"); sum == nil && !strings.Contains(f[2], "0.00") || sum != nil && sum[1] != want {
			t.Errorf("%s is %s, and its records come to %q", f[1], f[2], sum)
		}
		for _, record := range links.FindAllStringSubmatch(why, -1) {
			records++
			if path, _, _ := strings.Cut(record[1], "?"); !seen[path] {
				seen[path] = true
				owner.Get(path).Status(http.StatusOK)
			}
		}
	}
	if records == 0 || len(seen) < 3 {
		t.Errorf("%d records, which lead to %v", records, seen)
	}
}

func TestStatement_DaysThatCannotBeTaken(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	office, at := s.As(s.Office), "/builds/"+string(b.ID)
	for _, c := range []struct{ name, query, says string }{
		{"a day to come", "on=2099-01-01", "That day is still to come"},
		{"no day", "on=", "Please give the day"},
		{"no date", "on=tomorrow", "value=\"tomorrow\""},
		{"hostile", "on=" + url.QueryEscape(`"><script>x</script>`), "&lt;script&gt;"},
		{"ends before it begins", "on=2026-04-01&since=2026-04-02", "The period begins after the day"},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, form := range []string{"/statement", "/application", "/statement/figure"} {
				page := office.Get(at + form + "?figure=paid&" + c.query).Status(http.StatusUnprocessableEntity).Body
				if !strings.Contains(page, c.says) || strings.Contains(page, "<script>x") {
					t.Errorf("%s says\n%s", form, page)
				}
			}
			for _, file := range []string{"/statement.pdf", "/statement.csv", "/application.pdf", "/application.csv"} {
				office.Get(at + file + "?" + c.query).Status(http.StatusUnprocessableEntity)
			}
		})
	}
	for _, query := range []string{"figure=", "figure=turnover", "figure=tax&stage=none", "figure=paid&stage=nowhere"} {
		office.Get(at + "/statement/figure?" + query).Status(http.StatusNotFound)
	}
}

func TestStatement_Files(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	owner := s.As(s.Owner)
	for file, want := range map[string][2]string{
		"statement.pdf": {"application/pdf", "%PDF-1.7"}, "application.pdf": {"application/pdf", "%PDF-1.7"},
		"statement.csv": {"text/csv; charset=utf-8; header=present", "as_of,since,"}, "application.csv": {"text/csv; charset=utf-8; header=present", "as_of,since,"},
	} {
		reply := owner.Get("/builds/" + string(b.ID) + "/" + file).Status(http.StatusOK)
		if got := reply.Header.Get("Content-Type"); got != want[0] || !strings.HasPrefix(reply.Body, want[1]) {
			t.Errorf("%s is %s: %.40q", file, got, reply.Body)
		}
		if kept := reply.Header.Get("Cache-Control"); !strings.HasPrefix(kept, "private") {
			t.Errorf("%s may be kept: %s", file, kept)
		}
		if name := reply.Header.Get("Content-Disposition"); !strings.Contains(name, "heron ") {
			t.Errorf("%s is called %s", file, name)
		}
	}
}
