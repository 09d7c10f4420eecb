package server_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/media"
	"farbay/server/servertest"
)

// sentWith sends a change order with photos as evidence.
func sentWith(t *testing.T, s *servertest.Server, b servertest.Full, title string, photos ...journal.PhotoID) signoff.Paper {
	t.Helper()
	ctx, steps, office := context.Background(), s.App.Steps(), servertest.Actor(s.Office)
	p, err := steps.NewPaper(ctx, office, b.ID, flow.PaperStart{Kind: signoff.ChangeOrder})
	if err != nil {
		t.Fatal(err)
	}
	draft := signoff.Draft{Title: title, Reason: "Rusted through.", StageID: b.Open, Lines: []signoff.Line{{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48_000}}}
	for _, id := range photos {
		draft.Photos = append(draft.Photos, signoff.Evidence{PhotoID: id})
	}
	if p, err = steps.SavePaper(ctx, office, b.ID, p.ID, p.Version, draft); err != nil {
		t.Fatal(err)
	}
	if p, err = steps.SendPaper(ctx, office, b.ID, p.ID, p.Version); err != nil {
		t.Fatal(err)
	}
	return p
}

// taken takes a file into a build, in no entry.
func taken(t *testing.T, s *servertest.Server, build journal.BuildID, body []byte) journal.Photo {
	t.Helper()
	got, err := s.App.Intake().Take(context.Background(), servertest.Actor(s.Floor), build, "secret-name.jpg", bytes.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return got.Photo
}

// withEnding is the content of the only file whose name ends so.
func withEnding(t *testing.T, files map[string]string, ending string) string {
	t.Helper()
	found := ""
	for name, body := range files {
		if strings.HasSuffix(name, ending) {
			if found != "" {
				t.Errorf("two files end in %s", ending)
			}
			found = body
		}
	}
	if found == "" {
		t.Errorf("no file ends in %s: %q", ending, keys(files))
	}
	return found
}

// The shop gets originals; the owner what was shown, without what the files
// tell, and an original that was handed out; nobody of the owner's side gets
// anything that is the shop's.
func TestBundle_WhatEachMaySee(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	telling := tellingJPEG(t, 900)
	photo := taken(t, s, b.ID, telling)
	steps, ctx, office := s.App.Steps(), context.Background(), servertest.Actor(s.Office)
	half := journal.Layer{Crop: journal.Crop{W: 5000, H: journal.Full}, Marks: []journal.Mark{{Shape: journal.MarkArrow, X: 1000, Y: 1000, X2: 4000, Y2: 4000, Text: "crack"}}}
	whole := taken(t, s, b.ID, servertest.JPEG(t, 901))
	s.Settle()
	if err := steps.SetLayer(ctx, office, b.ID, photo.ID, 0, half); err != nil {
		t.Fatal(err)
	}
	s.Settle()
	p := sentWith(t, s, b, "Left pan", photo.ID, whole.ID)
	s.Settle()
	if err := steps.HandOut(ctx, office, b.ID, whole.ID, true); err != nil {
		t.Fatal(err)
	}
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	at := "/builds/" + string(b.ID)

	reply := owner.Get(at + "/bundle.zip").Status(http.StatusOK)
	if kind, name := reply.Header.Get("Content-Type"), reply.Header.Get("Content-Disposition"); kind != "application/zip" || !strings.Contains(name, "heron-papers.zip") {
		t.Errorf("sent as %q, %q", kind, name)
	}
	files := unzipped(t, reply.Body)
	shown := withEnding(t, files, photo.SHA256+"-shown-t0-0-0-5000-10000.jpg")
	if word := hasPrivate(exiftool(t, "one.jpg", shown)); word != "" {
		t.Errorf("the owner's photo tells %q", word)
	}
	if body := withEnding(t, files, whole.SHA256+".jpg"); signoff.Hash([]byte(body)) != whole.SHA256 {
		t.Error("the original that was handed out is not it")
	}
	if asked := withEnding(t, files, "change-order-1/questions.txt"); !strings.Contains(asked, "Why so much?") || !strings.Contains(asked, "Not answered yet.") {
		t.Errorf("the questions:\n%s", asked)
	}
	if pdf := withEnding(t, files, fmt.Sprintf("change-order-%d-revision-1.pdf", p.Number)); !strings.HasPrefix(pdf, "%PDF-") {
		t.Error("the print is none")
	}
	for _, secret := range []string{"secret-name", "IMG_10", "For the shop only", string(b.ShopPhoto.ID), b.ShopPhoto.SHA256, b.LoosePhoto.SHA256, string(b.Draft.ID), "Calder"} {
		if strings.Contains(reply.Body, secret) {
			t.Errorf("the owner learns of %q", secret)
		}
	}
	for _, name := range []string{"README.txt", "SHA256SUMS", "keys.txt", "checkpoint.txt"} {
		if files[name] == "" {
			t.Errorf("%s is missing", name)
		}
	}
	if strings.Contains(files["README.txt"], "Not here") || !strings.Contains(files["README.txt"], "Nothing is decided yet") {
		t.Errorf("the README:\n%s", files["README.txt"])
	}

	originals := unzipped(t, floor.Get(at+"/papers/"+string(p.ID)+"/bundle.zip").Status(http.StatusOK).Body)
	if withEnding(t, originals, photo.SHA256+".jpg") != string(telling) {
		t.Error("the shop does not get the original")
	}
	if all := strings.Join(keys(originals), " "); strings.Contains(all, "change-order-1/") {
		t.Errorf("one paper's bundle has another's files: %s", all)
	}
	floor.Get(at + "/papers/" + string(b.Draft.ID) + "/bundle.zip").Status(http.StatusNotFound).Says("not sent yet")
	owner.Get(at + "/papers/" + string(b.Draft.ID) + "/bundle.zip").Status(http.StatusNotFound)
}

// A photo that is lost, changed on the disk, or not made ready yet breaks no
// bundle and no print; the README says what is missing.
func TestBundle_WhatIsMissing(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	var photos []journal.Photo
	for i := range 3 {
		photos = append(photos, taken(t, s, b.ID, servertest.JPEG(t, 900+i)))
	}
	s.Settle()
	pending := taken(t, s, b.ID, servertest.JPEG(t, 909)) // its sizes are not made
	p := sentWith(t, s, b, "Left pan", photos[0].ID, photos[1].ID, photos[2].ID, pending.ID)
	disk := s.App.Storage().(*media.Disk)
	if err := os.Remove(disk.OriginalPath(photos[0].SHA256)); err != nil {
		t.Fatal(err)
	}
	changed := disk.OriginalPath(photos[1].SHA256)
	if err := os.Chmod(changed, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(changed, servertest.JPEG(t, 950), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []*servertest.Client{s.As(s.Owner), s.As(s.Floor)} {
		files := unzipped(t, c.Get("/builds/"+string(b.ID)+"/papers/"+string(p.ID)+"/bundle.zip").Status(http.StatusOK).Body)
		readme := files["README.txt"]
		if !strings.Contains(readme, "Not here, or not whole") || !strings.Contains(readme, photos[0].SHA256+"\r\n  This photo could not be read") {
			t.Errorf("the README does not tell of what is lost:\n%s", readme)
		}
		names := strings.Join(keys(files), " ")
		if !strings.Contains(names, photos[2].SHA256) || !strings.Contains(names, pending.SHA256) || strings.Contains(names, photos[0].SHA256) {
			t.Errorf("the files are %s", names)
		}
		withEnding(t, files, "revision-1.pdf")
	}
	files := unzipped(t, s.As(s.Office).Get("/builds/"+string(b.ID)+"/papers/"+string(p.ID)+"/bundle.zip").Status(http.StatusOK).Body)
	if !strings.Contains(files["README.txt"], "not the photo that the paper names: its SHA-256 is another") {
		t.Errorf("the README does not tell of what was changed:\n%s", files["README.txt"])
	}
}

// The sheet that was signed by hand is with the paper, whole, and the print names
// it.
func TestBundle_SignedByHand(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	steps, ctx, office := s.App.Steps(), context.Background(), servertest.Actor(s.Office)
	v, err := steps.PaperPage(ctx, office, b.ID, b.Paper.ID)
	if err != nil {
		t.Fatal(err)
	}
	scan := "%PDF-1.7 as it was signed"
	_, err = steps.RecordOnPaper(ctx, office, b.ID, b.Paper.ID, flow.OnPaper{
		Otherwise: flow.Otherwise{Revision: 1, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, PersonID: s.Owner.ID},
		Name:      "Ada Finch", On: journal.Date(v.Sheet.SentOn), ScanName: "scan.pdf", Scan: []byte(scan),
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Settle()
	files := unzipped(t, s.As(s.Owner).Get("/builds/"+string(b.ID)+"/bundle.zip").Status(http.StatusOK).Body)
	if got := withEnding(t, files, "change-order-1/signed-sheet-"+signoff.Hash([]byte(scan))+".pdf"); got != scan {
		t.Errorf("the scan is %q", got)
	}
	withEnding(t, files, "change-order-1-receipt.txt")
	if copied := copyOf(t, s); len(copied.Files) != 3 || !strings.HasPrefix(string(copied.Files[2].Data), "%PDF-") {
		t.Errorf("the copy has %d files, or no print", len(copied.Files))
	}
}

// A build none of whose papers went out has no bundle.
func TestBundle_Nothing(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Juniper", s.Owner)
	s.As(s.Owner).Get("/builds/" + string(build) + "/bundle.zip").Status(http.StatusNotFound).Says("nothing to save")
}

// peak reads to the end and returns the most memory that was in use meanwhile.
type peak struct{ bytes, most, sampled uint64 }

func (p *peak) Write(b []byte) (int, error) {
	p.bytes += uint64(len(b))
	if p.bytes-p.sampled > 8<<20 {
		p.sampled = p.bytes
		runtime.GC()
		var now runtime.MemStats
		runtime.ReadMemStats(&now)
		p.most = max(p.most, now.HeapAlloc)
	}
	return len(b), nil
}

// What is sent does not lie in memory: 48 MB of originals take less than a third
// of it.
func TestBundle_Memory(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	comment := append([]byte{0xff, 0xfe, 0xff, 0xff}, make([]byte, 65533)...) // ITU-T T.81, B.2.4.5
	var photos []journal.PhotoID
	for i := range 8 {
		plain := servertest.JPEG(t, 910+i)
		photos = append(photos, taken(t, s, b.ID, slices.Concat(plain[:2], bytes.Repeat(comment, 96), plain[2:])).ID)
	}
	s.Settle()
	p := sentWith(t, s, b, "Left pan", photos...)
	office := s.As(s.Office)
	runtime.GC()
	var before runtime.MemStats
	runtime.ReadMemStats(&before)
	r, err := http.NewRequestWithContext(t.Context(), http.MethodGet, s.URL+"/builds/"+string(b.ID)+"/papers/"+string(p.ID)+"/bundle.zip", nil)
	if err != nil {
		t.Fatal(err)
	}
	reply, err := office.HTTP.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer reply.Body.Close()
	var seen peak
	if _, err := io.Copy(&seen, reply.Body); err != nil {
		t.Fatal(err)
	}
	if seen.bytes < 48<<20 || seen.most > before.HeapAlloc+16<<20 {
		t.Errorf("%d MB were sent, with %d MB in use, %d MB before", seen.bytes>>20, seen.most>>20, before.HeapAlloc>>20)
	}
	t.Logf("%d MB sent, %d MB in use at most, %d MB before", seen.bytes>>20, seen.most>>20, before.HeapAlloc>>20)
}

// The print is shown in the browser under a good name, with the photos that its
// reader may see.
func TestPaperPDF(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	at := "/builds/" + string(b.ID) + "/papers/" + string(b.Paper.ID)
	for _, who := range []*servertest.Client{s.As(s.Owner), s.As(s.Floor), s.As(s.Office)} {
		reply := who.Get(at + "/revisions/1/pdf").Status(http.StatusOK)
		if kind, name := reply.Header.Get("Content-Type"), reply.Header.Get("Content-Disposition"); kind != "application/pdf" || name != "inline; filename=change-order-1-revision-1.pdf" {
			t.Errorf("sent as %q, %q", kind, name)
		}
		if !strings.HasPrefix(reply.Body, "%PDF-") || !strings.Contains(reply.Body, "/DCTDecode") {
			t.Error("it is no PDF, or has no photo in it")
		}
		who.Get(at + "/revisions/2/pdf").Status(http.StatusNotFound)
		who.Get(at + "/revisions/x/pdf").Status(http.StatusNotFound)
	}
	s.As(s.Floor).Get("/builds/" + string(b.ID) + "/papers/" + string(b.Draft.ID) + "/revisions/1/pdf").Status(http.StatusNotFound)
}

// The owner's copy carries the print as the paper was decided, whenever it is
// sent; when none can be made the letter goes out all the same, and says so.
func TestPaperPDF_InTheCopy(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	s.Consents(s.Owner)
	at := "/builds/" + string(b.ID) + "/papers/" + string(b.Paper.ID)
	owner := s.As(s.Owner)
	record := owner.Get(at + "/revisions/1/record").Status(http.StatusOK).Body
	s.Mail.FailWith(fmt.Errorf("no connection"))
	sign := url.Values{"revision": {"1"}, "sha256": {signoff.Hash([]byte(record))}, "name": {"Ada Finch"}, "parts_back": {"no"}, "sure": {"yes"}}
	owner.Post(at+"/sign", sign).Status(http.StatusOK).Says("Signed. Thank you")
	asDecided := owner.Get(at + "/revisions/1/pdf").Status(http.StatusOK).Body
	s.Settle()
	// What is said later is not in the copy.
	s.Clock.Pass(10 * time.Minute)
	if err := s.App.Steps().Answer(context.Background(), servertest.Actor(s.Office), b.ID, b.Paper.ID, b.Question, "Rust."); err != nil {
		t.Fatal(err)
	}
	if later := owner.Get(at + "/revisions/1/pdf").Status(http.StatusOK).Body; later == asDecided {
		t.Error("the answer is not in the print")
	}
	s.Mail.FailWith(nil)
	s.Clock.Pass(time.Hour)
	s.Settle()
	copied := copyOf(t, s)
	if len(copied.Files) != 3 || copied.Files[2].Name != "change-order-1-revision-1.pdf" || string(copied.Files[2].Data) != asDecided {
		t.Errorf("the copy has %d files, or not the print as it was decided", len(copied.Files))
	}
	if !strings.Contains(copied.Text, "as a PDF") || strings.Contains(copied.Text, "could not be attached") {
		t.Errorf("the letter says:\n%s", copied.Text)
	}
}

// copyOf is the last letter to the owner with their copy of a decision.
func copyOf(t *testing.T, s *servertest.Server) journal.Letter {
	t.Helper()
	letters := s.Mail.To(s.Owner.Email)
	for _, l := range slices.Backward(letters) {
		if strings.Contains(l.Subject, "Your copy") {
			return l
		}
	}
	t.Fatal("no copy was sent")
	return journal.Letter{}
}

func TestPaperPDF_CannotBeMade(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	s.Consents(s.Owner)
	at := "/builds/" + string(b.ID) + "/papers/" + string(b.Paper.ID)
	owner := s.As(s.Owner)
	disk := s.App.Storage().(*media.Disk)
	for _, size := range journal.PhotoSizes {
		if err := disk.PutDerivative(context.Background(), b.Evidence.SHA256, size, []byte("no picture")); err != nil {
			t.Fatal(err)
		}
	}
	record := owner.Get(at + "/revisions/1/record").Status(http.StatusOK).Body
	owner.Post(at+"/sign", url.Values{"revision": {"1"}, "sha256": {signoff.Hash([]byte(record))}, "name": {"Ada Finch"}, "parts_back": {"no"}, "sure": {"yes"}}).Status(http.StatusOK).Says("Signed. Thank you")
	s.Settle()
	copied := copyOf(t, s)
	if len(copied.Files) != 2 || string(copied.Files[0].Data) != record || !strings.Contains(copied.Text, "The PDF could not be attached") {
		t.Errorf("the letter has %d files and says:\n%s", len(copied.Files), copied.Text)
	}
	owner.Get(at + "/revisions/1/pdf").Status(http.StatusInternalServerError)
	files := unzipped(t, owner.Get(at+"/bundle.zip").Status(http.StatusOK).Body)
	if !strings.Contains(files["README.txt"], "The PDF could not be made") {
		t.Errorf("the README:\n%s", files["README.txt"])
	}
}
