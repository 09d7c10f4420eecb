package server

import (
	"archive/zip"
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/text/unicode/norm"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
)

// zipPhotoTime is how long one photo or video of a ZIP may take to be made and
// sent; whoever takes longer has gone away.
const zipPhotoTime = 20 * time.Minute

// zipSmall is the size that the smaller ZIP is made of.
const zipSmall = 2048

// maxZips is how many ZIPs a person may be sent at once.
const maxZips = 2

// zipSlots counts the ZIPs being sent to each person.
type zipSlots struct {
	mu  sync.Mutex
	now map[journal.PersonID]int
}

// take returns what to call when the ZIP is sent, or [journal.TooMany].
func (z *zipSlots) take(who journal.PersonID) (done func(), err error) {
	z.mu.Lock()
	defer z.mu.Unlock()
	if z.now[who] >= maxZips {
		return nil, journal.Errorf(journal.TooMany, "You are saving %d ZIPs already. Please wait until one of them is there, or stop it, and then save this one.", maxZips)
	}
	if z.now == nil {
		z.now = map[journal.PersonID]int{}
	}
	z.now[who]++
	return func() {
		z.mu.Lock()
		defer z.mu.Unlock()
		if z.now[who]--; z.now[who] == 0 {
			delete(z.now, who)
		}
	}, nil
}

// stageZip sends all photos of a stage in one ZIP while it reads them: to the
// shop the originals; to the owner's side the views in force in full size, with
// nothing in them but the picture. With size=2048 everybody gets that size of
// the pictures instead. GET /builds/:build/stages/:stage/photos.zip?size=
func (a *App) stageZip(c echo.Context) error {
	size := c.QueryParam("size")
	if size != "" && size != counted(zipSmall) {
		return journal.Errorf(journal.Invalid, "Photos can be saved in full size, or smaller with size=%d.", zipSmall)
	}
	ctx, who := c.Request().Context(), actor(c)
	sheet, err := a.steps.ContactSheet(ctx, who, of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	if len(sheet.Photos) == 0 {
		return journal.Errorf(journal.NotFound, "%s has no photos yet, so there is nothing to save.", sheet.Stage.Name)
	}
	done, err := a.zips.take(who.Person.ID)
	if err != nil {
		return err
	}
	defer done()
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, "application/zip")
	h.Set(echo.HeaderContentDisposition, contentDisposition(cmp.Or(slug(sheet.Build.Nickname+" "+sheet.Stage.Name), "photos")+".zip"))
	wire := http.NewResponseController(c.Response())
	out := zip.NewWriter(c.Response())
	pack := zipPack{app: a, who: who, small: size != "", zone: sheet.Shop.Location(), out: out}
	for i, p := range sheet.Photos {
		err := wire.SetWriteDeadline(time.Now().Add(zipPhotoTime))
		if err != nil && !errors.Is(err, http.ErrNotSupported) { // a recorder in a test has no wire
			return err
		}
		if err := pack.add(ctx, i+1, p); err != nil {
			return cutOff(c, err)
		}
	}
	if err := pack.index(sheet); err != nil {
		return cutOff(c, err)
	}
	return cutOff(c, out.Close())
}

// cutOff breaks the connection off after a failure, so that no browser takes
// what it has for a whole file. Before anything is sent it returns the error.
func cutOff(c echo.Context, err error) error {
	if err != nil && c.Response().Committed {
		panic(http.ErrAbortHandler)
	}
	return err
}

// zipPack puts photos into a ZIP, one after the other.
type zipPack struct {
	app   *App
	who   flow.Actor
	small bool
	zone  *time.Location
	out   *zip.Writer

	made  bytes.Buffer // the picture last made, one at a time
	lines strings.Builder
	short int // photos that are not in it, or not whole
}

// add puts one photo in. A photo that cannot be read is left out, or as far as
// it could be read, and the index says so; an error is of the reader's
// connection, and ends the work.
func (z *zipPack) add(ctx context.Context, n int, c flow.ContactPhoto) error {
	// Asked anew: what was withdrawn or cropped since the beginning counts.
	p, err := z.app.steps.PhotoFileAllowed(ctx, z.who, c.Photo.BuildID, c.Photo.ID)
	if err != nil {
		return z.left(ctx, n, c, "", err)
	}
	r, closed, ending, err := z.open(ctx, p)
	if err != nil {
		return z.left(ctx, n, c, "", err)
	}
	defer closed()
	name := zipName(n, p, c.Caption, z.zone) + ending
	taken := p.CapturedAt.In(z.zone)
	if taken.Year() < 1980 { // before the first that a ZIP can tell
		taken = time.Date(1980, 1, 1, 0, 0, 0, 0, z.zone)
	}
	w, err := z.out.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Store, Modified: taken})
	if err != nil {
		return err
	}
	source := &readFault{ctx: ctx, r: r}
	if _, err := io.Copy(w, source); err != nil {
		if source.err == nil {
			return err
		}
		return z.left(ctx, n, c, name, source.err)
	}
	z.line(n, c, name, "")
	return nil
}

// open opens what the person gets of a photo, and says how its name ends.
func (z *zipPack) open(ctx context.Context, p journal.Photo) (r io.Reader, closed func() error, ending string, err error) {
	storage := z.app.storage
	if z.small && !p.Video() {
		file, err := openSize(ctx, storage, p.SHA256, p.Layer.View(), zipSmall)
		if err != nil {
			return nil, nil, "", err
		}
		return file, file.Close, ".jpg", nil
	}
	original, err := storage.Open(ctx, p.SHA256)
	if err != nil {
		return nil, nil, "", err
	}
	if z.who.Person.Role.Staff() {
		return original, original.Close, endingOf[p.Kind], nil
	}
	if r, err = z.clean(ctx, original, p); err != nil {
		return nil, nil, "", errors.Join(err, original.Close())
	}
	if p.Video() {
		return r, original.Close, endingOf[p.Kind], nil
	}
	return r, original.Close, ".jpg", nil
}

// clean is the view in force of a photo, or a video, with nothing private in it.
func (z *zipPack) clean(ctx context.Context, original media.File, p journal.Photo) (io.Reader, error) {
	info, err := media.Inspect(original, original.Size())
	switch {
	case err != nil:
		return nil, err
	case p.Video():
		return media.CleanVideo(original, info)
	case p.Layer.View() != "":
		z.made.Reset()
		return &z.made, media.FullSizeView(ctx, original, info, viewOf(p.Layer), &z.made)
	case info.Kind == media.JPEG:
		return media.CleanJPEG(original, info)
	}
	z.made.Reset()
	return &z.made, media.FullSize(ctx, original, info, &z.made)
}

// endingOf is how the name of an original of a kind ends.
var endingOf = map[string]string{
	media.JPEG.ContentType(): ".jpg", media.PNG.ContentType(): ".png", media.WebP.ContentType(): ".webp",
	media.HEIC.ContentType(): ".heic", media.MP4.ContentType(): ".mp4", media.MOV.ContentType(): ".mov",
}

// readFault keeps the error of what is read apart from that of writing, and
// stops when the reader of the ZIP is gone.
type readFault struct {
	ctx context.Context
	r   io.Reader
	err error
}

func (f *readFault) Read(p []byte) (int, error) {
	if err := f.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := f.r.Read(p)
	if err != nil && err != io.EOF {
		f.err = err
	}
	return n, err
}

// left notes a photo that could not be read; name is that of the part that is in
// the ZIP, if any.
func (z *zipPack) left(ctx context.Context, n int, c flow.ContactPhoto, name string, fault error) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	z.app.log.WarnContext(ctx, "a photo is missing in a ZIP", "photo", string(c.Photo.ID), "error", fault)
	z.short++
	note := "It could not be read and is not in this ZIP; please ask the shop."
	switch {
	case name != "":
		note = "It could not be read to its end, so this file is only a part; please ask the shop."
	case journal.CodeOf(fault) == journal.NotFound:
		note = "It was taken out of the journal while this ZIP was made."
	case z.small && errors.Is(fault, media.ErrNotFound):
		note = "It has no smaller size, or none yet; it may be in the ZIP in full size."
	}
	z.line(n, c, name, note)
	return nil
}

// line adds a photo to the index.
func (z *zipPack) line(n int, c flow.ContactPhoto, name, note string) {
	p := c.Photo
	source := p.CapturedSource
	if p.CapturedDoubt != "" {
		source += " (doubtful: " + p.CapturedDoubt + ")"
	}
	fields := []string{fmt.Sprintf("%04d", n), cmp.Or(name, "-"), p.CapturedAt.In(z.zone).Format("2006-01-02 15:04:05 -07:00"), source, c.Caption, note}
	for i, f := range fields {
		fields[i] = strings.Join(strings.Fields(f), " ") // a caption has no tabs or new lines here
	}
	z.lines.WriteString(strings.TrimRight(strings.Join(fields, "\t"), "\t") + "\r\n")
}

// index adds index.txt: UTF-8, fields apart by tabs, lines ending so that every
// editor of texts shows them.
func (z *zipPack) index(sheet flow.ContactSheet) error {
	w, err := z.out.CreateHeader(&zip.FileHeader{Name: "index.txt", Method: zip.Store, Modified: z.app.now().In(z.zone)})
	if err != nil {
		return err
	}
	head := fmt.Sprintf("%s, %s\r\n%s\r\nPhotos: %d, in the order they were taken. Times are the shop's, with the hours from UTC.\r\n",
		sheet.Build.Nickname, sheet.Stage.Name, sheet.Shop.Name, len(sheet.Photos))
	if z.short > 0 {
		head += fmt.Sprintf("Not here, or not whole: %d; see the notes.\r\n", z.short)
	}
	_, err = io.WriteString(w, head+"\r\nNumber\tName\tTaken\tHow the time is known\tCaption\tNote\r\n"+z.lines.String())
	return err
}

// zipName is a photo's name in a ZIP without its ending: its number, when it was
// taken, and its caption.
func zipName(n int, p journal.Photo, caption string, zone *time.Location) string {
	name := fmt.Sprintf("%04d_%s", n, p.CapturedAt.In(zone).Format("2006-01-02_1504"))
	if words := slug(caption); words != "" {
		name += "_" + words
	}
	return name
}

// maxSlug bounds what slug returns, in bytes.
const maxSlug = 40

// slug is what a text is called in a file's name: small ASCII letters, digits
// and hyphens, at most maxSlug and then cut between words; letters lose their
// accents, and what is no Latin letter is left out.
func slug(text string) string {
	var out strings.Builder
	for word := range strings.FieldsFuncSeq(strings.ToLower(norm.NFKD.String(text)), func(c rune) bool {
		return c < 0x80 && (c < '0' || c > '9') && (c < 'a' || c > 'z') && c != '\''
	}) {
		word = strings.Map(func(c rune) rune {
			if c >= 0x80 || c == '\'' {
				return -1
			}
			return c
		}, word)
		switch {
		case word == "":
		case out.Len() == 0:
			out.WriteString(word[:min(len(word), maxSlug)])
		case out.Len()+1+len(word) > maxSlug:
			return out.String()
		default:
			out.WriteString("-" + word)
		}
	}
	return out.String()
}
