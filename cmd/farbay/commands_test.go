package main

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"farbay/server"
)

func noEnv(string) (string, bool) { return "", false }

// do runs a command to its end and returns its exit code and what it printed.
func do(t *testing.T, env server.Env, args ...string) (code int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	code = run(t.Context(), args, streams{out: &stdout, err: &stderr, env: env})
	return code, stdout.String(), stderr.String()
}

func TestUsage(t *testing.T) {
	tests := []struct {
		name string
		args []string
		code int
		says string
	}{
		{"nothing", nil, 2, "Commands:"},
		{"help", []string{"help"}, 0, "Commands:"},
		{"--help", []string{"--help"}, 0, "Commands:"},
		{"unknown command", []string{"server"}, 2, `no command "server"`},
		{"unknown flag", []string{"serve", "--adr", "x"}, 1, "adr"},
		{"left over", []string{"serve", "now"}, 2, `"now" is no flag`},
		{"unknown act", []string{"person", "remove"}, 2, "none of add, list, end, link"},
		{"wrong setting", []string{"serve", "--workers", "0"}, 1, "--workers 0 is not between 1 and 256"},
		{"no person", []string{"person", "end", "--data", t.TempDir()}, 1, "--email"},
		{"unknown person", []string{"person", "link", "--data", t.TempDir(), "--email", "a@b.example"}, 1, "no account with the address a@b.example"},
		{"person that does not fit", []string{"person", "add", "--data", t.TempDir(), "--role", "boss", "--name", "A", "--email", "a"}, 1, "--role: Please choose office, floor or owner."},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			code, out, errs := do(t, noEnv, test.args...)
			if code != test.code || !strings.Contains(out+errs, test.says) {
				t.Errorf("exit %d, want %d, with %q in:\n%s%s", code, test.code, test.says, out, errs)
			}
		})
	}
}

// Every command has a help, and serve's lists every setting with its variable.
func TestHelp(t *testing.T) {
	for _, c := range commands() {
		code, out, errs := do(t, noEnv, c.name, "--help")
		if code != 0 || errs != "" || !strings.HasPrefix(out, "Usage: farbay "+c.name) {
			t.Errorf("%s --help: exit %d, %q, %q", c.name, code, out, errs)
		}
	}
	_, out, _ := do(t, noEnv, "serve", "--help")
	cfg, flags := server.Default(), flag.NewFlagSet("", flag.ContinueOnError)
	cfg.Flags(flags)
	flags.VisitAll(func(f *flag.Flag) {
		if !strings.Contains(out, "--"+f.Name+" ") || !strings.Contains(out, server.EnvName(f.Name)) || !strings.Contains(out, f.DefValue) {
			t.Errorf("serve --help lacks --%s, its variable or its default %q", f.Name, f.DefValue)
		}
	})
	if !strings.Contains(out, "FARBAY_SMTP_PASSWORD_FILE") {
		t.Error("serve --help lacks the password's file")
	}
}

func TestVersion(t *testing.T) {
	code, out, _ := do(t, noEnv, "version", "--json")
	var line versionLine
	if err := json.Unmarshal([]byte(out), &line); code != 0 || err != nil || !strings.HasPrefix(line.Go, "go1.") || line.Version == "" {
		t.Errorf("version --json: exit %d, %v, %s", code, err, out)
	}
	if code, out, _ := do(t, noEnv, "version"); code != 0 || !strings.HasPrefix(out, "farbay ") {
		t.Errorf("version: exit %d, %s", code, out)
	}
}

// people runs "person list --json".
func people(t *testing.T, dir string) map[string]personLine {
	t.Helper()
	code, out, errs := do(t, noEnv, "person", "list", "--json", "--data", dir)
	if code != 0 {
		t.Fatalf("list: exit %d: %s", code, errs)
	}
	all := map[string]personLine{}
	for dec := json.NewDecoder(strings.NewReader(out)); ; {
		var line personLine
		if err := dec.Decode(&line); err == io.EOF {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all[line.Email] = line
	}
}

var printedLink = regexp.MustCompile(`(http\S+)(/(?:set-password|enter)/\S+)`)

func TestPersonCommands(t *testing.T) {
	dir := t.TempDir()
	code, out, errs := do(t, noEnv, "person", "add", "--data", dir, "--base-url", "https://portal.example.org",
		"--role", "office", "--name", "Odile Marchbank", "--email", " Odile@People.example ")
	link := printedLink.FindStringSubmatch(out)
	if code != 0 || link == nil || link[1] != "https://portal.example.org" || !strings.HasPrefix(link[2], "/set-password/") {
		t.Fatalf("add: exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := do(t, noEnv, "person", "add", "--data", dir, "--role", "floor", "--name", "Other", "--email", "odile@people.example"); code != 1 ||
		!strings.Contains(errs, "--email: Odile Marchbank has an account with this address already.") {
		t.Errorf("the same address again: exit %d: %s", code, errs)
	}
	if code, _, errs := do(t, noEnv, "person", "end", "--data", dir, "--email", "odile@people.example"); code != 1 || !strings.Contains(errs, "last office account") {
		t.Errorf("ending the last office account: exit %d: %s", code, errs)
	}
	env := func(name string) (string, bool) { return dir, name == "FARBAY_DATA" }
	code, out, errs = do(t, env, "person", "add", "--role", "owner", "--name", "Orla Wintle", "--email", "orla@people.example")
	if link = printedLink.FindStringSubmatch(out); code != 0 || link == nil || !strings.HasPrefix(link[2], "/enter/") {
		t.Fatalf("add an owner: exit %d: %s%s", code, out, errs)
	}
	if code, out, errs := do(t, env, "person", "link", "--email", "ORLA@people.example"); code != 0 || !printedLink.MatchString(out) {
		t.Errorf("link: exit %d: %s%s", code, out, errs)
	}
	if code, _, errs := do(t, env, "person", "end", "--email", "orla@people.example"); code != 0 {
		t.Errorf("end: exit %d: %s", code, errs)
	}
	if code, _, errs := do(t, env, "person", "link", "--email", "orla@people.example"); code != 1 || !strings.Contains(errs, "closed") {
		t.Errorf("link for a closed account: exit %d: %s", code, errs)
	}
	all := people(t, dir)
	if len(all) != 2 || all["odile@people.example"].Role != "office" || all["odile@people.example"].Ended != nil || all["orla@people.example"].Ended == nil {
		t.Errorf("list: %+v", all)
	}
	if code, out, _ := do(t, env, "person"); code != 0 || !strings.Contains(out, "Orla Wintle") || !strings.Contains(out, "closed") {
		t.Errorf("person alone lists: exit %d: %s", code, out)
	}
}

// The first start prints a link that makes the first office account; it works
// once, and the next start prints none.
func TestFirstServe(t *testing.T) {
	dir := t.TempDir()
	out := serveUntil(t, dir, func(out string) {
		link := printedLink.FindStringSubmatch(out)
		if link == nil {
			t.Fatalf("no set-up link in: %s", out)
		}
		jar, err := cookiejar.New(nil)
		if err != nil {
			t.Fatal(err)
		}
		browser := &http.Client{Jar: jar, Timeout: time.Minute}
		post := func(form url.Values) (int, string) {
			t.Helper()
			r, err := browser.PostForm(link[0], form)
			if err != nil {
				t.Fatal(err)
			}
			defer r.Body.Close()
			body, err := io.ReadAll(r.Body)
			if err != nil {
				t.Fatal(err)
			}
			return r.StatusCode, string(body)
		}
		if code, body := post(url.Values{"name": {"Odile Marchbank"}, "email": {"odile"}, "password": {"short"}}); code != http.StatusUnprocessableEntity ||
			!strings.Contains(body, "Odile Marchbank") || !strings.Contains(body, "at least 15 characters") || !strings.Contains(body, "e-mail address such as") {
			t.Errorf("what does not fit: status %d: %s", code, body)
		}
		good := url.Values{"name": {"Odile Marchbank"}, "email": {"odile@people.example"}, "password": {"seven rusty hinges"}}
		if code, body := post(good); code != http.StatusOK || !strings.Contains(body, "Your password is set and you are signed in.") {
			t.Errorf("set up: status %d: %s", code, body)
		}
		if code, _ := post(good); code == http.StatusOK {
			t.Errorf("the link works twice: status %d", code)
		}
	})
	if strings.Count(out, "/set-password/") != 1 {
		t.Errorf("printed: %s", out)
	}
	if all := people(t, dir); len(all) != 1 || all["odile@people.example"].Role != "office" || !all["odile@people.example"].Password {
		t.Errorf("people: %+v", all)
	}
	if out := serveUntil(t, dir, func(string) {}); strings.Contains(out, "/set-password/") || !strings.Contains(out, "Farbay is at http://127.0.0.1:") {
		t.Errorf("the second start prints: %s", out)
	}
}

// serveUntil runs "serve" on the folder, calls f with what it has printed once
// it is there, stops it and returns all it printed.
func serveUntil(t *testing.T, dir string, f func(out string)) string {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	printed, w := io.Pipe()
	var all bytes.Buffer
	ended := make(chan int, 1)
	var log safeBuffer
	go func() {
		code := run(ctx, []string{"serve", "--data", dir, "--addr", "127.0.0.1:0"}, streams{out: io.MultiWriter(w, &all), err: &log, env: noEnv})
		w.Close()
		ended <- code
	}()
	first := make([]byte, 4096)
	n, err := printed.Read(first)
	if err != nil {
		t.Fatalf("serve: %v: %s", err, log.String())
	}
	go io.Copy(io.Discard, printed)
	f(string(first[:n]))
	stop()
	if code := <-ended; code != 0 {
		t.Errorf("serve: exit %d: %s", code, log.String())
	}
	return all.String()
}
