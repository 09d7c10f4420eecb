package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"

	"farbay/journal/flow"
	"farbay/journal/prooflog"
	"farbay/server"
)

// errFaults ends a check that found something; what it found has been printed.
var errFaults = errors.New("something is wrong; see above")

// check looks for anything in a data folder that breaks a promise: originals
// missing or changed, statements that do not add up, stages billed twice or not
// at all, papers that do not match their hash, a proof log that is not the one
// its checkpoints were given out for, or no continuation of a checkpoint that
// somebody kept: the newest one, beside the secret key, and those in the files
// named. It changes nothing, and may run beside the
// server.
func check(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	cfg := server.Default()
	cfg.LogLevel = "warn"
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` with the database and the photos")
	asJSON := flags.Bool("json", false, "print each fault, and then the counts, as one JSON object a line")
	var files []string
	flags.Func("checkpoint", "a `file` with a checkpoint that somebody kept: an e-mail saved as text, a receipt, or the checkpoint alone; may be given again", func(name string) error {
		files = append(files, name)
		return nil
	})
	if _, err := cfg.Load(flags, args, w.env); err != nil {
		return err
	}
	kept, err := keptIn(files)
	if err != nil {
		return err
	}
	app, err := server.Open(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, app.Close()) }()
	own, err := app.KeptCheckpoint()
	if err != nil {
		return err
	}
	faults, n, err := app.Steps().Check(ctx, func(sha string) error { return app.Storage().Verify(ctx, sha) }, append(own, kept...)...)
	if err != nil {
		err = fmt.Errorf("the check could not be finished: %w", err)
	}
	return errors.Join(report(w, *asJSON, faults, n), err)
}

// report prints what was found.
func report(w streams, asJSON bool, faults []flow.Fault, n flow.Checked) (err error) {
	lines := json.NewEncoder(w.out)
	for _, f := range faults {
		if asJSON {
			err = lines.Encode(f)
		} else {
			_, err = fmt.Fprintf(w.out, "%s (%s)\n", f.Text, f.Subject)
		}
		if err != nil {
			return err
		}
	}
	if asJSON {
		err = lines.Encode(n)
	} else {
		_, err = fmt.Fprintf(w.out, "%d builds, %d photos, %d papers' revisions, %d invoices, %d events and %d checkpoints of the proof log, and %d checkpoints kept outside it looked at; %d faults.\n",
			n.Builds, n.Photos, n.Revisions, n.Documents, n.Events, n.Checkpoints, n.Kept, len(faults))
	}
	if err == nil && len(faults) > 0 {
		err = errFaults
	}
	return err
}

// keptIn finds the checkpoints in files that somebody kept.
func keptIn(files []string) (kept []flow.Kept, err error) {
	for _, name := range files {
		text, err := readSmall(name)
		if err != nil {
			return nil, err
		}
		notes := prooflog.FindCheckpoints(text)
		if len(notes) == 0 {
			return nil, fmt.Errorf("there is no checkpoint in %s: it is three lines, an empty one, and a signature that begins with a dash; please save the whole e-mail as text, or the receipt", name)
		}
		for _, note := range notes {
			kept = append(kept, flow.Kept{From: name, Note: note})
		}
	}
	return kept, nil
}
