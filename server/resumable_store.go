package server

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/tus/tusd/v2/pkg/handler"

	"farbay/journal"
)

// maxOpenUploads is the most uploads that one person may have begun and not
// brought to their end: more than a phone that lost its link over and over
// leaves behind.
const maxOpenUploads = 200

// incomingUpload is one resumable upload: what is known of it before its bytes
// have arrived, and afterwards what became of it.
type incomingUpload struct {
	ID      string           `json:"id"`
	BuildID journal.BuildID  `json:"build"`
	ByID    journal.PersonID `json:"person"`
	// Address and UserAgent are those of the request that began it.
	Address   string            `json:"address"`
	UserAgent string            `json:"user_agent"`
	Length    int64             `json:"length"` // in bytes
	Meta      map[string]string `json:"meta,omitempty"`
	CreatedAt time.Time         `json:"created_at"`
	ExpiresAt time.Time         `json:"expires_at"`

	Taken   *takenUpload   `json:"taken,omitempty"`
	Refused *refusedUpload `json:"refused,omitempty"`
}

// takenUpload is the answer to the last byte of an upload that was taken in.
type takenUpload struct {
	PhotoID   journal.PhotoID `json:"photo"`
	Thumb     string          `json:"thumb"`
	Duplicate bool            `json:"duplicate,omitempty"`
}

// refusedUpload is why an upload's content was refused; the same bytes can only
// be refused again.
type refusedUpload struct {
	Code    journal.Code `json:"code"`
	Message string       `json:"message"`
}

func (u *incomingUpload) settled() bool { return u.Taken != nil || u.Refused != nil }

// incomingStore keeps resumable uploads as files of one folder: "open" has the
// bytes so far and a record of each upload under way, "done" only the record of
// what became of it. How far an upload has come is the length of its file, so a
// crash can leave no record that says more than is there.
//
// The store that comes with tusd is not used:
// it does not sync what it acknowledges, and knows no owner, limit or end.
type incomingStore struct {
	open, done string // folders
	now        func() time.Time
	life       time.Duration
	// creating is held while uploads of a person are counted and one is added.
	creating sync.Mutex
}

// openIncoming opens the folder, which it makes if need be.
func openIncoming(dir string, life time.Duration, now func() time.Time) (*incomingStore, error) {
	s := &incomingStore{open: filepath.Join(dir, "open"), done: filepath.Join(dir, "done"), now: now, life: life}
	for _, folder := range []string{s.open, s.done} {
		if err := os.MkdirAll(folder, 0o700); err != nil {
			return nil, err
		}
	}
	return s, nil
}

var uploadID = regexp.MustCompile(`^[a-z0-9]{16,64}$`)

func (s *incomingStore) bytesPath(id string) string { return filepath.Join(s.open, id+".part") }

// find returns an upload and how many bytes of it are there. It returns
// [journal.NotFound] for one that is not there or has run out.
func (s *incomingStore) find(id string) (u *incomingUpload, offset int64, err error) {
	if !uploadID.MatchString(id) {
		return nil, 0, errNoUpload(nil)
	}
	for _, folder := range []string{s.done, s.open} {
		u, err = readUpload(filepath.Join(folder, id+".json"))
		if !errors.Is(err, fs.ErrNotExist) {
			break
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, errNoUpload(err)
	}
	if err != nil {
		return nil, 0, err
	}
	if !s.now().Before(u.ExpiresAt) {
		return nil, 0, errNoUpload(nil)
	}
	if u.settled() {
		return u, u.Length, nil
	}
	bytes, err := os.Stat(s.bytesPath(id))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, errNoUpload(err)
	}
	if err != nil {
		return nil, 0, err
	}
	return u, bytes.Size(), nil
}

func errNoUpload(cause error) error {
	return &journal.Error{Code: journal.NotFound, Err: cause, Message: "There is no such upload, or it was left for too long. Please send the file again."}
}

func readUpload(at string) (*incomingUpload, error) {
	text, err := os.ReadFile(at)
	if err != nil {
		return nil, err
	}
	u := &incomingUpload{}
	if err := json.Unmarshal(text, u); err != nil {
		return nil, fmt.Errorf("server: the record %s: %w", at, err)
	}
	return u, nil
}

// create adds an upload, empty yet.
func (s *incomingStore) create(u *incomingUpload) error {
	s.creating.Lock()
	defer s.creating.Unlock()
	theirs := 0
	if err := s.each(s.open, func(other *incomingUpload) error {
		if other.ByID == u.ByID && s.now().Before(other.ExpiresAt) {
			theirs++
		}
		return nil
	}); err != nil {
		return err
	}
	if theirs >= maxOpenUploads {
		return journal.Errorf(journal.TooMany, "You began to send %d files that have not arrived whole. Please finish or take back some of them first.", theirs)
	}
	u.CreatedAt = s.now()
	u.ExpiresAt = u.CreatedAt.Add(s.life)
	f, err := os.OpenFile(s.bytesPath(u.ID), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return diskFull(err)
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return diskFull(err)
	}
	if err := writeUpload(s.open, u); err != nil {
		return errors.Join(err, os.Remove(s.bytesPath(u.ID)))
	}
	return nil
}

// settle stores what became of an upload and forgets its bytes.
func (s *incomingStore) settle(u *incomingUpload) error {
	if err := writeUpload(s.done, u); err != nil {
		return err
	}
	return s.dropOpen(u.ID)
}

// drop forgets an upload altogether.
func (s *incomingStore) drop(id string) error {
	return errors.Join(removeFile(filepath.Join(s.done, id+".json")), s.dropOpen(id))
}

// dropOpen removes the record first: bytes without one are swept.
func (s *incomingStore) dropOpen(id string) error {
	return errors.Join(removeFile(filepath.Join(s.open, id+".json")), removeFile(s.bytesPath(id)))
}

func removeFile(at string) error {
	if err := os.Remove(at); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return nil
}

// each calls f with every record of a folder. Those that go meanwhile are
// passed over.
func (s *incomingStore) each(folder string, f func(*incomingUpload) error) error {
	files, err := os.ReadDir(folder)
	if err != nil {
		return err
	}
	for _, file := range files {
		if !strings.HasSuffix(file.Name(), ".json") {
			continue
		}
		u, err := readUpload(filepath.Join(folder, file.Name()))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return err
		}
		if err := f(u); err != nil {
			return err
		}
	}
	return nil
}

// sweep removes uploads that have run out, and what a crash left without its
// record.
func (s *incomingStore) sweep() error {
	var errs []error
	for _, folder := range []string{s.open, s.done} {
		errs = append(errs, s.each(folder, func(u *incomingUpload) error {
			if s.now().Before(u.ExpiresAt) {
				return nil
			}
			return s.drop(u.ID)
		}))
	}
	return errors.Join(append(errs, s.sweepLeftovers())...)
}

func (s *incomingStore) sweepLeftovers() error {
	s.creating.Lock()
	defer s.creating.Unlock()
	files, err := os.ReadDir(s.open)
	if err != nil {
		return err
	}
	var errs []error
	for _, file := range files {
		id, part := strings.CutSuffix(file.Name(), ".part")
		id, record := strings.CutSuffix(id, ".json")
		switch {
		case part:
			_, err := os.Stat(filepath.Join(s.open, id+".json"))
			if errors.Is(err, fs.ErrNotExist) {
				errs = append(errs, removeFile(s.bytesPath(id)))
			}
		case record:
			if _, err := os.Stat(filepath.Join(s.done, id+".json")); err == nil {
				errs = append(errs, s.dropOpen(id))
			}
		}
	}
	return errors.Join(errs...)
}

// writeUpload writes a record so that after a crash there is the old one, or
// none, or the new one.
func writeUpload(folder string, u *incomingUpload) (err error) {
	text, err := json.Marshal(u)
	if err != nil {
		return err
	}
	beside := filepath.Join(folder, u.ID+".new")
	f, err := os.OpenFile(beside, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if err != nil {
		return diskFull(err)
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return diskFull(errors.Join(err, removeFile(beside)))
	}
	if err := os.Rename(beside, filepath.Join(folder, u.ID+".json")); err != nil {
		return diskFull(err)
	}
	dir, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}

// diskFull gives the errors of a full disk or quota a sentence.
func diskFull(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return &journal.Error{Code: journal.Unavailable, Err: err,
			Message: "The shop's disk is full, so this file was not stored to its end. Please keep it and tell the office; it goes on where it stopped."}
	}
	return err
}

// NewUpload implements [handler.DataStore]. The record was made by the hook
// before it, under info's ID.
func (s *incomingStore) NewUpload(ctx context.Context, info handler.FileInfo) (handler.Upload, error) {
	u, known := ctx.Value(newUploadKey{}).(*incomingUpload)
	if !known {
		return nil, errors.New("server: an upload without its record")
	}
	u.ID, u.Length, u.Meta = info.ID, info.Size, info.MetaData
	if err := s.create(u); err != nil {
		return nil, err
	}
	return &incomingFile{store: s, record: u}, nil
}

// newUploadKey is where a request's context has the record of the upload that
// it may begin.
type newUploadKey struct{}

// GetUpload implements [handler.DataStore].
func (s *incomingStore) GetUpload(_ context.Context, id string) (handler.Upload, error) {
	u, offset, err := s.find(id)
	if err != nil {
		return nil, err
	}
	return &incomingFile{store: s, record: u, offset: offset}, nil
}

// incomingFile is one upload as tusd sees it.
type incomingFile struct {
	store  *incomingStore
	record *incomingUpload
	offset int64
}

// WriteChunk implements [handler.Upload]: what it reports as written is on disk.
func (f *incomingFile) WriteChunk(_ context.Context, _ int64, src io.Reader) (n int64, err error) {
	file, err := os.OpenFile(f.store.bytesPath(f.record.ID), os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return 0, err
	}
	n, err = io.Copy(file, src)
	f.offset += n
	return n, diskFull(errors.Join(err, file.Sync(), file.Close()))
}

// GetInfo implements [handler.Upload].
func (f *incomingFile) GetInfo(context.Context) (handler.FileInfo, error) {
	return handler.FileInfo{ID: f.record.ID, Size: f.record.Length, Offset: f.offset, MetaData: f.record.Meta}, nil
}

// GetReader implements [handler.Upload].
func (f *incomingFile) GetReader(context.Context) (io.ReadCloser, error) {
	return os.Open(f.store.bytesPath(f.record.ID))
}

// FinishUpload implements [handler.Upload]; the hook after it does the work.
func (f *incomingFile) FinishUpload(context.Context) error { return nil }

// Terminate implements [handler.TerminatableUpload]. A photo that was taken in
// stays.
func (f *incomingFile) Terminate(context.Context) error { return f.store.drop(f.record.ID) }
