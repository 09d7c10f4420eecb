package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server"
	"farbay/server/servertest"
	"farbay/views"
)

// Promises 1, 4 and 6 when the process is killed: a real farbay, served from a
// real folder, gets SIGKILL at a random moment while photos come in, an owner
// signs and the office closes a stage. Afterwards "farbay check" must find
// nothing, and whatever was acknowledged must be there.

// killRounds is how many times the process is killed.
const killRounds = 16

// farbayBinary builds the program once for the tests that need a process.
var farbayBinary = sync.OnceValues(func() (string, error) {
	at := filepath.Join(tempRoot, "farbay")
	out, err := exec.Command("go", "build", "-o", at, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("go build: %w\n%s", err, out)
	}
	return at, nil
})

// killed is a shop whose server is killed over and over.
type killed struct {
	t      testing.TB
	binary string
	dir    string
	office journal.Person
	floor  journal.Person
	owner  journal.Person
	build  journal.BuildID
	rand   *rand.Rand
	photos int // so far, for the seeds

	clients map[journal.PersonID]*http.Client
}

// sentPaper is a paper that is out, with the hash of its revision.
type sentPaper struct {
	signoff.Paper
	hash string
}

// acknowledged is what the server said it had done before it was killed.
type acknowledged struct {
	events chan struct{} // one for each answer
	mu     sync.Mutex
	photos []string // SHA-256 of files answered with an id
	signed bool
	closed bool
}

func TestKilledProcess(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills a process many times")
	}
	binary, err := farbayBinary()
	if err != nil {
		t.Fatal(err)
	}
	seed := rand.Uint64()
	t.Logf("random seed %d", seed)
	k := &killed{t: t, binary: binary, dir: t.TempDir(), rand: rand.New(rand.NewPCG(seed, 1)), clients: map[journal.PersonID]*http.Client{}}
	k.inside(func(app *server.App) { k.open(app) })
	var signed, closed, kept int
	for round := range killRounds {
		paper, stage := k.prepare(round)
		said := k.round(paper, stage)
		k.check(said, paper, stage)
		kept += len(said.photos)
		if said.signed {
			signed++
		}
		if said.closed {
			closed++
		}
	}
	t.Logf("%d rounds: %d photos, %d signatures and %d closes were acknowledged before the kill", killRounds, kept, signed, closed)
	if kept == 0 || signed == 0 || closed == 0 {
		t.Error("the kills come too early to test anything")
	}
	if signed == killRounds && closed == killRounds {
		t.Error("the kills come too late to test anything")
	}
}

// inside works on the folder without serving it.
func (k *killed) inside(f func(*server.App)) {
	k.t.Helper()
	cfg := server.Default()
	cfg.DataDir = k.dir
	app, err := server.Open(cfg, server.WithLog(slog.New(slog.DiscardHandler)))
	if err != nil {
		k.t.Fatal(err)
	}
	f(app)
	if err := app.Close(); err != nil {
		k.t.Fatal(err)
	}
}

func (k *killed) ok(err error) {
	k.t.Helper()
	if err != nil {
		k.t.Fatal(err)
	}
}

// open makes the shop, its people and a build with a stage for every round.
func (k *killed) open(app *server.App) {
	k.t.Helper()
	ctx, steps := context.Background(), app.Steps()
	k.ok(steps.SeedShop(ctx, flow.FirstShop()))
	k.ok(steps.SeedPlans(ctx))
	add := func(name string, role journal.Role) journal.Person {
		p, err := steps.AddPerson(ctx, servertest.Setter, journal.Person{Name: name, Email: string(role) + "@people.example", Role: role})
		k.ok(err)
		return p
	}
	k.office, k.floor, k.owner = add("Odile Marchbank", journal.Office), add("Fenn Askew", journal.Floor), add("Orla Wintle", journal.Owner)
	office := servertest.Actor(k.office)
	plans, err := steps.Plans(ctx, office)
	k.ok(err)
	k.build, err = steps.CreateBuild(ctx, office, flow.NewBuild{Nickname: "Heron", PlanID: plans[0].ID, Truck: journal.Truck{Make: "Ostler", Unit: "miles"}})
	k.ok(err)
	k.ok(steps.AddOwner(ctx, office, k.build, flow.NewMember{PersonID: k.owner.ID, As: journal.AsOwner}))
	view, err := steps.BuildShow(ctx, office, k.build)
	k.ok(err)
	var rows []flow.StageScope
	for _, st := range view.Stages {
		rows = append(rows, flow.StageScope{StageID: st.ID, Version: st.Version, Drop: true})
	}
	for round := range killRounds {
		rows = append(rows, flow.StageScope{Name: fmt.Sprintf("Stage %d", round), PlannedDays: 1, Value: journal.Split{Labour: 100_000}})
	}
	// One more stage bears the papers and is never closed.
	rows = append(rows, flow.StageScope{Name: "Papers", PlannedDays: 1, Value: journal.Split{Labour: 100_000}})
	k.ok(steps.SaveScope(ctx, office, k.build, rows))
	if view, err = steps.BuildShow(ctx, office, k.build); err != nil {
		k.t.Fatal(err)
	}
	k.ok(steps.RecordAgreement(ctx, office, k.build, flow.Agreement{Version: view.Build.Version, On: "2026-01-05", How: "on paper", ReadyOn: "2027-01-05", Total: journal.Cents(killRounds+1) * 100_000}))
	word := flow.TestWord(k.owner.ID, views.ConsentVersion)
	k.ok(steps.GiveConsent(ctx, servertest.Actor(k.owner), views.ConsentVersion, views.ConsentSHA256(), word))
}

// prepare opens a stage and sends a paper that bears on another one.
func (k *killed) prepare(round int) (out sentPaper, stage journal.StageID) {
	k.t.Helper()
	k.inside(func(app *server.App) {
		ctx, steps, office := context.Background(), app.Steps(), servertest.Actor(k.office)
		view, err := steps.BuildShow(ctx, office, k.build)
		k.ok(err)
		stage = view.Stages[round].ID
		k.ok(steps.OpenStage(ctx, office, k.build, stage))
		paper, err := steps.NewPaper(ctx, office, k.build, flow.PaperStart{Kind: signoff.ChangeOrder})
		k.ok(err)
		paper, err = steps.SavePaper(ctx, office, k.build, paper.ID, paper.Version, signoff.Draft{
			Title: "Pans", Reason: "Rust.", StageID: view.Stages[killRounds].ID,
			Lines: []signoff.Line{{Kind: journal.Parts, Text: "Pan", Amount: 12_345}},
		})
		k.ok(err)
		paper, err = steps.SendPaper(ctx, office, k.build, paper.ID, paper.Version)
		k.ok(err)
		sent, err := steps.PaperPage(ctx, office, k.build, paper.ID)
		k.ok(err)
		out = sentPaper{paper, sent.SHA256()}
		for _, p := range []journal.Person{k.office, k.floor, k.owner} {
			if k.clients[p.ID] == nil {
				k.clients[p.ID] = k.client(app, p)
			}
		}
	})
	return out, stage
}

// client makes a browser with a session of p.
func (k *killed) client(app *server.App, p journal.Person) *http.Client {
	k.t.Helper()
	ctx := context.Background()
	token := fmt.Sprintf("link-for-%s-%d", p.ID, k.rand.Uint64())
	_, err := app.Steps().MakeLink(ctx, servertest.Setter, p.ID, flow.NewLink{Token: token, Purpose: journal.LinkSignIn, Life: time.Hour})
	k.ok(err)
	session := fmt.Sprintf("session-of-%s-%d", p.ID, k.rand.Uint64())
	_, err = app.Steps().EnterByLink(ctx, token, flow.NewSession{Token: session, Life: time.Hour})
	k.ok(err)
	jar, err := cookiejar.New(nil)
	k.ok(err)
	jar.SetCookies(&url.URL{Scheme: "http", Host: "127.0.0.1", Path: "/"}, []*http.Cookie{{Name: "farbay", Value: session, Path: "/"}})
	return &http.Client{Jar: jar, Timeout: 30 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

// round serves the folder with a real process, lets everybody act, kills the
// process after a random while, and returns what was acknowledged.
func (k *killed) round(paper sentPaper, stage journal.StageID) *acknowledged {
	k.t.Helper()
	process := startServe(k.t, k.binary, k.dir)
	said := &acknowledged{events: make(chan struct{}, 100)}
	var acts sync.WaitGroup
	for range 3 {
		files := [][]byte{k.photo(), k.photo(), k.photo()}
		acts.Go(func() { k.upload(process.url, files, said) })
	}
	acts.Go(func() { k.sign(process.url, paper, said) })
	acts.Go(func() { k.close(process.url, stage, said) })
	// The moment is a random while after a random number of answers, so that it
	// falls among the acts on a fast and on a slow machine.
	for range k.rand.IntN(8) {
		select {
		case <-said.events:
		case <-time.After(20 * time.Second):
			k.t.Fatalf("the server does not answer:\n%s", process.log.String())
		case <-process.ended:
			k.t.Fatalf("the server ended by itself:\n%s", process.log.String())
		}
	}
	<-time.After(time.Duration(k.rand.IntN(15_000)) * time.Microsecond)
	k.ok(process.cmd.Process.Kill())
	<-process.ended
	acts.Wait()
	return said
}

func (k *killed) photo() []byte {
	k.photos++
	return servertest.JPEG(k.t, k.photos)
}

// upload posts photos one after the other until the server is gone.
func (k *killed) upload(base string, files [][]byte, said *acknowledged) {
	for _, file := range files {
		var body bytes.Buffer
		form := multipart.NewWriter(&body)
		part, err := form.CreateFormFile("photos", "photo.jpg")
		if err == nil {
			_, err = part.Write(file)
		}
		if err = errors.Join(err, form.Close()); err != nil {
			k.t.Error(err)
			return
		}
		answer, done := k.post(k.floor, base, "/photos", form.FormDataContentType(), &body)
		var got struct{ Photos []struct{ ID string } }
		if !done || json.Unmarshal(answer, &got) != nil || len(got.Photos) != 1 || got.Photos[0].ID == "" {
			return // killed before it had answered
		}
		sum := sha256.Sum256(file)
		said.mu.Lock()
		said.photos = append(said.photos, hex.EncodeToString(sum[:]))
		said.mu.Unlock()
		said.events <- struct{}{}
	}
}

func (k *killed) sign(base string, paper sentPaper, said *acknowledged) {
	form := url.Values{"revision": {fmt.Sprint(paper.Revision)}, "sha256": {paper.hash}, "name": {"Orla Wintle"}, "sure": {"yes"}}
	_, done := k.post(k.owner, base, "/papers/"+string(paper.ID)+"/sign", "application/x-www-form-urlencoded", strings.NewReader(form.Encode()))
	said.mu.Lock()
	said.signed = done
	said.mu.Unlock()
	said.events <- struct{}{}
}

func (k *killed) close(base string, stage journal.StageID, said *acknowledged) {
	_, done := k.post(k.office, base, "/stages/"+string(stage)+"/close", "application/x-www-form-urlencoded", strings.NewReader(""))
	said.mu.Lock()
	said.closed = done
	said.mu.Unlock()
	said.events <- struct{}{}
}

// post sends a form of the build and returns the whole answer; done is false
// when the server was gone before it had answered with success.
func (k *killed) post(p journal.Person, base, path, kind string, body io.Reader) (answer []byte, done bool) {
	r, err := http.NewRequest(http.MethodPost, base+"/builds/"+string(k.build)+path, body)
	if err != nil {
		k.t.Error(err)
		return nil, false
	}
	r.Header.Set("Content-Type", kind)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if strings.HasPrefix(kind, "multipart") {
		r.Header.Set("Accept", "application/json")
	}
	got, err := k.clients[p.ID].Do(r)
	if err != nil {
		return nil, false
	}
	defer got.Body.Close()
	if answer, err = io.ReadAll(got.Body); err != nil {
		return nil, false
	}
	if got.StatusCode >= http.StatusBadRequest {
		k.t.Errorf("%s answered %d: %s", path, got.StatusCode, servertest.Words(string(answer)))
		return nil, false
	}
	return answer, true
}

// check runs "farbay check" on the folder, and then looks for everything that
// was acknowledged.
func (k *killed) check(said *acknowledged, paper sentPaper, stage journal.StageID) {
	k.t.Helper()
	out, err := exec.Command(k.binary, "check", "--data", k.dir).CombinedOutput()
	if err != nil {
		k.t.Fatalf("farbay check: %v\n%s", err, out)
	}
	k.inside(func(app *server.App) {
		ctx, office := context.Background(), servertest.Actor(k.office)
		for _, sha := range said.photos {
			if err := app.Storage().Verify(ctx, sha); err != nil {
				k.t.Errorf("an acknowledged photo: %v", err)
			}
			k.ok(app.Steps().Store.Read(ctx, func(r flow.Reads) error {
				_, err := r.PhotoBySHA(k.build, sha)
				return err
			}))
		}
		v, err := app.Steps().PaperPage(ctx, office, k.build, paper.ID)
		k.ok(err)
		if said.signed && v.Decision == nil {
			k.t.Error("an acknowledged signature is not there")
		}
		st, err := app.Steps().StageOf(ctx, office, k.build, stage)
		k.ok(err)
		if said.closed && (st.Stage.State != journal.Closed || len(st.Invoices) != 1) {
			k.t.Errorf("an acknowledged close left the stage %s with %d invoices", st.Stage.State, len(st.Invoices))
		}
		if len(st.Invoices) > 1 || st.Stage.State == journal.UnderWay && len(st.Invoices) != 0 {
			k.t.Errorf("the stage is %s with %d invoices", st.Stage.State, len(st.Invoices))
		}
	})
}
