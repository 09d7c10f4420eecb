package server

import (
	"bytes"
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/media"
	"farbay/views"
)

// maxPrints is how many prints are made at once: each holds the pictures of one
// paper.
const maxPrints = 2

// paperPDF prints one revision of a paper with its decision and questions.
// GET /builds/:build/papers/:paper/revisions/:revision/pdf
func (a *App) paperPDF(c echo.Context) error {
	ctx := c.Request().Context()
	number, err := strconv.Atoi(c.Param("revision"))
	if err != nil {
		return journal.Errorf(journal.NotFound, "There is no such revision.")
	}
	kept, err := a.steps.PaperKept(ctx, actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	made, err := a.print(ctx, actor(c), kept, number)
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, no-cache") // a question may be added
	h.Set(echo.HeaderContentDisposition, mime.FormatMediaType("inline", map[string]string{"filename": flow.PrintName(kept.Paper, number)}))
	if err := allowTime(c, int64(len(made))); err != nil {
		return err
	}
	return c.Blob(http.StatusOK, flow.PrintType, made)
}

// print makes the print of one revision, with the photos that the actor may see.
func (a *App) print(ctx context.Context, who flow.Actor, kept flow.PaperKept, number int) ([]byte, error) {
	rev, err := kept.Revision(number)
	if err != nil {
		return nil, err
	}
	if err := a.prints.Acquire(ctx, 1); err != nil {
		return nil, err
	}
	defer a.prints.Release(1)
	p := views.PaperPrint{Record: rev.Bytes, Picture: func(f signoff.SheetPhoto, edge int) ([]byte, error) {
		return a.printPicture(ctx, who, kept.Build.ID, f, edge)
	}}
	if d := kept.Decision; d != nil && d.Revision == number {
		p.Decision, p.RecordedBy, p.Confirmation, p.Scan = d, kept.Names[d.RecordedBy], kept.Confirmation, kept.Scan
	}
	for _, q := range kept.Questions {
		p.Questions = append(p.Questions, views.QuestionView{Question: q, AskedBy: kept.Names[q.AskedBy], AnsweredBy: kept.Names[q.AnsweredBy]})
	}
	var made bytes.Buffer
	err = views.PaperPDF(ctx, &made, p)
	return made.Bytes(), err
}

// printPicture reads an evidence photo as a paper froze it, in the asked size or
// the next smaller there is; nil when the actor may not see it, or no size was
// made.
func (a *App) printPicture(ctx context.Context, who flow.Actor, build journal.BuildID, f signoff.SheetPhoto, edge int) ([]byte, error) {
	view := f.Layer().View()
	_, err := a.steps.PhotoViewAllowed(ctx, who, build, f.ID, view)
	if journal.CodeOf(err) == journal.NotFound {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	for _, size := range slices.Backward(journal.PhotoSizes) {
		if size > edge {
			continue
		}
		file, err := openSize(ctx, a.storage, f.SHA256, view, size)
		if errors.Is(err, media.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, err
		}
		data, err := io.ReadAll(file)
		return data, errors.Join(err, file.Close())
	}
	return nil, nil
}

// noPrint is added to a letter whose print could not be made.
const noPrint = "\n\nThe PDF could not be attached to this letter. Please save it from the paper's\npage, whose address is above.\n"

// withPrints makes the prints that a letter is to carry. One that cannot be made
// is left out, and the letter says so: the letter is worth more than it.
func (a *App) withPrints(ctx context.Context, l journal.Letter) journal.Letter {
	files := l.Files
	l.Files = nil
	for _, f := range files {
		if f.ContentType == flow.PrintType && len(f.Data) == 0 {
			var err error
			if f.Data, err = a.letterPrint(ctx, l, files); err != nil {
				a.log.ErrorContext(ctx, "a print is missing in a letter", "letter", string(l.ID), "error", err)
				l.Text += noPrint
				continue
			}
		}
		l.Files = append(l.Files, f)
	}
	return l
}

func (a *App) letterPrint(ctx context.Context, l journal.Letter, files []journal.LetterFile) ([]byte, error) {
	l.Files = files
	who, kept, revision, err := a.steps.LetterPaper(ctx, l)
	if err != nil {
		return nil, err
	}
	return a.print(ctx, who, kept.AsDecided(), revision)
}
