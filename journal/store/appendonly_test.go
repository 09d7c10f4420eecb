package store

import (
	"fmt"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/coating"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// fullYard is the yard with a row in every append-only table.
func fullYard(t testing.TB) *Store {
	t.Helper()
	s := yard(t)
	addFind(t, s)
	sendPaper(t, s, "paper", "find-photo")
	sendPaper(t, s, "open")
	write(t, s, func(tx flow.Tx) error {
		e, err := tx.Entry(heron, "find")
		if err != nil {
			return err
		}
		_, event := tx.AddEvent(journal.Event{At: noon, BuildID: heron, Kind: "paper sent", Subject: "paper"})
		for _, err := range []error{
			event,
			tx.SaveEntry(e, journal.EntryEdit{EntryID: e.ID, Version: e.Version, StageID: teardown, ByID: pat, At: noon}),
			tx.AddLetter(journal.Letter{ID: "letter", To: "ada@example.org", CreatedAt: noon, Files: []journal.LetterFile{{Name: "copy.json"}}}),
			tx.AddDecision(decision("paper", 1, sheet(t, heron, 1, "find-photo"))),
			tx.AddTurn(journal.Turn{StageID: teardown, To: journal.UnderWay, At: noon}),
			tx.AddInvoice(invoice("invoice", heron, 1, "stage:teardown")),
			tx.AddReminder(journal.Reminder{InvoiceID: "invoice", Step: 1, At: noon}),
			tx.AddLayer(journal.LayerSet{BuildID: heron, PhotoID: "find-photo", Layer: journal.Layer{Number: 1, Turn: 1}, ByID: jory, At: noon}),
			tx.AddLogKey(flow.LogKey{Public: "key", At: noon}),
			tx.AddCheckpoint(flow.SignedCheckpoint{Size: 1, Note: []byte("note"), At: noon}),
			tx.AddAllowance(signoff.Allowance{ID: "allowance", BuildID: heron, PaperID: "paper", Limits: signoff.Limits{PerFind: 1, PerMonth: 2}, FromAt: noon}),
			tx.AddUse(signoff.Use{
				ID: "use", BuildID: heron, AllowanceID: "allowance", Number: 1, EntryID: "find", StageID: teardown, Amount: 1, Month: "2026-04", ByID: pat, At: noon,
				Photos: []signoff.Evidence{{PhotoID: "find-photo"}},
			}),
			tx.AddBelonging(journal.Belonging{EntryID: "find", BuildID: heron, What: "a toolbox", AskedBy: jory, AskedAt: noon}),
			tx.AnswerBelonging("find", 1, journal.Answered{Answer: journal.Keep, PersonID: ada, At: noon}),
			tx.AddWork(journal.Work{ID: "work", BuildID: heron, StageID: teardown, Kind: journal.Labour, Day: "2026-04-14", PersonID: jory, Minutes: 60, Rate: 95_00, Amount: 95_00, ByID: jory, At: noon}),
			tx.AddWorkFile(journal.WorkFile{WorkID: "work", Name: "invoice.pdf", SHA256: strings.Repeat("0", 64), Data: []byte("%PDF")}),
			tx.AddMix(coating.Mix{ID: "mix", BuildID: heron, StageID: teardown, Product: "primer", Amount: 1000, ByID: jory, At: noon}),
			tx.AddPour(coating.PourRow{MixID: "mix", Number: 1, Pour: coating.Pour{Act: coating.Poured, Scale: 800}, ByID: jory, At: noon}),
			tx.AddReading(coating.Reading{ID: "reading", BuildID: heron, StageID: teardown, Place: "hood", Film: 2500, Unit: coating.Mil, ByID: jory, At: noon}),
			tx.AddUsed(coating.Used{ID: "used", BuildID: heron, StageID: teardown, MixID: "mix", Product: "primer", Amount: 1000, Unit: coating.UsedGrams, ByID: jory, At: noon}),
			tx.AddPaintBack(coating.Back{OfID: "reading", BuildID: heron, StageID: teardown, Reason: "the wrong panel", ByID: jory, At: noon}),
			tx.AddPaintShown(coating.Shown{BuildID: heron, StageID: teardown, Audience: journal.OwnerToo, ByID: pat, At: noon}),
			tx.AddPayment(journal.Payment{ID: "payment", BuildID: heron, InvoiceID: "invoice", Amount: 100, On: "2026-04-14", Means: journal.Wire, RecordedAt: noon}),
		} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	return s
}

func TestAppendOnly(t *testing.T) {
	s := fullYard(t)
	for _, table := range []string{
		"events", "revisions", "revision_photos", "decisions", "invoices", "billed_charges", "payments", "entry_edits", "turns", "letter_files",
		"log_keys", "checkpoints", "allowance_uses", "use_photos", "belonging_answers", "work", "work_files", "photo_layers",
		"mixes", "pours", "film_readings", "paint_used", "paint_backs", "paint_shown",
	} {
		var column string
		if err := s.reader.Raw("SELECT name FROM pragma_table_info(?) WHERE type = 'TEXT' ORDER BY pk DESC, cid DESC LIMIT 1", table).Scan(&column).Error; err != nil {
			t.Fatal(err)
		}
		var n int
		if err := s.reader.Raw("SELECT count(*) FROM " + table).Scan(&n).Error; err != nil || n == 0 {
			t.Fatalf("%s holds %d rows (%v), so refusing to change them would say nothing", table, n, err)
		}
		for _, query := range []string{
			fmt.Sprintf("UPDATE %s SET %s = %s", table, column, column), // even to the same value
			"DELETE FROM " + table,
			// REPLACE deletes without asking triggers unless they are recursive:
			// https://www.sqlite.org/lang_conflict.html
			fmt.Sprintf("INSERT OR REPLACE INTO %s SELECT * FROM %s", table, table),
		} {
			err := s.writer.Exec(query).Error
			if err == nil {
				t.Errorf("%s went through", query)
				continue
			}
			if !strings.Contains(err.Error(), "append-only") && !strings.Contains(query, "REPLACE") {
				t.Errorf("%s: refused for another reason: %v", query, err)
			}
		}
		var left int
		if err := s.reader.Raw("SELECT count(*) FROM " + table).Scan(&left).Error; err != nil || left != n {
			t.Errorf("%s: %d of %d rows are left (%v)", table, left, n, err)
		}
	}
}

// TestAppendOnly_Replace: the refusal of REPLACE is the delete trigger's, not
// luck with another constraint.
func TestAppendOnly_Replace(t *testing.T) {
	s := fullYard(t)
	err := s.writer.Exec("INSERT OR REPLACE INTO turns SELECT added, stage_id, 'closed', reason, by_id, at FROM turns").Error
	if err == nil || !strings.Contains(err.Error(), "turns is append-only") {
		t.Errorf("got %v, want the refusal of the trigger", err)
	}
}

func TestGuards(t *testing.T) {
	s := fullYard(t)
	for _, c := range []struct{ reason, query, want string }{
		{"a photo's row is never lost", "DELETE FROM photos", "append-only"},
		{"an original is never changed", "UPDATE photos SET sha256 = replace(sha256, 'a', 'b')", "never changed"},
		{"nor moved to another build", "UPDATE photos SET build_id = 'juniper'", "never changed"},
		{"a letter stays as it was sent", "UPDATE letters SET text = 'other'", "never changed"},
		{"a letter goes on reminding of its invoice", "UPDATE letters SET reminds_open = 5", "never changed"},
		{"a reminder stays", "UPDATE reminders SET step = 2", "append-only"},
		{"a reminder is kept", "DELETE FROM reminders", "append-only"},
		{"a letter is kept", "DELETE FROM letters", "append-only"},
		{"a build's state is known", "UPDATE builds SET state = 'sold'", "unknown state"},
		{"a new build's state is known", "INSERT INTO builds SELECT 'x', 'x', year, make, model, serial, odometer, unit, colour, plan_name, 'sold', lead_id, arrived_on, ready_on, agreed_on, agreed_how, delivered_on, created_at, version, '' FROM builds LIMIT 1", "unknown state"},
		{"events leave no gap", "INSERT INTO events SELECT seq + 2, at, build_id, person_id, kind, subject, detail FROM events", "without gaps"},
		{"events start at 1", "INSERT INTO events SELECT 0, at, build_id, person_id, kind, subject, detail FROM events", "without gaps"},
		{"revisions leave no gap", "INSERT INTO revisions SELECT paper_id, 3, bytes, sha256, sent_at, sent_by FROM revisions WHERE paper_id = 'open'", "without gaps"},
		{"a decided paper is not sent again", "INSERT INTO revisions SELECT paper_id, 2, bytes, sha256, sent_at, sent_by FROM revisions WHERE paper_id = 'paper'", "no further revision"},
		{"an invoice adds up", "INSERT INTO invoices SELECT 99, 'x', build_id, stage_id, kind, 99, subtotal, tax + 1, deposit_credit, holdback, payable, document, shop_head, bill_to, truck, tax_lines, issued_at, issued_by FROM invoices", "CHECK"},
		{"a payment below zero reverses another", "INSERT INTO payments (added, id, build_id, invoice_id, amount, paid_on, means, reference, reverses_id, reason, recorded_by, recorded_at) SELECT 99, 'x', build_id, invoice_id, -amount, paid_on, means, reference, NULL, reason, recorded_by, recorded_at FROM payments", "CHECK"},
		{"a reversal has the opposite amount", "INSERT INTO payments (added, id, build_id, invoice_id, amount, paid_on, means, reference, reverses_id, reason, recorded_by, recorded_at) SELECT 99, 'x', build_id, invoice_id, 1 - amount, paid_on, means, reference, id, reason, recorded_by, recorded_at FROM payments", "undoes one payment"},
		{"a reversal is of the same invoice", "INSERT INTO payments (added, id, build_id, invoice_id, amount, paid_on, means, reference, reverses_id, reason, recorded_by, recorded_at) SELECT 99, 'x', build_id, NULL, -amount, paid_on, means, reference, id, reason, recorded_by, recorded_at FROM payments", "undoes one payment"},
	} {
		err := s.writer.Exec(c.query).Error
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want a refusal with %q", c.reason, err, c.want)
		}
	}
}

// entry is the nth entry of a build: posted n hours after noon.
func entry(build journal.BuildID, stage journal.StageID, n int, audience journal.Audience, photos ...journal.PhotoID) journal.Entry {
	e := journal.Entry{
		ID: journal.EntryID(fmt.Sprintf("%s-entry%03d", build, n)), BuildID: build, StageID: stage, AuthorID: jory, Kind: journal.KindProgress,
		Audience: audience, Text: "Work.", HappenedAt: hours(n), PostedAt: hours(n),
	}
	if audience == journal.OwnerToo {
		e.SharedAt = e.PostedAt
	}
	for _, p := range photos {
		e.Photos = append(e.Photos, journal.EntryPhoto{PhotoID: p})
	}
	return e
}

// sendPaper adds a change order of Heron and sends its first revision.
func sendPaper(t testing.TB, s *Store, id journal.PaperID, photos ...journal.PhotoID) {
	t.Helper()
	bytes := sheet(t, heron, 1, photos...)
	write(t, s, func(tx flow.Tx) error {
		err := tx.AddPaper(signoff.Paper{
			ID: id, BuildID: heron, Kind: signoff.ChangeOrder, State: signoff.Sent, Revision: 1, CreatedBy: pat, CreatedAt: noon,
		})
		if err != nil {
			return err
		}
		return tx.AddRevision(signoff.Revision{PaperID: id, Number: 1, Bytes: bytes, SHA256: signoff.Hash(bytes), SentAt: noon, SentBy: pat})
	})
}

func decision(paper journal.PaperID, revision int, bytes []byte) signoff.Decision {
	return signoff.Decision{
		Manner:  signoff.OnPage,
		PaperID: paper, Revision: revision, SHA256: signoff.Hash(bytes), Outcome: signoff.OutcomeSigned, PersonID: ada, As: journal.AsOwner,
		TypedName: "Ada Finch", At: noon, ConsentAt: noon,
	}
}

// invoice bills the refs at a dollar each.
func invoice(id journal.InvoiceID, build journal.BuildID, number int, refs ...string) flow.Invoice {
	d := billing.Document{ID: string(id), Number: number, Kind: billing.Invoice, IssuedOn: "2026-04-14"}
	for _, ref := range refs {
		d.Charges = append(d.Charges, billing.Charge{Ref: ref, Split: journal.Split{Parts: 100}})
		d.Subtotal, d.Payable = d.Subtotal+100, d.Payable+100
	}
	return flow.Invoice{ID: id, BuildID: build, Document: d, IssuedAt: noon}
}
