package server

import (
	"archive/zip"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"path"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// paperBundle sends all that proves one paper, in one ZIP.
// GET /builds/:build/papers/:paper/bundle.zip
func (a *App) paperBundle(c echo.Context) error {
	kept, err := a.steps.PaperKept(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	name := fmt.Sprintf("%s %s %d", kept.Build.Nickname, kept.Paper.Kind, kept.Paper.Number)
	return a.sendBundle(c, name, []journal.PaperID{kept.Paper.ID})
}

// buildBundle sends all that proves the papers of a build, in one ZIP.
// GET /builds/:build/bundle.zip
func (a *App) buildBundle(c echo.Context) error {
	b, papers, err := a.steps.PapersKept(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	if len(papers) == 0 {
		return journal.Errorf(journal.NotFound, "No paper of %s was sent yet, so there is nothing to save.", b.Nickname)
	}
	return a.sendBundle(c, b.Nickname+" papers", papers)
}

// sendBundle sends a ZIP while it reads what belongs into it: what the asker may
// see, and a photo that cannot be had as a line in the README.
func (a *App) sendBundle(c echo.Context, name string, papers []journal.PaperID) error {
	ctx, who := c.Request().Context(), actor(c)
	log, err := a.steps.PublishLog(ctx)
	if err != nil {
		return err
	}
	done, err := a.zips.take(who.Person.ID)
	if err != nil {
		return err
	}
	defer done()
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, "application/zip")
	h.Set(echo.HeaderCacheControl, "private, no-store")
	h.Set(echo.HeaderContentDisposition, contentDisposition(cmp.Or(slug(name), "papers")+".zip"))
	b := &bundle{
		app: a, who: who, build: of(c).build.ID, nickname: of(c).build.Nickname, now: a.now(), wire: http.NewResponseController(c.Response()),
		zip: zipPack{app: a, who: who, zone: a.store.last().Location(), out: zip.NewWriter(c.Response())},
	}
	if err := b.write(ctx, log, papers); err != nil {
		return cutOff(c, err)
	}
	return cutOff(c, b.zip.out.Close())
}

// bundle is a ZIP of papers while it is written.
type bundle struct {
	app   *App
	who   flow.Actor
	build journal.BuildID
	now   time.Time
	wire  *http.ResponseController
	zip   zipPack

	nickname string

	papers  []bundled
	sums    strings.Builder // as sha256sum writes them
	missing []string        // sentences on what is not there
}

// bundled is what the README says of one paper.
type bundled struct {
	dir, title, state string
	receipt, record   string // file names; receipt "" without a decision
}

func (b *bundle) write(ctx context.Context, log flow.PublishedLog, papers []journal.PaperID) error {
	var keys strings.Builder
	for _, k := range log.Keys {
		keys.WriteString(k.Public + "\n")
	}
	if err := b.text("keys.txt", b.now, keys.String()); err != nil {
		return err
	}
	if err := b.text("checkpoint.txt", b.now, string(log.Checkpoint.Note)); err != nil {
		return err
	}
	for _, id := range papers {
		if err := b.paper(ctx, id); err != nil {
			return err
		}
	}
	if err := b.text("README.txt", b.now, b.readme()); err != nil {
		return err
	}
	return b.text("SHA256SUMS", b.now, b.sums.String())
}

// text adds a small file.
func (b *bundle) text(name string, at time.Time, content string) error {
	return b.file(name, at, strings.NewReader(content), nil)
}

// file adds a file and its sum. An error of the source, which fault tells apart
// where it is given, leaves the part that there is without a sum.
func (b *bundle) file(name string, at time.Time, source io.Reader, fault *readFault) error {
	err := b.wire.SetWriteDeadline(time.Now().Add(zipPhotoTime))
	if err != nil && !errors.Is(err, http.ErrNotSupported) { // a recorder in a test has no wire
		return err
	}
	w, err := b.zip.out.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: at.In(b.zip.zone)})
	if err != nil {
		return err
	}
	sum := sha256.New()
	if _, err := io.Copy(io.MultiWriter(w, sum), source); err != nil {
		if fault == nil || fault.err == nil {
			return err
		}
		return nil
	}
	if name != "SHA256SUMS" {
		fmt.Fprintf(&b.sums, "%s  %s\n", hex.EncodeToString(sum.Sum(nil)), name)
	}
	return nil
}

// paper adds one paper's folder.
func (b *bundle) paper(ctx context.Context, id journal.PaperID) error {
	// Asked anew: what was withdrawn since the beginning counts.
	kept, err := b.app.steps.PaperKept(ctx, b.who, b.build, id)
	if err != nil {
		return err
	}
	one := bundled{dir: fmt.Sprintf("%s-%d", kept.Paper.Kind.Slug(), kept.Paper.Number), state: string(kept.Paper.State)}
	photos := map[string]bool{}
	for _, rev := range kept.Revisions {
		sheet, err := signoff.ParseSheet(rev.Bytes)
		if err != nil {
			return err
		}
		one.title, one.record = sheet.Title, flow.RecordName(kept.Paper, rev.Number)
		if err := b.text(path.Join(one.dir, one.record), rev.SentAt, string(rev.Bytes)); err != nil {
			return err
		}
		if err := b.print(ctx, one.dir, kept, rev); err != nil {
			return err
		}
		for _, p := range sheet.Photos {
			if key := p.SHA256 + p.Layer().View(); !photos[key] {
				photos[key] = true
				if err := b.photo(ctx, path.Join(one.dir, "photos"), p); err != nil {
					return err
				}
			}
		}
	}
	if err := b.decided(ctx, &one, kept); err != nil {
		return err
	}
	if len(kept.Questions) > 0 {
		if err := b.text(path.Join(one.dir, "questions.txt"), b.now, b.questions(kept)); err != nil {
			return err
		}
	}
	b.papers = append(b.papers, one)
	return nil
}

// print adds a revision's PDF; one that cannot be made gets a line.
func (b *bundle) print(ctx context.Context, dir string, kept flow.PaperKept, rev signoff.Revision) error {
	name := path.Join(dir, flow.PrintName(kept.Paper, rev.Number))
	made, err := b.app.print(ctx, b.who, kept, rev.Number)
	if err != nil {
		return b.left(ctx, name, "The PDF could not be made; the record beside it is whole.", err)
	}
	return b.text(name, rev.SentAt, string(made))
}

// decided adds the receipt of the decision, the answer of the passkey that
// confirmed it, and the scan of a signed sheet.
func (b *bundle) decided(ctx context.Context, one *bundled, kept flow.PaperKept) error {
	d := kept.Decision
	if d == nil {
		return nil
	}
	p, receipt, err := b.app.steps.DecisionReceipt(ctx, b.who, b.build, kept.Paper.ID)
	if err != nil {
		return err
	}
	one.receipt, one.record = flow.ReceiptName(p), flow.RecordName(p, d.Revision)
	if err := b.text(path.Join(one.dir, one.receipt), d.At, string(receipt)); err != nil {
		return err
	}
	if d.Passkey != "" {
		if err := b.text(path.Join(one.dir, one.dir+"-passkey.json"), d.At, d.Passkey); err != nil {
			return err
		}
	}
	if kept.Scan == nil {
		return nil
	}
	ending := ".pdf"
	if kept.Scan.ContentType != flow.PrintType {
		ending = cmp.Or(endingOf[kept.Scan.ContentType], ".bin")
	}
	return b.text(path.Join(one.dir, "signed-sheet-"+kept.Scan.SHA256+ending), kept.Scan.At, string(kept.Scan.Data))
}

// photo adds an evidence photo: its original for who may have it, otherwise the
// view that the paper froze, in full size, with nothing in it but the picture.
func (b *bundle) photo(ctx context.Context, dir string, f signoff.SheetPhoto) error {
	p, err := b.app.steps.PhotoOriginalAllowed(ctx, b.who, b.build, f.ID)
	whole := err == nil
	if !whole {
		p, err = b.app.steps.PhotoViewAllowed(ctx, b.who, b.build, f.ID, f.Layer().View())
	}
	name := path.Join(dir, f.SHA256)
	if err != nil {
		return b.left(ctx, name, "This photo is not shown any more, or was never shown to you.", err)
	}
	if p.SHA256 != f.SHA256 {
		return b.left(ctx, name, "The photo that the paper names is no longer the one that is kept under its name.", errors.New("another SHA-256"))
	}
	original, err := b.app.storage.Open(ctx, f.SHA256)
	if err != nil {
		return b.left(ctx, name, "This photo could not be read; please ask the shop.", err)
	}
	defer original.Close()
	var r io.Reader = original
	if whole {
		name += endingOf[p.Kind]
	} else {
		p.Layer = f.Layer()
		if r, err = b.zip.clean(ctx, original, p); err != nil {
			return b.left(ctx, name, "This photo could not be made ready; please ask the shop.", err)
		}
		name += shownEnding(p)
	}
	sum := sha256.New()
	source := &readFault{ctx: ctx, r: io.TeeReader(r, sum)}
	if err := b.file(name, zipTime(p.CapturedAt), source, source); err != nil {
		return err
	}
	switch {
	case source.err != nil:
		return b.left(ctx, name, "It could not be read to its end, so this file is only a part; please ask the shop.", source.err)
	case whole && hex.EncodeToString(sum.Sum(nil)) != f.SHA256:
		return b.left(ctx, name, "This file is not the photo that the paper names: its SHA-256 is another.", errors.New("another SHA-256"))
	}
	return nil
}

// shownEnding is how the name of a photo ends that is not the original.
func shownEnding(p journal.Photo) string {
	if p.Video() {
		return "-shown" + endingOf[p.Kind]
	}
	if view := p.Layer.View(); view != "" {
		return "-shown-" + view + ".jpg"
	}
	return "-shown.jpg"
}

// zipTime is a time that a ZIP can tell.
func zipTime(at time.Time) time.Time {
	if first := time.Date(1980, 1, 2, 0, 0, 0, 0, time.UTC); at.Before(first) {
		return first
	}
	return at
}

// left notes what is not there. It returns an error only when the reader of the
// ZIP is gone.
func (b *bundle) left(ctx context.Context, name, why string, fault error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	b.app.log.WarnContext(ctx, "a file is missing in a bundle", "name", name, "error", fault)
	b.missing = append(b.missing, name+"\n  "+why)
	return nil
}
