package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"farbay/journal"
	"farbay/server"
)

// importFlags are what "farbay import" understands besides the settings.
type importFlags struct {
	build, as, stage, audience string
	asJSON, dryRun             bool
}

// importPhotos takes a folder or ZIP of photos into a build: each is put into
// an entry of the stage that was under way when it was taken, one entry a stage
// and day. It may run beside a server on the same folder, and again after it
// was stopped: what is in already is noticed and left as it is.
func importPhotos(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	cfg := server.Default()
	cfg.LogLevel = "warn"
	var f importFlags
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` with the database and the photos")
	flags.StringVar(&f.build, "build", "", "`nickname` of the build that the photos are of")
	flags.StringVar(&f.as, "as", "", "e-mail `address` of whoever posts them; may be left out if the shop has one office account")
	flags.StringVar(&f.stage, "stage", "", "`name` of the stage for photos of which it is not known when they were taken, or that were taken while none was under way; without it those wait, as loose photos, for whoever posted them")
	flags.StringVar(&f.audience, "audience", string(journal.ShopOnly), "who sees them: `\"shop only\" or \"owner too\"`")
	flags.BoolVar(&f.asJSON, "json", false, "print one JSON object a file: file, sha256, captured_at, captured_source, orientation, width, height, camera, latitude, longitude, stage, duplicate_of, error; null for what is not known")
	flags.BoolVar(&f.dryRun, "dry-run", false, "store nothing; without --build no data folder is needed and stages are not told")
	rest, err := cfg.Load(flags, args, w.env)
	if err != nil {
		return err
	}
	if len(rest) != 1 {
		fmt.Fprintln(w.err, "farbay import: name one folder or ZIP file with photos, after the flags.")
		return errUsage
	}
	if f.build == "" && !f.dryRun {
		fmt.Fprintln(w.err, "farbay import: say with --build which build the photos are of, or look first with --dry-run.")
		return errUsage
	}
	files, err := openBatch(ctx, rest[0])
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, files.close()) }()
	run := importRun{out: w.out, asJSON: f.asJSON, seen: map[string]string{}, bar: io.Discard}
	if out, ok := w.err.(*os.File); ok && term.IsTerminal(int(out.Fd())) {
		run.bar = out
	}
	var to taker = look{intake: server.Intake{MaxBytes: cfg.MaxPhotoBytes, MaxVideoBytes: cfg.MaxVideoBytes}, limit: max(cfg.MaxPhotoBytes, cfg.MaxVideoBytes)}
	if f.build != "" {
		if _, err := os.Stat(cfg.DataDir); err != nil {
			return fmt.Errorf("the data folder %s cannot be read: %w", cfg.DataDir, err)
		}
		app, err := server.Open(cfg)
		if err != nil {
			return err
		}
		defer func() { err = errors.Join(err, app.Close()) }()
		into, err := openTarget(ctx, app, f)
		if err != nil {
			return explained(err)
		}
		to = into
	}
	return run.all(ctx, files, to)
}

// taker examines or takes in one file after another.
type taker interface {
	// take says what is known of the file and where it goes. Its error is about
	// the whole import; what is wrong with one file is in the line.
	take(ctx context.Context, file batchFile) (importLine, error)
	// finish does what is to be done when all files were looked at, and says it.
	finish(ctx context.Context) (string, error)
}

// importLine is what is told of one file.
type importLine struct {
	File   string `json:"file"`
	SHA256 string `json:"sha256"`
	// CapturedAt is RFC 3339 with the offset, or the camera's local time without
	// one where it is not known, and with fractions of a second if there are any.
	CapturedAt     *string  `json:"captured_at"`
	CapturedSource string   `json:"captured_source"`
	Orientation    int      `json:"orientation"`
	Width          int      `json:"width"` // upright
	Height         int      `json:"height"`
	Camera         *string  `json:"camera"`
	Latitude       *float64 `json:"latitude"`
	Longitude      *float64 `json:"longitude"`
	Stage          *string  `json:"stage"`
	// DuplicateOf names the file of this import, or else the photo of the build
	// by its id, that is the same byte for byte.
	DuplicateOf *string `json:"duplicate_of"`
	Error       *string `json:"error"`
}

// lineOf tells of a photo. zoned says that the shop's zone is known, so that a
// time taken to be in it has an offset.
func lineOf(name string, p journal.Photo, zoned bool) importLine {
	l := importLine{File: name, SHA256: p.SHA256, CapturedSource: sourceOf(p, zoned), Orientation: p.Orientation, Width: p.Width, Height: p.Height}
	if p.CapturedSource != "" && server.CaptureKnown(p) {
		form := time.RFC3339Nano
		if !zoned && !server.CaptureZoned(p) {
			form = "2006-01-02T15:04:05.999999999"
		}
		at := p.CapturedAt.In(time.FixedZone("", p.CapturedOffset*60)).Format(form)
		l.CapturedAt = &at
	}
	if p.Camera != "" {
		l.Camera = &p.Camera
	}
	if p.Located {
		l.Latitude, l.Longitude = &p.Latitude, &p.Longitude
	}
	return l
}

// sourceOf says how a capture time is known; where the shop's zone is not, it
// cannot be the camera's.
func sourceOf(p journal.Photo, zoned bool) string {
	if zoned {
		return p.CapturedSource
	}
	return strings.Replace(p.CapturedSource, "in the shop's zone", "zone unknown", 1)
}

func (l *importLine) fail(err error) {
	if err != nil {
		said := journal.MessageOf(err)
		l.Error = &said
	}
}

// importRun goes through a batch and reports.
type importRun struct {
	out    io.Writer
	bar    io.Writer
	asJSON bool
	seen   map[string]string // SHA-256 -> first file of this import
	failed int
}

func (r *importRun) all(ctx context.Context, files *batch, t taker) error {
	bar := progressbar.NewOptions64(max(files.bytes, 1), progressbar.OptionSetWriter(r.bar), progressbar.OptionShowBytes(true),
		progressbar.OptionSetDescription(files.name), progressbar.OptionClearOnFinish(), progressbar.OptionThrottle(100*time.Millisecond))
	for i, file := range files.files {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("stopped after %d of %d files; the same command goes on", i, len(files.files))
		}
		line, err := t.take(ctx, file)
		if err != nil {
			return explained(err)
		}
		if first, again := r.seen[line.SHA256]; again && line.SHA256 != "" {
			line.DuplicateOf = &first
		} else if line.Error == nil {
			r.seen[line.SHA256] = file.name
		}
		if err := errors.Join(bar.Clear(), r.print(line), bar.Add64(file.size)); err != nil {
			return err
		}
	}
	if err := bar.Finish(); err != nil {
		return err
	}
	said, err := t.finish(ctx)
	if err != nil {
		return explained(err)
	}
	if !r.asJSON {
		if _, err := fmt.Fprintf(r.out, "%d files looked at, %d could not be taken. %s\n", len(files.files), r.failed, said); err != nil {
			return err
		}
	}
	if r.failed > 0 {
		return fmt.Errorf("%d of %d files could not be taken; each says why", r.failed, len(files.files))
	}
	return nil
}

func (r *importRun) print(l importLine) error {
	if l.Error != nil {
		r.failed++
	}
	if r.asJSON {
		return json.NewEncoder(r.out).Encode(l)
	}
	said := "taken at an unknown time"
	if l.CapturedAt != nil {
		said = *l.CapturedAt
	}
	if l.Stage != nil {
		said += ", " + *l.Stage
	}
	if l.DuplicateOf != nil {
		said += ", the same as " + *l.DuplicateOf
	}
	if l.Error != nil {
		said = *l.Error
	}
	_, err := fmt.Fprintf(r.out, "%s: %s\n", l.File, said)
	return err
}

// look examines files and stores nothing.
type look struct {
	intake server.Intake
	limit  int64
}

func (k look) take(_ context.Context, file batchFile) (line importLine, err error) {
	f, err := file.open(k.limit)
	if err != nil {
		line = importLine{File: file.name}
		line.fail(journal.Errorf(journal.Invalid, "This file cannot be read: %v.", err))
		return line, nil
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	// The zone stands in for the shop's; a time taken to be in it is told
	// without an offset.
	p, wrong := k.intake.Examine(file.name, f, f.size, time.UTC, time.Now())
	line = lineOf(file.name, p, false)
	line.fail(wrong)
	return line, nil
}

func (k look) finish(context.Context) (string, error) { return "Nothing was stored.", nil }
