package flow_test

import (
	"database/sql"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
	"farbay/journal/signoff"
	"farbay/journal/store"
)

// Promise 9: the log can be checked by someone else.

// decided has Ada sign a change order on Heron, and returns it.
func (y *yard) decided(outcome signoff.Outcome) signoff.Paper {
	y.t.Helper()
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, outcome)))(y.t)
	return p
}

func (y *yard) checked() []flow.Fault {
	y.t.Helper()
	faults, n, err := y.steps.Check(y.ctx, func(string) error { return nil })
	y.do(err)
	if n.Events == 0 || n.Checkpoints == 0 {
		y.t.Errorf("looked at %+v", n)
	}
	return faults
}

func TestDecide_receipt(t *testing.T) {
	y := newYard(t)
	p := y.decided(signoff.OutcomeSigned)
	_, receipt, err := y.steps.DecisionReceipt(y.ctx, y.ada, y.heron, p.ID)
	y.do(err)
	e, c, err := prooflog.OpenReceipt(receipt, y.steps.LogKey.Public())
	if err != nil {
		t.Fatal(err)
	}
	rev := got(revisionOf(y, p))(t)
	var detail struct {
		SHA256, Name, As, Sentence string
		Revision                   int
		PartsBack                  bool `json:"parts_back"`
	}
	y.do(json.Unmarshal([]byte(e.Detail), &detail))
	if e.Kind != "paper signed" || e.Subject != string(p.ID) || e.Person != string(y.ada.Person.ID) || e.Build != string(y.heron) ||
		detail.SHA256 != rev.SHA256 || detail.Name != y.ada.Person.Name || detail.As != "owner" || detail.Revision != 1 || detail.Sentence != signoff.ChangeOrder.SignSentence() {
		t.Errorf("the receipt is of %+v", e)
	}
	// Asked for again, when the log has grown, it is the same.
	y.entry(y.jory, y.heron, journal.ShopOnly, "Later.")
	_, again, err := y.steps.DecisionReceipt(y.ctx, y.office, y.heron, p.ID)
	y.do(err)
	if string(again) != string(receipt) {
		t.Errorf("the receipt changed:\n%s\n%s", receipt, again)
	}
	// The owner has it by e-mail, and so has the delegate.
	letters := got(allLetters(y))(t)
	copies := 0
	for _, l := range letters {
		for _, f := range l.Files {
			if f.Name == flow.ReceiptName(signoff.Paper{Kind: signoff.ChangeOrder, Number: 1}) {
				copies++
				if string(f.Data) != string(receipt) {
					t.Errorf("the copy to %s is another receipt", l.To)
				}
			}
		}
	}
	if copies != 2 {
		t.Errorf("%d copies went out, want one each to owner and delegate", copies)
	}
	if c.Size < e.Seq {
		t.Errorf("a checkpoint of %d entries proves entry %d", c.Size, e.Seq)
	}
	// Another build's owner gets nothing, nor does anybody before a decision.
	_, _, err = y.steps.DecisionReceipt(y.ctx, y.ben, y.heron, p.ID)
	refused(t, err, journal.NotFound)
	open := y.sent(y.heron, y.pans(y.heron, 9))
	_, _, err = y.steps.DecisionReceipt(y.ctx, y.ada, y.heron, open.ID)
	refused(t, err, journal.NotFound)
	if faults := y.checked(); len(faults) > 0 {
		t.Errorf("faults: %v", faults)
	}
}

// TestCheck_rewrittenLog: whoever changes an event in the database file, with
// its guards taken away, is found out by the tree; and who makes the tree fit,
// by the checkpoints that were given out.
func TestCheck_rewrittenLog(t *testing.T) {
	for name, c := range map[string]struct {
		change []string
		says   string
	}{
		"an event changed": {[]string{
			"DROP TRIGGER events_keep_update",
			`UPDATE events SET detail = replace(detail, '"revision":1', '"revision":2') WHERE kind = 'paper signed'`,
		}, "changed after it was recorded"},
		"and the tree made anew": {[]string{
			"DROP TRIGGER events_keep_update", "DROP TRIGGER log_nodes_keep_delete",
			`UPDATE events SET detail = replace(detail, '"revision":1', '"revision":2') WHERE kind = 'paper signed'`,
			"DELETE FROM log_nodes",
		}, "not the one that the checkpoint"},
		"the last events cut off": {[]string{
			"DROP TRIGGER events_keep_delete", "DROP TRIGGER log_nodes_keep_delete",
			"DELETE FROM events WHERE seq >= (SELECT seq FROM events WHERE kind = 'paper signed')", "DELETE FROM log_nodes",
		}, "not the one that the checkpoint"},
	} {
		t.Run(name, func(t *testing.T) {
			y := newYard(t)
			y.decided(signoff.OutcomeSigned)
			path := filepath.Join(t.TempDir(), "copy.db")
			y.exportTo(path)
			db := got(sql.Open("sqlite3", path))(t)
			for _, statement := range c.change {
				if _, err := db.Exec(statement); err != nil {
					t.Fatal(err)
				}
			}
			y.do(db.Close())
			s := got(store.Open(path))(t)
			defer s.Close()
			faults, _, err := (&flow.Steps{Store: s, Now: y.steps.Now, LogKey: y.steps.LogKey}).Check(y.ctx, func(string) error { return nil })
			y.do(err)
			var said []string
			for _, f := range faults {
				said = append(said, f.Text)
			}
			if !strings.Contains(strings.Join(said, "\n"), c.says) {
				t.Errorf("found %q, want %q", said, c.says)
			}
		})
	}
}

// exportTo copies the yard's database.
func (y *yard) exportTo(path string) {
	y.t.Helper()
	db := got(sql.Open("sqlite3", y.path))(y.t)
	_, err := db.Exec("VACUUM INTO ?", path)
	y.do(err)
	y.do(db.Close())
}

func TestNewLogKey(t *testing.T) {
	y := newYard(t)
	p := y.decided(signoff.OutcomeDeclined)
	_, receipt, err := y.steps.DecisionReceipt(y.ctx, y.ada, y.heron, p.ID)
	y.do(err)
	old := y.steps.LogKey
	kept := ""
	keep := func(_, secret string) error { kept = secret; return nil }
	_, err = y.steps.NewLogKey(y.ctx, y.jory, "stolen", keep)
	refused(t, err, journal.Forbidden)
	_, err = y.steps.NewLogKey(y.ctx, y.office, " ", keep)
	refused(t, err, journal.Invalid, "why")
	// A key whose secret could not be stored is not taken into use.
	if _, err = y.steps.NewLogKey(y.ctx, y.office, "stolen", func(_, _ string) error { return journal.Errorf(journal.Unavailable, "The disk is full.") }); err == nil {
		t.Error("a key without its secret is in use")
	}
	fresh := got(y.steps.NewLogKey(y.ctx, y.office, "The computer was stolen.", keep))(t)
	if again := got(prooflog.OpenKey(kept, fresh.Public()))(t); again.Name() != old.Name() || fresh.Public() == old.Public() {
		t.Errorf("the new key is %q after %q", fresh.Public(), old.Public())
	}
	y.steps.LogKey = fresh
	log := got(y.steps.PublishLog(y.ctx))(t)
	if len(log.Keys) != 2 || log.Keys[1].Why != "The computer was stolen." || log.Keys[1].Size == 0 {
		t.Errorf("published: %+v", log.Keys)
	}
	if _, err := prooflog.OpenCheckpoint(log.Checkpoint.Note, fresh.Public()); err != nil {
		t.Errorf("the newest checkpoint is not signed by the new key: %v", err)
	}
	// Old receipts stand under the old key, and the check knows both.
	if _, _, err := prooflog.OpenReceipt(receipt, old.Public(), fresh.Public()); err != nil {
		t.Error(err)
	}
	if faults := y.checked(); len(faults) > 0 {
		t.Errorf("faults: %v", faults)
	}
}

func revisionOf(y *yard, p signoff.Paper) (rev signoff.Revision, err error) {
	err = y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		rev, err = r.Revision(p.ID, 1)
		return err
	})
	return rev, err
}

func allLetters(y *yard) (letters []journal.Letter, err error) {
	err = y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		some, err := r.Letters(100)
		for _, l := range some {
			whole, err := r.Letter(l.ID)
			if err != nil {
				return err
			}
			letters = append(letters, whole)
		}
		return err
	})
	return letters, err
}
