package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"farbay/cmd/farbay/scenario"
	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/views"
)

// demoLinkLife is how long the printed sign-in links work.
const demoLinkLife = 12 * time.Hour

// demo fills an empty folder with an invented shop and serves it until ctx
// ends. A folder that it filled before is served as it was left.
func demo(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	cfg := server.Default()
	cfg.DataDir, cfg.Demo, cfg.LogLevel = "farbay-demo", true, "warn"
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` for the invented shop; it must be empty, or filled by this command before")
	flags.StringVar(&cfg.Addr, "addr", cfg.Addr, "`host:port` to listen on; port 0 takes any free one")
	flags.StringVar(&cfg.LogLevel, "log-level", cfg.LogLevel, "least `level` logged: debug, info, warn or error")
	rest, err := cfg.Load(flags, args, w.env)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		fmt.Fprintf(w.err, "farbay demo: %q is no flag. \"farbay demo --help\" lists them.\n", rest[0])
		return errUsage
	}
	state := demoState{dir: cfg.DataDir}
	if err := state.begin(); err != nil {
		return err
	}
	app, err := server.Open(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, app.Close()) }()
	if err := app.Listen(); err != nil {
		return err
	}
	photos, err := tell(ctx, app, state)
	if err != nil {
		return err
	}
	if err := printDemo(ctx, app, cfg, w.out); err != nil {
		return err
	}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return app.Run(ctx) })
	group.Go(func() error { return handIn(ctx, photos, cfg.Workers, state, w.out) })
	return group.Wait()
}

// demoShop is what the story is told to.
func demoShop(app *server.App) scenario.Shop {
	return scenario.Shop{
		Steps: app.Steps(),
		Take: func(ctx context.Context, s *flow.Steps, a flow.Actor, build journal.BuildID, name string, r io.Reader) (journal.Photo, error) {
			intake := app.Intake()
			intake.Steps = s
			taken, err := intake.Take(ctx, a, build, name, r)
			return taken.Photo, err
		},
		Hash: func(password string) (string, error) {
			return app.HashPassword(context.Background(), password)
		},
		ConsentVersion: views.ConsentVersion, ConsentSHA256: views.ConsentSHA256(),
	}
}

// tell tells the story to a new folder, and in any case returns the photos that
// are still to be handed in; nil when all are in.
func tell(ctx context.Context, app *server.App, state demoState) (*scenario.Photos, error) {
	stage, err := state.read()
	if err != nil {
		return nil, err
	}
	switch stage {
	case demoReady:
		return nil, nil
	case demoTold:
		text, err := os.ReadFile(state.photosFile())
		if err != nil {
			return nil, err
		}
		return scenario.Resume(ctx, demoShop(app), text)
	}
	photos, err := scenario.Tell(ctx, demoShop(app))
	if err != nil {
		return nil, err
	}
	text, err := photos.MarshalJSON()
	if err != nil {
		return nil, err
	}
	if err := os.WriteFile(state.photosFile(), text, 0o600); err != nil {
		return nil, err
	}
	return photos, state.write(demoTold)
}

// handIn hands in the story's photos while the shop is being served.
func handIn(ctx context.Context, photos *scenario.Photos, workers int, state demoState, out io.Writer) error {
	if photos == nil {
		return nil
	}
	began := time.Now()
	if err := photos.HandIn(ctx, workers); err != nil {
		if errors.Is(err, context.Canceled) {
			return nil // stopped; the next start goes on
		}
		return err
	}
	fmt.Fprintf(out, "All photos are in, after %.0f seconds.\n", time.Since(began).Seconds())
	if err := state.write(demoReady); err != nil {
		return err
	}
	return os.Remove(state.photosFile())
}

// printDemo prints the address and, for each role, a link that signs in.
func printDemo(ctx context.Context, app *server.App, cfg server.Config, out io.Writer) error {
	fmt.Fprintf(out, "Tern Hollow Truck Works, an invented shop, is at %s\n\nSign in with one of these links; each works once, for %d hours:\n\n",
		app.URL(), int(demoLinkLife.Hours()))
	office := flow.Actor{Person: journal.Person{Role: journal.Office}}
	for _, role := range []struct{ name, email string }{
		{"office", scenario.OfficeEmail}, {"floor", scenario.FloorEmail}, {"owner", scenario.OwnerEmail},
	} {
		person, err := personByEmail(ctx, app, role.email)
		if err != nil {
			return err
		}
		token, err := newToken()
		if err != nil {
			return err
		}
		path, err := app.Steps().MakeLink(ctx, office, person.ID, flow.NewLink{Token: token, Purpose: journal.LinkSignIn, Life: demoLinkLife})
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "  %-7s %s%s\n", role.name, app.URL(), path)
	}
	fmt.Fprintf(out, "\nThe shop's people can also sign in by e-mail and password: %s or %s, %s\nMail is not sent; the office reads it under Letters. The folder is %s; Ctrl-C stops.\n\n",
		scenario.OfficeEmail, scenario.FloorEmail, scenario.Password, cfg.DataDir)
	return nil
}

func personByEmail(ctx context.Context, app *server.App, email string) (p journal.Person, err error) {
	err = app.Steps().Store.Read(ctx, func(r flow.Reads) error {
		p, err = r.PersonByEmail(email)
		return err
	})
	return p, err
}

// How far a demo's folder has been filled, as its state file says.
const (
	demoFilling = "filling" // the story is being told; not finished
	demoTold    = "told"    // the story is told; photos are still being drawn
	demoReady   = "ready"
)

// demoState keeps, in a file of the folder, how far it has been filled, so that
// a folder of something else is never touched and a start that was cut off is
// begun again.
type demoState struct{ dir string }

func (s demoState) file() string       { return filepath.Join(s.dir, "demo-state") }
func (s demoState) photosFile() string { return filepath.Join(s.dir, "demo-photos.json") }

func (s demoState) read() (string, error) {
	text, err := os.ReadFile(s.file())
	return strings.TrimSpace(string(text)), err
}

func (s demoState) write(stage string) error {
	beside := s.file() + ".new"
	if err := os.WriteFile(beside, []byte(stage+"\n"), 0o600); err != nil {
		return err
	}
	return os.Rename(beside, s.file())
}

// begin makes the folder ready to be filled or served.
func (s demoState) begin() error {
	if err := os.MkdirAll(s.dir, 0o700); err != nil {
		return err
	}
	stage, err := s.read()
	if errors.Is(err, os.ErrNotExist) {
		there, err := os.ReadDir(s.dir)
		if err != nil {
			return err
		}
		if len(there) > 0 {
			return fmt.Errorf("the folder %s is not empty and was not filled by this command; please name another with --data", s.dir)
		}
		return s.write(demoFilling)
	}
	if err != nil || stage != demoFilling {
		return err
	}
	// Cut off while the story was being told: nobody has used it yet.
	there, err := os.ReadDir(s.dir)
	if err != nil {
		return err
	}
	for _, entry := range there {
		if entry.Name() == filepath.Base(s.file()) {
			continue
		}
		if err := os.RemoveAll(filepath.Join(s.dir, entry.Name())); err != nil {
			return err
		}
	}
	return nil
}
