package server

import (
	"fmt"
	"strings"
	"time"

	"farbay/journal/flow"
)

// bundleHead begins a bundle's README.txt.
const bundleHead = `PAPERS OF %s

Saved from %s on %s.

What is here
------------
%s
In each folder:
  *-revision-N.json  the paper's record: exactly the bytes that were shown and decided
  *-revision-N.pdf   the same to be read and printed, with photos, decision and questions
  *-receipt.txt      the receipt of the decision, if there is one
  *-passkey.json     what the person's passkey answered, where one confirmed the decision; the
                     receipt names its SHA-256
  photos/            the evidence photos. A file is named by the SHA-256 of the photo's
                     original, which the record names too. With "-shown" in its name it is
                     the photo as it was shown, without what a camera writes into a file
                     (place, time, serial number); only an original has that SHA-256 itself.
                     Marks on a photo are in the record and the PDF.
  signed-sheet-*     the scan of a sheet that was signed by hand, named by its SHA-256
  questions.txt      what was asked and answered; no part of the record
Beside the folders:
  keys.txt           the public keys of the shop's proof log, the newest last
  checkpoint.txt     the newest signed checkpoint of the log
  SHA256SUMS         the SHA-256 of each file here
`

// bundleHow says how to check a bundle; %s are commands.
const bundleHow = `
How to check it
---------------
You need no account and no connection for this, only the program sha256sum (on a Mac
"shasum -a 256", on Windows "certutil -hashfile NAME SHA256") and, for receipts, Farbay
itself, the program that the shop uses.

1. That no file was damaged on its way. In this folder:

     sha256sum -c SHA256SUMS

2. That a PDF is that of its record. Count the record's SHA-256; it stands at the foot of
   each page of the PDF:

%s
3. That the decision was made on this record and stands in the shop's log:

%s
   It says "Good", who decided and in which words, and that the paper is the one that was
   decided. Change one digit of the record, and it says what is wrong.

4. That keys.txt is the shop's. Hold it against what the shop publishes at its address
   /proof-log/keys, or against the key in an e-mail that you have from it. A key that comes
   only with the bundle proves nothing about who made the bundle.

5. That the log was not written anew. The checkpoints in e-mails from the shop are copies of
   the log's state on their day. The shop's log must fit each of them; "farbay check" on the
   shop's data tests that, and an old checkpoint that does not fit shows that it was changed.

What that proves, and what not
------------------------------
It proves that the record is, byte for byte, the one that the decision was recorded on; that
the decision stands in the shop's log with the name, the words and the time in the receipt;
and that whoever held the shop's key signed that log.
It does not prove who sat at the screen (the PDF says how the person had proved who they
are), that what the record says is true, or that a time is right beyond the shop's clock.
SHA256SUMS finds damage; whoever changes a file on purpose can change it too.
This is no legal advice.
`

// readme is the bundle's README.txt.
func (b *bundle) readme() string {
	var list, hash, verify strings.Builder
	for _, p := range b.papers {
		fmt.Fprintf(&list, "  %s/  %s (%s)\n", p.dir, strings.Join(strings.Fields(p.title), " "), p.state)
		fmt.Fprintf(&hash, "     sha256sum %s/%s\n", p.dir, p.record)
		if p.receipt != "" {
			fmt.Fprintf(&verify, "     farbay verify --keys keys.txt %s/%s %s/%s\n", p.dir, p.receipt, p.dir, p.record)
		}
	}
	if verify.Len() == 0 {
		verify.WriteString("     Nothing is decided yet, so there is no receipt here.\n")
	}
	shop := b.app.store.last()
	text := fmt.Sprintf(bundleHead, b.nickname, shop.Name, b.now.In(b.zip.zone).Format("2 January 2006, 15:04 -07:00"), list.String()) +
		b.notHere() + fmt.Sprintf(bundleHow, hash.String(), verify.String())
	return strings.ReplaceAll(text, "\n", "\r\n") // every editor of texts shows such lines
}

// notHere lists what is missing.
func (b *bundle) notHere() string {
	if len(b.missing) == 0 {
		return ""
	}
	return "\nNot here, or not whole\n----------------------\n" + strings.Join(b.missing, "\n") + "\n"
}

// questions is a paper's questions.txt.
func (b *bundle) questions(kept flow.PaperKept) string {
	var out strings.Builder
	moment := func(at time.Time) string { return at.In(b.zip.zone).Format("2006-01-02 15:04:05 -07:00") }
	out.WriteString("Questions about this paper and their answers. They are no part of its record.\n")
	for _, q := range kept.Questions {
		fmt.Fprintf(&out, "\n%s asked on %s, about revision %d:\n%s\n", kept.Names[q.AskedBy], moment(q.AskedAt), q.Revision, q.Text)
		if q.AnsweredAt.IsZero() {
			out.WriteString("Not answered yet.\n")
			continue
		}
		fmt.Fprintf(&out, "%s answered on %s:\n%s\n", kept.Names[q.AnsweredBy], moment(q.AnsweredAt), q.Answer)
	}
	return strings.ReplaceAll(strings.ReplaceAll(out.String(), "\r\n", "\n"), "\n", "\r\n")
}
