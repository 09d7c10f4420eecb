package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"os"
	"strings"

	"farbay/journal/prooflog"
	"farbay/journal/signoff"
	"farbay/server"
)

// verified is what "verify --json" prints.
type verified struct {
	Valid   bool   `json:"valid"`
	Error   string `json:"error,omitempty"`
	Seq     int64  `json:"seq,omitempty"`
	At      string `json:"at,omitempty"`
	Kind    string `json:"kind,omitempty"`
	Subject string `json:"subject,omitempty"`
	Detail  any    `json:"detail,omitempty"`
	Origin  string `json:"origin,omitempty"`
	Size    int64  `json:"size,omitempty"`
	// Paper is the SHA-256 of the paper that was given; "" for none.
	Paper string `json:"paper,omitempty"`
}

// maxVerifyBytes bounds the files that are read: a paper has some ten thousand.
const maxVerifyBytes = 16 << 20

// verify checks a receipt with nothing but the shop's public keys, and that a
// paper is the one that was decided. It needs no data folder and no connection.
func verify(_ context.Context, flags *flag.FlagSet, args []string, w streams) error {
	keys := flags.String("keys", "", "the shop's public keys: a `file` with one a line, as its address /proof-log/keys gives it, or one key itself")
	asJSON := flags.Bool("json", false, "print what was found as one JSON object")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if flags.NArg() < 1 || flags.NArg() > 2 || *keys == "" {
		fmt.Fprintln(w.err, "farbay verify: say --keys FILE, then name the receipt and, if you have it, the paper's record.")
		return errUsage
	}
	public, err := publicKeys(*keys)
	if err != nil {
		return err
	}
	receipt, err := readSmall(flags.Arg(0))
	if err != nil {
		return err
	}
	var paper []byte
	if flags.NArg() == 2 {
		if paper, err = readSmall(flags.Arg(1)); err != nil {
			return err
		}
	}
	found, err := verifyReceipt(receipt, paper, public)
	if *asJSON {
		if err != nil {
			found.Error = err.Error()
		}
		return errors.Join(err, json.NewEncoder(w.out).Encode(found))
	}
	if err != nil {
		return err
	}
	return found.print(w)
}

// verifyReceipt checks a receipt, and that paper, unless nil, is the one it is
// about.
func verifyReceipt(receipt, paper []byte, public []string) (verified, error) {
	e, c, err := prooflog.OpenReceipt(receipt, public...)
	switch {
	case errors.Is(err, prooflog.ErrNotSigned):
		return verified{}, fmt.Errorf("the receipt is not signed by the key that was given; it proves nothing with it: %w", err)
	case errors.Is(err, prooflog.ErrNotInLog):
		return verified{}, fmt.Errorf("the receipt's proof is wrong; it was changed, or is no receipt of this entry: %w", err)
	case err != nil:
		return verified{}, err
	}
	found := verified{Valid: true, Seq: e.Seq, At: e.At.Format("2006-01-02T15:04:05.999Z07:00"), Kind: e.Kind, Subject: e.Subject, Origin: c.Origin, Size: c.Size}
	detail := map[string]any{}
	if err := json.Unmarshal([]byte(e.Detail), &detail); err != nil {
		return verified{}, fmt.Errorf("the entry's detail cannot be read: %w", err)
	}
	found.Detail = detail
	if paper == nil {
		return found, nil
	}
	found.Paper = signoff.Hash(paper)
	if detail["sha256"] != found.Paper {
		found.Valid = false
		return found, fmt.Errorf("the receipt is good, and it is about another paper: that one's SHA-256 is %v, the file's is %s", detail["sha256"], found.Paper)
	}
	return found, nil
}

func (v verified) print(w streams) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "Good. Entry %d of %d in the log %q, recorded at %s: %s.\n", v.Seq, v.Size, v.Origin, v.At, v.Kind)
	detail, ok := v.Detail.(map[string]any)
	if ok && detail["name"] != nil {
		fmt.Fprintf(&b, "By %v, as %v: %q\n", detail["name"], detail["as"], detail["sentence"])
	}
	switch {
	case v.Paper != "":
		fmt.Fprintf(&b, "The paper is the one that was decided: SHA-256 %s.\n", v.Paper)
	case detail["sha256"] != nil:
		fmt.Fprintf(&b, "It is about the paper with the SHA-256 %v; name that file too, to have it compared.\n", detail["sha256"])
	}
	_, err := w.out.Write(b.Bytes())
	return err
}

// publicKeys reads keys from a file, a line each, or takes the text for one.
func publicKeys(given string) ([]string, error) {
	if _, err := os.Stat(given); err != nil && strings.Count(given, "+") >= 2 {
		return []string{given}, nil
	}
	b, err := readSmall(given)
	if err != nil {
		return nil, err
	}
	keys := strings.Fields(string(b))
	if len(keys) == 0 {
		return nil, fmt.Errorf("%s holds no key", given)
	}
	return keys, nil
}

func readSmall(name string) ([]byte, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, err
	}
	if info.Size() > maxVerifyBytes {
		return nil, fmt.Errorf("%s is too large to be a receipt, a paper or a key", name)
	}
	return os.ReadFile(name)
}

// key shows the proof log's public keys, or makes a new one.
func key(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	act := "show"
	if len(args) > 0 && !strings.HasPrefix(args[0], "-") {
		act, args = args[0], args[1:]
	}
	cfg := server.Default()
	cfg.LogLevel = "warn"
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` with the database and the photos")
	why := flags.String("why", "", "new: the `reason`, which everybody can read beside the keys")
	if _, err := cfg.Load(flags, args, w.env); err != nil {
		return err
	}
	var options []server.Option
	switch {
	case act == "new" && strings.TrimSpace(*why) != "":
		options = append(options, server.WithNewLogKey(*why))
	case act != "show":
		fmt.Fprintln(w.err, "farbay key: say show, or new with --why REASON.")
		return errUsage
	}
	app, err := server.Open(cfg, options...)
	if err != nil {
		return explained(err)
	}
	defer func() { err = errors.Join(err, app.Close()) }()
	log, err := app.Steps().PublishLog(ctx)
	if err != nil {
		return err
	}
	for _, k := range log.Keys {
		if _, err := fmt.Fprintln(w.out, k.Public); err != nil {
			return err
		}
	}
	return nil
}
