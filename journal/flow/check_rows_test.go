package flow_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// lived has a bit of everything happen on Heron that the record speaks of.
func (y *yard) lived() {
	y.t.Helper()
	y.decided(signoff.OutcomeSigned)
	y.now = y.now.Add(-48 * 3600e9) // the clock is set back, and on again
	y.entry(y.jory, y.heron, journal.ShopOnly, "While the clock was wrong.")
	y.now = y.now.Add(49 * 3600e9)
	y.allowed(50_000, 100_000)
	find := y.find(y.heron, 31, journal.OwnerToo)
	got(y.steps.BookUse(y.ctx, y.office, y.heron, used("use-form-000000000000001", find, 10_000)))(y.t)
	y.do(y.steps.AskBelonging(y.ctx, y.jory, y.heron, find.ID, "a toolbox"))
	y.do(y.steps.AnswerBelonging(y.ctx, y.ada, y.heron, find.ID, journal.Keep, ""))
	st := y.ready(y.heron, 0)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st)
	y.do(err)
	p := payment(1, inv.ID, 10_000)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, p))
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, p.ID, "It bounced."))
	y.now = y.now.Add(3600e9) // what follows is later than what the cases below are about
	sum := receipt(1, inv.Document.Payable+7_777)
	sum.KeepRest = true
	y.receive(sum)
	y.do(y.steps.RecordRefund(y.ctx, y.office, y.heron, refund(1, 7_700)))
	got(y.steps.PublishLog(y.ctx))(y.t)
}

// TestCheck_tampered edits the database behind the program's back, with all its
// guards taken away. The first fault that the check tells names the first bad
// place. SEQ in a statement or in what is wanted is the number of the event of
// the kind given.
func TestCheck_tampered(t *testing.T) {
	alone(t)
	for _, c := range []struct {
		name, kind string
		change     []string
		says       string // of the first fault
	}{
		{"amount in an event", "invoice issued", []string{`UPDATE events SET detail = replace(detail, '"payable":1', '"payable":2') WHERE seq = SEQ`},
			"Event SEQ (invoice issued, 2026-04-14 22:12:00 UTC) was changed after it was recorded"},
		{"name in an event", "paper signed", []string{"UPDATE events SET detail = replace(detail, 'Ada Finch', 'Eve Finch') WHERE seq = SEQ"},
			"Event SEQ (paper signed, 2026-04-14 21:12:00 UTC) was changed after it was recorded"},
		{"time of an event", "paper signed", []string{"UPDATE events SET at = replace(at, '2026', '2025') WHERE seq = SEQ"}, "Event SEQ (paper signed, 2025-"},
		{"event deleted", "stage opened", []string{"DELETE FROM events WHERE seq = SEQ"}, "Event SEQ is missing from the record: event "},
		{"event deleted and those after it numbered anew", "stage opened", []string{
			"DELETE FROM events WHERE seq = SEQ", "UPDATE events SET seq = -seq WHERE seq > SEQ", "UPDATE events SET seq = -seq - 1 WHERE seq < 0"},
			"the event that was number SEQ was removed"},
		{"event put in", "stage opened", []string{
			"UPDATE events SET seq = -seq WHERE seq >= SEQ", "UPDATE events SET seq = -seq + 1 WHERE seq < 0",
			"INSERT INTO events SELECT SEQ, at, build_id, person_id, 'stage closed', subject, detail FROM events WHERE seq = SEQ + 1"},
			"Event SEQ (stage closed, 2026-04-14 22:12:00 UTC) was put in later"},
		{"event put in at the end", "", []string{"INSERT INTO events SELECT seq + 1, at, build_id, person_id, kind, subject, detail FROM events ORDER BY seq DESC LIMIT 1"},
			"is in the record and not in the proof log's tree"},
		{"events swapped", "stage opened", []string{
			"UPDATE events SET seq = -1 WHERE seq = SEQ", "UPDATE events SET seq = SEQ WHERE seq = SEQ + 2", "UPDATE events SET seq = SEQ + 2 WHERE seq = -1"},
			"stands in the place of another: events SEQ and "},
		{"tail cut", "payment received", []string{"DELETE FROM events WHERE seq >= SEQ"}, "missing from the record: the proof log's tree counts"},
		{"tail cut and the tree with it", "payment received", []string{
			"DELETE FROM events WHERE seq >= SEQ", "DELETE FROM log_nodes WHERE place >= PLACE"}, "of the signed events are missing, as after an old copy"},
		{"tree cut", "payment received", []string{"DELETE FROM log_nodes WHERE place >= PLACE"}, "Event SEQ (payment received"},
		{"leaf changed", "payment received", []string{"UPDATE log_nodes SET hash = zeroblob(32) WHERE place = PLACE"}, "The leaf of event SEQ (payment received"},
		{"node missing", "payment received", []string{"DELETE FROM log_nodes WHERE place = PLACE"}, "It is one of the nodes of event SEQ"},
		{"checkpoint changed", "", []string{"UPDATE checkpoints SET note = replace(note, '=', 'A') WHERE size = (SELECT min(size) FROM checkpoints)"}, "is not as it was signed"},
		{"key put in", "", []string{"INSERT INTO log_keys SELECT added + 1, 'another', size, why, at FROM log_keys"}, `public key "another"`},

		{"decision's name", "paper signed", []string{"UPDATE decisions SET typed_name = 'Eve Finch'"},
			`The decision on change order 1 was changed: its name is "Eve Finch", and event SEQ (paper signed, 2026-04-14 21:12:00 UTC) says "Ada Finch".`},
		{"decision's sentence", "paper signed", []string{"UPDATE decisions SET sentence = 'I agree to all.'"}, "its sentence is"},
		{"decision's hash", "paper signed", []string{"UPDATE decisions SET sha256 = replace(sha256, substr(sha256, 1, 1), 'g')"}, "its sha256 is"},
		{"decision's person", "paper signed", []string{"UPDATE decisions SET person_id = (SELECT id FROM people WHERE name = 'Ben Marsh')"}, "The decision on change order 1 was changed: it is by person"},
		{"decision turned", "paper signed", []string{"UPDATE decisions SET outcome = 'declined'"}, "was changed: it is declined, and event SEQ"},
		{"decision deleted", "paper signed", []string{"DELETE FROM decisions"}, "The decision on change order 1 of event SEQ (paper signed"},
		{"paper turned", "paper signed", []string{"UPDATE papers SET state = 'sent' WHERE number = 1"}, "Change order 1 stands as sent, and the last that happened to it is event SEQ"},
		{"paper's bytes", "", []string{"UPDATE revisions SET bytes = CAST(replace(CAST(bytes AS TEXT), '1', '2') AS BLOB) WHERE rowid = (SELECT min(rowid) FROM revisions)"}, "Revision 1 of change order 1 does not match its hash"},
		{"paper's bytes and hash", "paper sent", []string{"UPDATE revisions SET sha256 = replace(sha256, substr(sha256, 1, 1), 'g')"}, "Revision 1 of change order 1 was changed: its sha256 is"},
		{"revision deleted", "paper sent", []string{"DELETE FROM revisions"}, "Revision 1 of change order 1 of event SEQ"},
		{"use's amount", "allowance used", []string{"UPDATE allowance_uses SET amount = 9999"}, "Use 1 of the standing allowance was changed: its amount is 9999, and event SEQ"},
		{"use's title", "allowance used", []string{"UPDATE allowance_uses SET title = 'Chrome'"}, `its title is "Chrome"`},
		{"use's tax", "allowance used", []string{"UPDATE allowance_uses SET tax = 77"}, "its tax is 77"},
		{"use deleted", "allowance used", []string{"DELETE FROM allowance_uses"}, "of event SEQ (allowance used, 2026-04-14 22:12:00 UTC) is missing from its table"},
		{"invoice's number", "invoice issued", []string{"UPDATE invoices SET document = replace(document, '\"Number\":1', '\"Number\":4'), number = 4"}, "its number is 4, and event SEQ"},
		{"invoice's bill-to", "invoice issued", []string{"UPDATE invoices SET bill_to = 'Ben Marsh'"}, "its bill_to is"},
		{"invoice deleted", "invoice issued", []string{"DELETE FROM invoices"}, "of event SEQ (invoice issued"},
		{"payment's amount", "payment received", []string{"UPDATE payments SET amount = 9000 WHERE amount = 10000"}, "its amount is 9000, and event SEQ"},
		{"payment made one on account", "", []string{"UPDATE payments SET on_account = 1, invoice_id = NULL WHERE amount = 10000"}, "was changed: its "},
		{"money on account made a deposit", "", []string{"UPDATE payments SET on_account = 0 WHERE amount = 7777"}, "was changed: its on_account is false"},
		{"a part taken from its sum", "", []string{"UPDATE payments SET receipt_id = '' WHERE amount = 7777"}, `was changed: its receipt is "", and event`},
		{"a payment put into a sum", "", []string{"UPDATE payments SET receipt_id = 'form-of-receipt-00001' WHERE amount = 10000"}, `its receipt is "form-of-receipt-00001", and event`},
		{"a refund made a payment", "", []string{"UPDATE payments SET refund = 0 WHERE amount = -7700"}, "was changed: its refund is false"},
		{"a refund put in", "", []string{"UPDATE payments SET amount = -9900 WHERE amount = -7700"}, "was changed: its amount is -9900"},
		{"reversal deleted", "payment reversed", []string{"DELETE FROM payments WHERE amount < 0"}, "of event SEQ (payment reversed"},
		{"payment put in", "", []string{"INSERT INTO payments (added, id, build_id, invoice_id, amount, paid_on, means, reference, reverses_id, reason, recorded_by, recorded_at) SELECT added + 9, 'another', build_id, invoice_id, amount, paid_on, means, reference, NULL, reason, recorded_by, recorded_at FROM payments WHERE amount = 10000"},
			"no event of the record says so"},
		{"stage's turn", "stage closed", []string{"DELETE FROM turns WHERE state = 'closed'"}, "of event SEQ (stage closed"},
		{"stage's state", "", []string{"UPDATE stages SET state = 'under way' WHERE state = 'closed'"}, "stands as under way, and its last turn is to closed"},
		{"belonging's answer", "belonging answered", []string{"UPDATE belonging_answers SET answer = 'discard'"}, `its answer is "discard", and event SEQ`},
		{"answer deleted", "belonging answered", []string{"DELETE FROM belonging_answers"}, "of event SEQ (belonging answered"},
		{"belonging deleted", "belonging asked", []string{"DELETE FROM belonging_answers", "DELETE FROM belongings"}, "of event SEQ (belonging asked"},
		{"nothing", "", nil, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newYard(t)
			y.lived()
			seq := int64(0)
			if c.kind != "" {
				seq = y.events(y.heron, c.kind)[0].Seq
			}
			fill := strings.NewReplacer("SEQ", fmt.Sprint(seq), "PLACE", fmt.Sprint(stored(seq-1)))
			db := y.tampered()
			y.exec(db, "PRAGMA foreign_keys = OFF")
			for _, statement := range c.change {
				statement = fill.Replace(statement)
				result, err := db.Exec(statement)
				y.do(err)
				if n := got(result.RowsAffected())(t); n == 0 {
					t.Fatalf("%s changes nothing", statement)
				}
			}
			faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
			if err != nil && len(faults) == 0 {
				t.Fatalf("%v, and no fault", err)
			}
			if c.says == "" && len(faults) > 0 || c.says != "" && (len(faults) == 0 || !strings.Contains(faults[0].Text, fill.Replace(c.says))) {
				t.Errorf("found first %q\nwant %q", slices.Collect(texts(faults)), fill.Replace(c.says))
			}
		})
	}
}

func texts(faults []flow.Fault) func(func(string) bool) {
	return func(yield func(string) bool) {
		for _, f := range faults {
			if !yield(f.Text) {
				return
			}
		}
	}
}

// stored is how many nodes n events have stored: n leaves, and above them half as
// many full subtrees of two, of four and so on.
func stored(n int64) (nodes int64) {
	for ; n > 0; n /= 2 {
		nodes += n
	}
	return nodes
}
