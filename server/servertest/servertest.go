// Package servertest starts the real server for tests: on a free port, over a
// folder of its own, with a clock that stands still until it is told to move,
// mail that is caught, and browsers that are signed in.
package servertest

import (
	"context"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
)

// Begin is the time at which every test begins: a Tuesday, nine o'clock in the
// morning at the shop.
var Begin = time.Date(2026, time.April, 14, 15, 0, 0, 0, time.UTC)

// Shop is the invented shop.
var Shop = journal.Shop{
	Name: "Tern Hollow Truck Works", Address: "14 Quarry Road\nTern Hollow", Phone: "555 0114", Email: "office@ternhollow.example",
	Zone: "America/Denver", Currency: "USD", LabourRate: 9500, QuietDays: 14,
}

// Server is a running server.
type Server struct {
	App   *server.App
	URL   string
	Dir   string // data folder
	Clock *Clock
	Mail  *Mail
	Log   *Log

	Office journal.Person // each can sign in
	Floor  journal.Person
	Owner  journal.Person // belongs to no build

	tb testing.TB
}

// Option changes the settings before the server is opened.
type Option func(*server.Config)

// New starts a server with one person of each role, and stops it when the test
// ends. Jobs run in the background as in real life; [Server.Settle] waits for
// them.
func New(tb testing.TB, options ...Option) *Server {
	tb.Helper()
	return Start(tb, tb.TempDir(), NewClock(), options...)
}

// Start is New over a folder and a clock that may have been used before, as
// after a restart. People who are there already are kept.
func Start(tb testing.TB, dir string, clock *Clock, options ...Option) *Server {
	tb.Helper()
	cfg := server.Default()
	cfg.Addr, cfg.DataDir, cfg.LogLevel = "127.0.0.1:0", dir, "debug"
	for _, option := range options {
		option(&cfg)
	}
	s := &Server{Dir: dir, Clock: clock, Mail: &Mail{}, Log: &Log{}, tb: tb}
	opened := []server.Option{
		server.WithClock(clock.Now), server.WithLog(slog.New(slog.NewTextHandler(s.Log, &slog.HandlerOptions{Level: slog.LevelDebug}))),
	}
	if cfg.SMTPHost == "" {
		opened = append(opened, server.WithMailer(s.Mail))
	}
	app, err := server.Open(cfg, opened...)
	if err != nil {
		tb.Fatalf("servertest: open: %v", err)
	}
	s.App = app
	if err := app.Listen(); err != nil {
		tb.Fatalf("servertest: %v", err)
	}
	s.URL = "http://" + app.Addr()
	s.run()
	s.seed()
	return s
}

func (s *Server) run() {
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.App.Run(ctx) }()
	s.tb.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			s.tb.Errorf("servertest: run: %v", err)
		}
		if err := s.App.Close(); err != nil {
			s.tb.Errorf("servertest: close: %v", err)
		}
		if s.tb.Failed() {
			s.tb.Logf("server log:\n%s", s.Log.Tail(60))
		}
	})
}

func (s *Server) seed() {
	s.tb.Helper()
	ctx := context.Background()
	err := s.App.Steps().Store.Write(ctx, func(tx flow.Tx) error {
		if _, err := tx.Shop(); journal.CodeOf(err) != journal.NotFound {
			return err
		}
		return tx.SaveShop(Shop)
	})
	if err != nil {
		s.tb.Fatalf("servertest: shop: %v", err)
	}
	if err := s.App.Steps().SeedPlans(ctx); err != nil {
		s.tb.Fatalf("servertest: plans: %v", err)
	}
	s.Office = s.Add(journal.Office, "Odile Marchbank")
	s.Floor = s.Add(journal.Floor, "Fenn Askew")
	s.Owner = s.Add(journal.Owner, "Orla Wintle")
}

// Setter acts for the office in setting tests up.
var Setter = flow.Actor{Person: journal.Person{Name: "test", Role: journal.Office}}

// Add adds a person, whose address is made from the name; somebody who is there
// already is returned.
func (s *Server) Add(role journal.Role, name string) journal.Person {
	s.tb.Helper()
	email := strings.ToLower(strings.ReplaceAll(name, " ", ".")) + "@people.example"
	ctx := context.Background()
	var p journal.Person
	err := s.App.Steps().Store.Read(ctx, func(r flow.Reads) (err error) {
		p, err = r.PersonByEmail(email)
		return err
	})
	if err == nil {
		return p
	}
	p, err = s.App.Steps().AddPerson(ctx, Setter, journal.Person{Name: name, Email: email, Role: role})
	if err != nil {
		s.tb.Fatalf("servertest: add %s: %v", name, err)
	}
	return p
}

// Actor returns p as the one who does a step.
func Actor(p journal.Person) flow.Actor {
	return flow.Actor{Person: p, Address: "192.0.2.1", UserAgent: "test"}
}

// Settle does what is due of the jobs, and returns when none is left that is
// due now. Jobs a background worker has in hand are waited for.
func (s *Server) Settle() {
	s.tb.Helper()
	deadline := time.NewTimer(time.Minute)
	defer deadline.Stop()
	again := time.NewTicker(5 * time.Millisecond)
	defer again.Stop()
	for {
		if _, err := s.App.RunDue(context.Background()); err != nil {
			s.tb.Fatalf("servertest: jobs: %v", err)
		}
		if !s.App.Working() {
			return
		}
		select {
		case <-again.C:
		case <-deadline.C:
			s.tb.Fatal("servertest: jobs do not end")
		}
	}
}

// Clock is a clock that is moved by hand. It is safe for concurrent use.
type Clock struct {
	mu  sync.Mutex
	now time.Time
}

// NewClock returns a clock that stands at Begin.
func NewClock() *Clock { return &Clock{now: Begin} }

// Now returns the time it stands at, in UTC.
func (c *Clock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Pass moves the clock on.
func (c *Clock) Pass(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
}

// Mail catches letters in place of a mail server.
type Mail struct {
	mu      sync.Mutex
	letters []journal.Letter
	fault   error
}

// Send implements [server.Mailer].
func (m *Mail) Send(_ context.Context, letter journal.Letter) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fault != nil {
		return m.fault
	}
	m.letters = append(m.letters, letter)
	return nil
}

// FailWith makes every sending fail with err, until it is nil again.
func (m *Mail) FailWith(err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.fault = err
}

// To returns the letters sent to an address, oldest first.
func (m *Mail) To(address string) []journal.Letter {
	m.mu.Lock()
	defer m.mu.Unlock()
	var found []journal.Letter
	for _, l := range m.letters {
		if l.To == address {
			found = append(found, l)
		}
	}
	return found
}

// Log keeps what the server logs.
type Log struct {
	mu    sync.Mutex
	lines []string
}

// Write implements [io.Writer], one line a call.
func (l *Log) Write(line []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lines = append(l.lines, strings.TrimRight(string(line), "\n"))
	return len(line), nil
}

// Tail returns the last n lines.
func (l *Log) Tail(n int) string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return strings.Join(l.lines[max(0, len(l.lines)-n):], "\n")
}

// All returns everything logged.
func (l *Log) All() string { return l.Tail(1 << 30) }

// LinkIn returns the path of the link in a letter's text that begins with
// prefix, such as "/enter/".
func (s *Server) LinkIn(letter journal.Letter, prefix string) (string, error) {
	for _, word := range strings.Fields(letter.Text) {
		if path, found := strings.CutPrefix(word, s.App.URL()); found && strings.HasPrefix(path, prefix) {
			return path, nil
		}
	}
	return "", fmt.Errorf("there is no link %s... in: %s", prefix, letter.Text)
}
