package server

import (
	"errors"
	"io"
	"mime/multipart"
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"farbay/journal"
)

// maxFieldBytes is the most that the text fields beside the files may have.
const maxFieldBytes = 256 << 10

// maxFiles is the most files of one request, taken or not: ten times what an
// entry holds, so that bad ones among them do not crowd out the good.
const maxFiles = 10 * journal.MaxEntryPhotos

// received is what came in a multipart form: its text fields, and of each file
// the photo it became or why it was not taken.
type received struct {
	values url.Values
	files  []receivedFile
	taken  int
}

// receivedFile is one file of an upload, in the order sent.
type receivedFile struct {
	name  string // as sent, made safe to show
	taken Taken  // when refused is nil
	// refused is why the file was not taken; one bad file does not keep the
	// others from being taken.
	refused error
}

// receive reads a multipart form, handing each file on to the intake without
// ever holding one in memory. Once [journal.MaxEntryPhotos] have been taken,
// those after them are refused one by one.
//
// It returns an error only when the request itself broke off, was too large or
// is no multipart form; what was taken until then stays, as loose photos, and is
// returned too.
func (a *App) receive(c echo.Context) (got received, err error) {
	got.values, err = readParts(c.Request(), maxFieldBytes, func(part *multipart.Part) error {
		if len(got.files) == maxFiles {
			return journal.Errorf(journal.TooLarge, "These are more than %d files. Those that were taken are safe; please send the others in another sending.", maxFiles)
		}
		file, err := a.receiveFile(c, part, got.taken)
		if journal.CodeOf(err) == journal.TooLarge {
			file.refused = err // it is the one that went beyond the limit
			got.files = append(got.files, file)
		}
		if err != nil {
			return err
		}
		if got.files = append(got.files, file); file.refused == nil {
			got.taken++
		}
		return nil
	})
	return got, err
}

// receiveFile takes in one file, after so many of its request.
func (a *App) receiveFile(c echo.Context, part *multipart.Part, before int) (receivedFile, error) {
	file := receivedFile{name: safeName(part.FileName())}
	if before >= journal.MaxEntryPhotos {
		file.refused = journal.Errorf(journal.TooMany, "At most %d photos go with one entry; please post this one with another.", journal.MaxEntryPhotos)
		return file, nil
	}
	source := &watchedReader{from: part}
	taken, err := a.Intake().Take(c.Request().Context(), actor(c), of(c).build.ID, part.FileName(), source)
	if source.failed != nil {
		return file, brokenOff(source.failed)
	}
	if err == nil {
		file.taken = taken
		return file, nil
	}
	if ctxErr := c.Request().Context().Err(); ctxErr != nil {
		return file, ctxErr
	}
	switch journal.CodeOf(err) {
	case journal.Internal:
		a.log.ErrorContext(c.Request().Context(), "a photo could not be taken in", "request", of(c).id, "error", err)
	case journal.Unavailable:
		a.log.WarnContext(c.Request().Context(), "a photo could not be taken in", "request", of(c).id, "error", err)
	}
	file.refused = err
	return file, nil
}

// watchedReader remembers whether the connection, not the file, was at fault.
type watchedReader struct {
	from   io.Reader
	failed error
}

func (w *watchedReader) Read(b []byte) (int, error) {
	n, err := w.from.Read(b)
	if err != nil && !errors.Is(err, io.EOF) {
		w.failed = err
	}
	return n, err
}

// photosAdd takes in photos alone, before they are put into an entry. Each file
// is answered for by itself, also when the sending went beyond its limit.
// POST /builds/:build/photos
func (a *App) photosAdd(c echo.Context) error {
	got, err := a.receive(c)
	if err != nil && journal.CodeOf(err) != journal.TooLarge {
		return err
	}
	status, beyond := got.status(), ""
	if err != nil {
		status, beyond = http.StatusRequestEntityTooLarge, journal.MessageOf(err)
	}
	if wantsData(c) {
		return c.JSON(status, got.answer(beyond))
	}
	refused := got.refusals()
	if n := len(got.files); err != nil && (n == 0 || got.files[n-1].refused != err) {
		refused = append(refused, beyond)
	}
	if len(refused) == 0 {
		return a.done(c, "/builds/"+string(of(c).build.ID)+"/entries/new", got.said())
	}
	return a.showLoose(c, status, refused)
}

// status is the answer's: a file that came alone says it, several each say for
// themselves.
func (g received) status() int {
	if len(g.files) == 1 && g.files[0].refused != nil {
		return failures[journal.CodeOf(g.files[0].refused)].status
	}
	return http.StatusOK
}

func (g received) answer(beyond string) uploadAnswer {
	answer := uploadAnswer{Photos: []uploadedPhoto{}, Error: beyond}
	for _, f := range g.files {
		one := uploadedPhoto{File: f.name}
		if f.refused != nil {
			one.Error = journal.MessageOf(f.refused)
		} else {
			one.ID, one.Duplicate = f.taken.Photo.ID, f.taken.Duplicate
			one.Thumb = photoURL(f.taken.Photo, journal.PhotoSizes[0])
		}
		answer.Photos = append(answer.Photos, one)
	}
	return answer
}

// uploadAnswer is what a script is told of an upload, file by file.
type uploadAnswer struct {
	Photos []uploadedPhoto `json:"photos"`
	// Error says, in whole sentences, that the sending went beyond its limit and
	// that files after those named were not read.
	Error string `json:"error,omitempty"`
}

type uploadedPhoto struct {
	File      string          `json:"file"`
	ID        journal.PhotoID `json:"id,omitempty"`
	Thumb     string          `json:"thumb,omitempty"` // there once the worker has made it
	Duplicate bool            `json:"duplicate,omitempty"`
	Error     string          `json:"error,omitempty"` // a whole sentence
}

// said tells how many were taken.
func (g received) said() string {
	switch g.taken {
	case 0:
		return "No photo was taken in."
	case 1:
		return "One photo is safe with the shop."
	}
	return counted(g.taken) + " photos are safe with the shop."
}

// refusals says of each file that was not taken why, its name first.
func (g received) refusals() []string {
	var all []string
	for _, f := range g.files {
		if f.refused != nil {
			all = append(all, f.name+": "+journal.MessageOf(f.refused))
		}
	}
	return all
}
