package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"

	"farbay/journal"
	"farbay/server"
)

// bookedLine is what is told of one account with --json.
type bookedLine struct {
	Account string `json:"account"`
	Opening string `json:"opening"`
	Debits  string `json:"debits"`
	Credits string `json:"credits"`
	Closing string `json:"closing"`
}

// bookedCounts is the last line with --json.
type bookedCounts struct {
	File      string `json:"file"`
	From      string `json:"from"`
	To        string `json:"to"`
	Documents int    `json:"documents"`
	Payments  int    `json:"payments"`
	Late      int    `json:"late"`  // payments dated before the period and recorded in it
	After     int    `json:"after"` // records of the period that were recorded after it
}

// books writes the books of a period for the accountant: a ZIP of tables and
// double-entry books. It never writes over a file. It changes nothing, and may run
// beside the server.
func books(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	cfg := server.Default()
	cfg.LogLevel = "warn"
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` with the database and the photos")
	from := flags.String("from", "", "first `day` of the period, such as 2026-03-01; documents count by their day of issue, payments by the day on which the money came or went")
	to := flags.String("to", "", "last `day` of the period")
	asJSON := flags.Bool("json", false, "print each account with what happened on it, and then the counts, as one JSON object a line; amounts are text with two decimals and a dot")
	rest, err := cfg.Load(flags, args, w.env)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		fmt.Fprintln(w.err, "farbay books: name the file to be written, such as books.zip, after the flags.")
		return errUsage
	}
	first, err := journal.ParseDate(*from)
	if err != nil {
		return fmt.Errorf("--from: %w", err)
	}
	last, err := journal.ParseDate(*to)
	if err != nil {
		return fmt.Errorf("--to: %w", err)
	}
	if _, err := os.Stat(cfg.DataDir); err != nil {
		return fmt.Errorf("the data folder %s cannot be read: %w", cfg.DataDir, err)
	}
	app, err := server.Open(cfg)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, app.Close()) }()
	file, err := os.OpenFile(rest[0], os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("%s is there already; please name another file, or move it away first", rest[0])
	}
	if err != nil {
		return err
	}
	made, err := app.WriteBooks(ctx, commandLine, first, last, file)
	if err = errors.Join(err, file.Close()); err != nil {
		return errors.Join(explained(err), os.Remove(rest[0]))
	}
	counts := bookedCounts{File: rest[0], From: string(first), To: string(last), Late: len(made.Late()), After: len(made.After())}
	for _, e := range made.Entries() {
		if e.IsDocument() {
			counts.Documents++
		} else {
			counts.Payments++
		}
	}
	lines := json.NewEncoder(w.out)
	for _, t := range made.Totals() {
		if *asJSON {
			err = lines.Encode(bookedLine{string(t.Place), plain(t.Opening), plain(t.Debits), plain(t.Credits), plain(t.Closing)})
		} else {
			_, err = fmt.Fprintf(w.out, "%-24s %15s %15s %15s %15s\n", t.Place, t.Opening, t.Debits, t.Credits, t.Closing)
		}
		if err != nil {
			return err
		}
	}
	if *asJSON {
		return lines.Encode(counts)
	}
	_, err = fmt.Fprintf(w.out, "%s: %d documents and %d payments from %s to %s; %d payments of a time before were recorded in it, %d of these records after it.\n",
		counts.File, counts.Documents, counts.Payments, first, last, counts.Late, counts.After)
	return err
}

// plain is an amount without commas between thousands.
func plain(c journal.Cents) string { return strings.ReplaceAll(c.String(), ",", "") }
