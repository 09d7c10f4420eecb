package server

import (
	"context"
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

// received is what came in a multipart form: its text fields, and of each file
// the photo it became or why it was not taken.
type received struct {
	values url.Values
	files  []receivedFile
}

// receivedFile is one file of an upload, in the order sent.
type receivedFile struct {
	name  string // as sent, made safe to show
	taken Taken  // when refused is nil
	// refused is why the file was not taken; one bad file does not keep the
	// others from being taken.
	refused error
}

// receive reads a multipart form as it arrives, handing each file on to the
// intake without ever holding one in memory. At most [journal.MaxEntryPhotos]
// files are taken; those after them are refused one by one.
//
// It returns an error only when the request itself broke off, was too large or
// is no multipart form; what was taken until then stays, as loose photos.
func (a *App) receive(c echo.Context) (received, error) {
	got := received{values: url.Values{}}
	parts, err := c.Request().MultipartReader()
	if err != nil {
		return got, &journal.Error{Code: journal.Invalid, Err: err, Message: "What was sent could not be read; please choose the photos again."}
	}
	left := int64(maxFieldBytes)
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			return got, nil
		}
		if err != nil {
			return got, brokenOff(err)
		}
		if part.FileName() == "" {
			if left, err = got.addField(part, left); err != nil {
				return got, err
			}
			continue
		}
		file, err := a.receiveFile(c, part, len(got.files))
		if err != nil {
			return got, err
		}
		got.files = append(got.files, file)
	}
}

// addField keeps one text field.
func (g *received) addField(part *multipart.Part, left int64) (int64, error) {
	text, err := io.ReadAll(io.LimitReader(part, left+1))
	if err != nil {
		return left, brokenOff(err)
	}
	if left -= int64(len(text)); left < 0 {
		return left, journal.Errorf(journal.TooLarge, "The text sent with the photos is too long; please send it in smaller parts.")
	}
	g.values.Add(part.FormName(), string(text))
	return left, nil
}

// receiveFile takes in one file, the number-th of its request.
func (a *App) receiveFile(c echo.Context, part *multipart.Part, number int) (receivedFile, error) {
	file := receivedFile{name: safeName(part.FileName())}
	if number >= journal.MaxEntryPhotos {
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
	if journal.CodeOf(err) == journal.Internal {
		a.log.ErrorContext(c.Request().Context(), "a photo could not be taken in", "request", of(c).id, "error", err)
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

// brokenOff is the failure of a request whose body could not be read to its
// end.
func brokenOff(err error) error {
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return &journal.Error{Code: journal.TooLarge, Err: err, Message: "These photos together are more than one sending takes. Those that arrived are safe; please send the others in another one."}
	}
	if errors.Is(err, context.Canceled) {
		return err
	}
	return &journal.Error{Code: journal.Invalid, Err: err, Message: "The connection broke off. Photos that had arrived are safe; please send the others again."}
}

// photosAdd takes in photos alone, before they are put into an entry.
// POST /builds/:build/photos
func (a *App) photosAdd(c echo.Context) error {
	got, err := a.receive(c)
	if err != nil {
		return err
	}
	if !wantsData(c) {
		return a.done(c, "/builds/"+string(of(c).build.ID)+"/entries/new", got.said())
	}
	answer := uploadAnswer{Photos: []uploadedPhoto{}}
	status := http.StatusOK
	for _, f := range got.files {
		one := uploadedPhoto{File: f.name}
		if f.refused != nil {
			one.Error = journal.MessageOf(f.refused)
			status = failures[journal.CodeOf(f.refused)].status
		} else {
			one.ID, one.Duplicate = f.taken.Photo.ID, f.taken.Duplicate
			one.Thumb = photoURL(f.taken.Photo, journal.PhotoSizes[0])
		}
		answer.Photos = append(answer.Photos, one)
	}
	if len(answer.Photos) != 1 {
		status = http.StatusOK // several: each says for itself
	}
	return c.JSON(status, answer)
}

// uploadAnswer is what a script is told of an upload, file by file.
type uploadAnswer struct {
	Photos []uploadedPhoto `json:"photos"`
}

type uploadedPhoto struct {
	File      string          `json:"file"`
	ID        journal.PhotoID `json:"id,omitempty"`
	Thumb     string          `json:"thumb,omitempty"` // there once the worker has made it
	Duplicate bool            `json:"duplicate,omitempty"`
	Error     string          `json:"error,omitempty"` // a whole sentence
}

// said tells what became of the files, in plain sentences.
func (g received) said() string {
	taken, text := 0, ""
	for _, f := range g.files {
		if f.refused == nil {
			taken++
		}
	}
	switch taken {
	case 0:
		text = "No photo was taken in."
	case 1:
		text = "One photo is safe with the shop."
	default:
		text = counted(taken) + " photos are safe with the shop."
	}
	for _, sentence := range g.refusals() {
		text += " " + sentence
	}
	return text
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
