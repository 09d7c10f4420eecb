package server

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/tus/tusd/v2/pkg/handler"
	"golang.org/x/exp/slog"

	"farbay/journal"
	"farbay/journal/flow"
)

const (
	// maxUploadMeta is the most bytes of an upload's metadata, as sent.
	maxUploadMeta = 4 << 10
	// takeTime is how long a whole upload may take to be taken in, whether or
	// not its sender waits.
	takeTime = 5 * time.Minute
)

// Headers of the answer to the last byte, and to later questions about the
// upload, in addition to those of the protocol.
const (
	photoHeader     = "Photo-Id"
	thumbHeader     = "Photo-Thumb"
	duplicateHeader = "Photo-Duplicate" // "yes" when the build had the photo already
)

// resumable receives files by the tus protocol, version 1.0.0, with its
// extensions creation, creation-with-upload, termination and expiration
// (https://tus.io/protocols/resumable-upload). Each upload belongs to the person
// and the build that began it; for everybody else there is none.
type resumable struct {
	app   *App
	store *incomingStore
	locks *uploadLocks
	tus   *handler.Handler

	mu   sync.Mutex
	busy map[string]int // requests about each upload, by its id
}

func newResumable(a *App) (r *resumable, err error) {
	r = &resumable{app: a, locks: newUploadLocks(), busy: map[string]int{}}
	if r.store, err = openIncoming(filepath.Join(a.cfg.DataDir, "incoming-uploads"), a.cfg.UploadLife, a.now); err != nil {
		return nil, err
	}
	composer := handler.NewStoreComposer()
	composer.UseCore(r)
	composer.UseTerminater(r)
	composer.UseLocker(r.locks)
	r.tus, err = handler.NewHandler(handler.Config{
		StoreComposer: composer, BasePath: "/", MaxSize: max(a.cfg.MaxPhotoBytes, a.cfg.MaxVideoBytes),
		DisableDownload: true, Cors: &handler.CorsConfig{Disable: true},
		// Requests are logged by our own middleware, failures by fault.
		Logger:                    slog.New(slog.NewTextHandler(io.Discard, &slog.HandlerOptions{Level: slog.LevelError + 1})),
		PreUploadCreateCallback:   r.creating,
		PreFinishResponseCallback: r.finishing,
	})
	return r, err
}

// NewUpload implements [handler.DataStore] with errors that say nothing of the
// machine.
func (r *resumable) NewUpload(ctx context.Context, info handler.FileInfo) (handler.Upload, error) {
	u, err := r.store.NewUpload(ctx, info)
	if err != nil {
		return nil, r.fault(ctx, err)
	}
	return &guardedFile{u.(*incomingFile), r}, nil
}

// GetUpload implements [handler.DataStore] likewise.
func (r *resumable) GetUpload(ctx context.Context, id string) (handler.Upload, error) {
	u, err := r.store.GetUpload(ctx, id)
	if err != nil {
		return nil, r.fault(ctx, err)
	}
	return &guardedFile{u.(*incomingFile), r}, nil
}

// AsTerminatableUpload implements [handler.TerminaterDataStore].
func (r *resumable) AsTerminatableUpload(u handler.Upload) handler.TerminatableUpload {
	return u.(*guardedFile)
}

// guardedFile is a file whose errors say nothing of the machine.
type guardedFile struct {
	*incomingFile
	by *resumable
}

func (f *guardedFile) WriteChunk(ctx context.Context, offset int64, src io.Reader) (int64, error) {
	f.by.locks.writing(f.record.ID)
	n, err := f.incomingFile.WriteChunk(ctx, offset, src)
	if err != nil {
		err = f.by.fault(ctx, err)
	}
	return n, err
}

func (f *guardedFile) Terminate(ctx context.Context) error {
	if err := f.incomingFile.Terminate(ctx); err != nil {
		return f.by.fault(ctx, err)
	}
	return nil
}

// fault turns an error of ours into tusd's, answered as all failures are
// answered to scripts.
func (r *resumable) fault(ctx context.Context, err error) error {
	code := journal.CodeOf(err)
	switch code {
	case journal.Internal:
		r.app.log.ErrorContext(ctx, "an upload failed", "error", err)
	case journal.Unavailable:
		r.app.log.WarnContext(ctx, "an upload could not be done", "error", err)
	}
	text, jsonErr := json.Marshal(dataFailure{Code: string(code), Error: journal.MessageOf(err), Fields: fieldsOf(err)})
	if jsonErr != nil {
		return errors.Join(err, jsonErr)
	}
	header := handler.HTTPHeader{"Content-Type": echo.MIMEApplicationJSON}
	if code == journal.Unavailable || code == journal.TooMany {
		header["Retry-After"] = "30"
	}
	return handler.Error{ErrorCode: string(code), Message: journal.MessageOf(err),
		HTTPResponse: handler.HTTPResponse{StatusCode: failures[code].status, Body: string(text), Header: header}}
}

// creating decides whether an upload may begin.
func (r *resumable) creating(hook handler.HookEvent) (handler.HTTPResponse, handler.FileInfoChanges, error) {
	refuse := func(err error) (handler.HTTPResponse, handler.FileInfoChanges, error) {
		return handler.HTTPResponse{}, handler.FileInfoChanges{}, r.fault(hook.Context, err)
	}
	u, known := hook.Context.Value(newUploadKey{}).(*incomingUpload)
	if !known {
		return refuse(errors.New("server: an upload without its record"))
	}
	if len(hook.HTTPRequest.Header.Get("Upload-Metadata")) > maxUploadMeta {
		return refuse(journal.Errorf(journal.TooLarge, "What is said about the file is longer than %d bytes; please give it a shorter name.", maxUploadMeta))
	}
	if person := hook.Upload.MetaData["person"]; person != "" && person != string(u.ByID) {
		return refuse(errOtherPerson())
	}
	if most := r.mostBytes(hook.Upload.MetaData["filetype"]); hook.Upload.Size > most {
		return refuse(journal.Errorf(journal.TooLarge, "This file has more than %s MB; please send a smaller one.", megabytes(most)))
	}
	u.ID = r.app.newID()
	r.enter(u.ID)
	return handler.HTTPResponse{}, handler.FileInfoChanges{ID: u.ID}, nil
}

// enter notes that a request works on an upload, until leave.
func (r *resumable) enter(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.busy[id]++
}

func (r *resumable) leave(id string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.busy[id]--; r.busy[id] <= 0 {
		delete(r.busy, id)
	}
}

// isBusy reports whether a request works on an upload.
func (r *resumable) isBusy(id string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.busy[id] > 0
}

// errOtherPerson: what a phone queued for one person must not go out in the name
// of another who signed in since.
func errOtherPerson() error {
	return journal.Errorf(journal.Conflict, "Somebody else is signed in here now. This waits on the phone until the person who took it signs in again.")
}

func megabytes(bytes int64) string { return strconv.FormatFloat(float64(bytes)/1e6, 'f', -1, 64) }

// mostBytes is the most bytes of a file of the declared type.
func (r *resumable) mostBytes(declared string) int64 {
	if strings.HasPrefix(declared, "video/") {
		return max(r.app.cfg.MaxPhotoBytes, r.app.cfg.MaxVideoBytes)
	}
	return r.app.cfg.MaxPhotoBytes
}

// uploads answers every request about resumable uploads of a build.
// POST, OPTIONS /builds/:build/uploads;
// HEAD, PATCH, DELETE /builds/:build/uploads/:upload, and POST there with
// X-HTTP-Method-Override for clients that can send nothing else.
func (a *App) uploads(c echo.Context) error {
	rq, r, id := of(c), c.Request(), c.Param("upload")
	c.Response().Header().Set("Tus-Resumable", "1.0.0")
	by := actor(c)
	reply := &uploadReply{ResponseWriter: c.Response(), place: "/builds/" + string(rq.build.ID) + "/uploads/", ctx: r.Context()}
	ctx := r.Context()
	if id == "" {
		reply.record = &incomingUpload{BuildID: rq.build.ID, ByID: by.Person.ID, Address: by.Address, UserAgent: by.UserAgent}
		ctx = context.WithValue(ctx, newUploadKey{}, reply.record)
		defer func() { a.resumable.leave(reply.record.ID) }() // entered once it has an id
	} else {
		a.resumable.enter(id)
		defer a.resumable.leave(id)
		u, err := a.uploadOf(c, id)
		if err != nil {
			return err
		}
		reply.record = u
	}
	sent := r.WithContext(ctx)
	address := *r.URL
	address.Path, address.RawPath = "/"+id, ""
	sent.URL = &address
	a.resumable.tus.ServeHTTP(reply, sent)
	return nil
}

// uploadOf returns an upload of the request's person and build. One that has all
// its bytes and was not taken in, as after a crash, is taken in now; one whose
// content was refused is refused again.
func (a *App) uploadOf(c echo.Context, id string) (*incomingUpload, error) {
	u, offset, err := a.resumable.store.find(id)
	if err != nil {
		return nil, err
	}
	if u.BuildID != of(c).build.ID || u.ByID != of(c).person.ID {
		return nil, errNoUpload(nil)
	}
	ending := c.Request().Method == http.MethodDelete || c.Request().Header.Get("X-HTTP-Method-Override") == http.MethodDelete
	if ending || offset < u.Length {
		return u, nil
	}
	if u, err = a.resumable.settled(c.Request().Context(), id); err != nil {
		return nil, err
	}
	if u.Refused != nil {
		return nil, journal.Errorf(u.Refused.Code, "%s", u.Refused.Message)
	}
	return u, nil
}

// uploadReply adds to tusd's answers what it does not know: the address below
// the build, when an upload runs out, and what became of it.
type uploadReply struct {
	http.ResponseWriter
	place  string
	record *incomingUpload
	ctx    context.Context // of the request
	headed bool
}

// Unwrap lets tusd reach the connection, to move its deadlines as bytes arrive.
func (w *uploadReply) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// WriteHeader implements [http.ResponseWriter].
func (w *uploadReply) WriteHeader(status int) {
	w.headed = true
	h := w.Header()
	if status >= http.StatusBadRequest || w.ctx.Err() != nil {
		// tusd interrupts a request by letting reads of its connection fail, after
		// which net/http takes every later request on it for abandoned.
		h.Set("Connection", "close")
	}
	if h.Get("Location") != "" {
		// Relative, so that it holds behind any proxy (RFC 9110, section 10.2.2).
		h.Set("Location", w.place+w.record.ID)
	}
	if extensions := h.Get("Tus-Extension"); extensions != "" {
		h.Set("Tus-Extension", extensions+",expiration")
	}
	if !w.record.ExpiresAt.IsZero() && !w.record.settled() && status < http.StatusBadRequest {
		h.Set("Upload-Expires", w.record.ExpiresAt.UTC().Format(http.TimeFormat))
	}
	for name, value := range w.record.answer() {
		h.Set(name, value)
	}
	w.ResponseWriter.WriteHeader(status)
}

// Write implements [http.ResponseWriter].
func (w *uploadReply) Write(b []byte) (int, error) {
	if !w.headed {
		w.WriteHeader(http.StatusOK)
	}
	return w.ResponseWriter.Write(b)
}

// answer is what the sender is told of an upload that was taken in.
func (u *incomingUpload) answer() handler.HTTPHeader {
	if u.Taken == nil {
		return nil
	}
	h := handler.HTTPHeader{photoHeader: string(u.Taken.PhotoID), thumbHeader: u.Taken.Thumb}
	if u.Taken.Duplicate {
		h[duplicateHeader] = "yes"
	}
	return h
}

// finishing takes in an upload whose last byte has just arrived. tusd holds its
// lock.
func (r *resumable) finishing(hook handler.HookEvent) (handler.HTTPResponse, error) {
	u, err := r.finish(hook.Context, hook.Upload.ID)
	if err == nil && u.Refused != nil {
		err = journal.Errorf(u.Refused.Code, "%s", u.Refused.Message)
	}
	if err != nil {
		return handler.HTTPResponse{}, r.fault(hook.Context, err)
	}
	return handler.HTTPResponse{Header: u.answer()}, nil
}

// settled finishes an upload that has all its bytes, once no request writes it.
func (r *resumable) settled(ctx context.Context, id string) (*incomingUpload, error) {
	lock, err := r.locks.NewLock(id)
	if err != nil {
		return nil, err
	}
	waiting, stop := context.WithTimeout(ctx, takeTime)
	defer stop()
	// Taking in is not to be interrupted, however often the sender asks.
	if err := lock.Lock(waiting, func() {}); err != nil {
		return nil, &journal.Error{Code: journal.Unavailable, Err: err, Message: "This file is being put away; please ask again in a moment."}
	}
	u, err := r.finish(ctx, id)
	return u, errors.Join(err, lock.Unlock())
}

// finish takes in an upload that has all its bytes, whether or not its sender
// still waits, and stores the answer before it is given. It is to be called
// under the upload's lock, and does nothing for one that is settled.
func (r *resumable) finish(ctx context.Context, id string) (*incomingUpload, error) {
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), takeTime)
	defer stop()
	u, offset, err := r.store.find(id)
	if err != nil {
		return u, err
	}
	if u.settled() {
		return u, r.store.dropOpen(id) // which a crash may have kept from being done
	}
	if offset < u.Length {
		return nil, journal.Errorf(journal.Conflict, "This file has not arrived to its end; please send the rest.")
	}
	taken, err := r.take(ctx, u)
	switch {
	case err == nil:
		u.Taken = &takenUpload{PhotoID: taken.Photo.ID, Thumb: photoURL(taken.Photo, journal.PhotoSizes[0]), Duplicate: taken.Duplicate}
	case hopelessContent(err):
		u.Refused = &refusedUpload{Code: journal.CodeOf(err), Message: journal.MessageOf(err)}
	default:
		return nil, err
	}
	return u, r.store.settle(u)
}

// take hands an upload's bytes to the intake, in the name of who began it.
func (r *resumable) take(ctx context.Context, u *incomingUpload) (Taken, error) {
	by := flow.Actor{Address: u.Address, UserAgent: u.UserAgent}
	err := r.app.store.Read(ctx, func(reads flow.Reads) (err error) {
		by.Person, err = reads.Person(u.ByID)
		return err
	})
	if err != nil {
		return Taken{}, err
	}
	file, err := os.Open(r.store.bytesPath(u.ID))
	if err != nil {
		return Taken{}, err
	}
	defer file.Close()
	return r.app.Intake().Take(ctx, by, u.BuildID, u.Meta["filename"], file)
}

// recover takes in uploads that a crash has left whole, and removes those that
// have run out. It leaves alone those that a request works on, as it would
// interrupt it, between its last byte and its answer.
func (r *resumable) recover(ctx context.Context) error {
	var errs []error
	err := r.store.each(r.store.open, func(u *incomingUpload) error {
		found, offset, err := r.store.find(u.ID)
		if err == nil && offset == found.Length && !r.isBusy(u.ID) && ctx.Err() == nil {
			if _, err = r.settled(ctx, u.ID); err != nil {
				errs = append(errs, err)
			}
		}
		return nil // one that cannot be read now is looked at again the next time
	})
	return errors.Join(append(errs, err, r.store.sweep())...)
}
