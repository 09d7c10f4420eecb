package main

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"flag"
	"fmt"

	"farbay/journal/flow"
	"farbay/server"
)

// serve serves a real shop until ctx ends. The first time, it prints a link
// with which the first office account is made.
func serve(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	cfg := server.Default()
	cfg.Flags(flags)
	rest, err := cfg.Load(flags, args, w.env)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		fmt.Fprintf(w.err, "farbay serve: %q is no flag. \"farbay serve --help\" lists them.\n", rest[0])
		return errUsage
	}
	app, err := server.Open(cfg)
	if err != nil {
		return err
	}
	defer func() {
		if closeErr := app.Close(); err == nil {
			err = closeErr
		}
	}()
	if err := app.Listen(); err != nil {
		return err
	}
	if err := prepare(ctx, app, w); err != nil {
		return err
	}
	return app.Run(ctx)
}

// prepare gives a new shop its first settings and stage plan, and offers the
// set-up link while there is no office account.
func prepare(ctx context.Context, app *server.App, w streams) error {
	if err := app.Steps().SeedShop(ctx, flow.FirstShop()); err != nil {
		return err
	}
	if err := app.Steps().SeedPlans(ctx); err != nil {
		return err
	}
	token, err := newToken()
	if err != nil {
		return err
	}
	offered, err := app.Steps().OfferSetUp(ctx, token)
	if err != nil {
		return err
	}
	if offered {
		fmt.Fprintf(w.out, "There is no office account yet. Open this address to make the first one; it works once:\n\n  %s%s\n\n",
			app.URL(), setUpPath(token))
		return nil
	}
	fmt.Fprintf(w.out, "Farbay is at %s\n", app.URL())
	return nil
}

func newToken() (string, error) {
	b := make([]byte, 32)
	if _, err := rand.Read(b); err != nil {
		return "", err
	}
	return base64.RawURLEncoding.EncodeToString(b), nil
}
