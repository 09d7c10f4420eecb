package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"farbay/server/servertest"
)

// The main job on a phone-sized screen, with real clicks: photos posted from
// the floor, a find turned into a change order, read and signed by the owner,
// the stage closed, its invoice seen and paid, and a statement that adds up.
func TestMainJob_OnAPhone(t *testing.T) {
	b := newBrowser(t)
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	at := "/builds/" + string(build)

	floor := b.window("the floor", s.URL)
	floor.open(s.Link(s.Floor, "/"))
	floor.press("Enter")
	floor.open(at + "/stages/" + string(stages[0].ID))
	floor.press("Open this stage")
	floor.press("Post photos")
	postFind(t, floor)

	office := b.window("the office", s.URL)
	office.open(s.Link(s.Office, "/"))
	office.press("Enter")
	office.open(floor.path())
	office.press("Make a change order of this find")
	writeChange(office)
	office.press("Send it for sign-off")
	office.sees("Revision 1")

	owner := b.window("the owner", s.URL)
	s.Settle()
	signChange(t, s, owner)

	office.open(at + "/stages/" + string(stages[0].ID))
	office.sees("The invoice that will follow")
	office.press("Close Arrival and issue the invoice")
	office.sees("Invoice 1")
	owner.open(at)
	owner.sees("Invoice 1")
	owner.press("See what it is for")
	// The stage's 1,200.00 and the signed 2,190.00, see writeChange.
	owner.sees("$3,390.00 is to pay", "Both front floor pans", "$1,200.00", "$2,190.00")

	office.open(at + "/payments/new")
	office.fill("reference", "2231")
	office.press("Record the payment")
	office.sees("The payment is recorded")
	owner.open(at + "/money")
	owner.sees("Nothing is due now.")
	// 14 stages of 1,200.00 and the change: 18,990.00 agreed, 3,390.00 billed and
	// paid, 15,600.00 to bill.
	owner.sees("$18,990.00", "$3,390.00", "$15,600.00")
}

// postFind chooses ten photos, waits until they are safe, and posts them as a
// find for the owner too.
func postFind(t *testing.T, floor *window) {
	t.Helper()
	var files []string
	for i := range 10 {
		file := filepath.Join(t.TempDir(), fmt.Sprintf("IMG_%02d.jpg", i))
		if err := os.WriteFile(file, servertest.JPEG(t, i), 0o600); err != nil {
			t.Fatal(err)
		}
		files = append(files, file)
	}
	bad := filepath.Join(t.TempDir(), "not-a-photo.jpg")
	if err := os.WriteFile(bad, []byte("shopping list"), 0o600); err != nil {
		t.Fatal(err)
	}
	floor.do("chooses eleven files", chromedp.SetUploadFiles(chromedp.CSS("#f-photos"), append(files, bad)))
	floor.waits("photo has not arrived; the others are safe.")
	floor.sees("This is not a photo; please send a JPEG, PNG, WebP or HEIC file, or a short MP4 or MOV video.")
	floor.do("takes the bad one out", chromedp.Click(chromedp.Search(`//button[@data-act="out" and contains(@aria-label, "not-a-photo")]`)))
	floor.choose("Find")
	floor.fill("text", "Rust has eaten through both front pans under the mats.")
	floor.choose("Owner too")
	floor.press("Post it")
	floor.sees("Posted; the owner can see it.", "Rust has eaten through both front pans")
	shown := ask(floor, "counts the photos", chromedp.Evaluate[int](`document.querySelectorAll("main figure").length`))
	if shown != 10 {
		t.Errorf("the entry shows %d photos, want 10", shown)
	}
}

// writeChange fills in a change order: 18 hours at 95.00 are 1,710.00, with
// 480.00 of parts 2,190.00; no tax.
func writeChange(office *window) {
	office.fill("title", "Both front floor pans")
	office.fill("days", "6")
	office.fill("lines.0.text", "Cut out, fit and weld")
	office.fill("lines.0.hours", "18")
	office.press("Save and add a line")
	office.pick("lines.1.kind", "Parts")
	office.fill("lines.1.text", "Two pressed pans")
	office.fill("lines.1.amount", "480")
	office.press("Save and see it as the owner will")
	office.sees("$2,190.00", "$18,990.00", "6 working days")
}

// signChange follows the letter's link, agrees to electronic records, and signs.
func signChange(t *testing.T, s *servertest.Server, owner *window) {
	t.Helper()
	letters := s.Mail.To(s.Owner.Email)
	if len(letters) == 0 {
		t.Fatal("the owner got no letter")
	}
	paper, err := s.LinkIn(letters[len(letters)-1], "/builds/")
	if err != nil {
		t.Fatal(err)
	}
	owner.open(paper) // signed out: asks for a link
	owner.sees("Come in")
	owner.fill("email", s.Owner.Email)
	owner.press("Send me a link")
	s.Settle()
	letters = s.Mail.To(s.Owner.Email)
	enter, err := s.LinkIn(letters[len(letters)-1], "/enter/")
	if err != nil {
		t.Fatal(err)
	}
	owner.open(enter)
	owner.press("Enter")
	if owner.path() != paper {
		t.Errorf("after signing in the owner is at %s, not at the paper %s", owner.path(), paper)
	}
	owner.sees("Both front floor pans", "$18,990.00")
	owner.press("Read about electronic records")
	consent := owner.path()
	owner.open("/consent/test-record")
	word := owner.text(".becomes b")
	owner.open(consent)
	owner.fill("word", strings.ToUpper(word))
	owner.press("I agree")
	owner.choose("Yes, keep them for me")
	owner.fill("name", "Orla Wintle")
	owner.press("I agree to this change")
	owner.sees("Sign", "$18,990.00")
	owner.press("Yes, I sign it")
	owner.sees("Orla Wintle", "Both front floor pans")
	s.Settle()
	letters = s.Mail.To(s.Owner.Email)
	copied := letters[len(letters)-1]
	if len(copied.Files) != 3 || !strings.HasPrefix(string(copied.Files[2].Data), "%PDF-") {
		t.Fatalf("the copy %q has %d files, want the record, the receipt and the print", copied.Subject, len(copied.Files))
	}
	// As a stranger would check it: with the published key and nothing else.
	keys := strings.Fields(s.Client().Get("/proof-log/keys").Body)
	if found, err := verifyReceipt(copied.Files[1].Data, copied.Files[0].Data, keys); err != nil || found.Kind != "paper signed" {
		t.Errorf("the receipt in the e-mail: %+v (%v)", found, err)
	}
}
