package flow

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// fromLog makes up the money of one build from the record of events alone: no table
// that the account is read from otherwise goes into it, but the bytes of signed
// papers, which the record names by their hash.
type fromLog struct {
	// sheet reads a revision of a paper, and fails unless its bytes have the hash.
	sheet   func(paper journal.PaperID, revision int, sha256 string) (signoff.Sheet, error)
	account billing.Account
	agreed  bool
	stages  map[string]string // of each charge, by its ref
}

// accountFromLog makes up the account of a build as the record had it at the end of
// an instant; the zero time is now. events are the build's, in their order. Terms are
// not in it. It fails when an event does not say what it should.
func accountFromLog(events []journal.Event, until time.Time, sheet func(journal.PaperID, int, string) (signoff.Sheet, error)) (billing.Account, error) {
	f := &fromLog{sheet: sheet, stages: map[string]string{}}
	for _, e := range events {
		if !until.IsZero() && e.At.After(until) {
			continue
		}
		if err := f.hear(e); err != nil {
			return billing.Account{}, fmt.Errorf("event %d (%s): %w", e.Seq, e.Kind, err)
		}
	}
	return f.account, nil
}

// ofMoney reports whether events of a kind go into an account.
func ofMoney(kind string) bool { return hearings[kind] != nil }

var hearings = map[string]func(*fromLog, journal.Event) error{
	"agreement recorded":      (*fromLog).agreement,
	"stage added":             (*fromLog).stageAdded,
	"stage opened":            (*fromLog).turned,
	"stage closed":            (*fromLog).turned,
	"stage reopened":          (*fromLog).turned,
	"paper signed":            (*fromLog).signed,
	"allowance used":          (*fromLog).used,
	"work logged":             (*fromLog).worked,
	"work taken back":         (*fromLog).worked,
	"invoice issued":          (*fromLog).issued,
	"credit memo issued":      (*fromLog).issued,
	"holdback release issued": (*fromLog).issued,
	"deposit received":        (*fromLog).paid,
	"deposit reversed":        (*fromLog).paid,
	"payment received":        (*fromLog).paid,
	"payment reversed":        (*fromLog).paid,
	"refund sent":             (*fromLog).paid,
	"refund reversed":         (*fromLog).paid,
}

func (f *fromLog) hear(e journal.Event) error {
	if hear := hearings[e.Kind]; hear != nil {
		return hear(f, e)
	}
	return nil
}

// read reads an event's detail into v.
func read(e journal.Event, v any) error { return json.Unmarshal([]byte(e.Detail), v) }

func (f *fromLog) agree(charges ...billing.Charge) {
	f.account.Agreed = append(f.account.Agreed, charges...)
	for _, c := range charges {
		f.stages[c.Ref] = c.StageID
	}
}

// loggedStage is a stage as an event has it: an agreement that the office recorded
// names it "stage", one that was signed here "id".
type loggedStage struct {
	Stage   string                   `json:"stage"`
	ID      string                   `json:"id"`
	Name    string                   `json:"name"`
	Metered bool                     `json:"metered"`
	Value   map[string]journal.Cents `json:"value"`
}

func (f *fromLog) stage(st loggedStage) {
	id := st.ID + st.Stage
	value := splitFrom(func(k string) journal.Cents { return st.Value[k] })
	value.Outside += st.Value["outside"] // as a signed agreement has it
	f.agree(billing.Charge{Ref: "stage:" + id, Source: billing.Agreement, StageID: id, Text: st.Name, Split: value})
	if st.Metered {
		f.account.Metered = append(f.account.Metered, billing.Meter{StageID: id})
	}
}

// splitFrom gathers amounts by the name of their kind.
func splitFrom(of func(kind string) journal.Cents) (split journal.Split) {
	for _, k := range journal.LineKinds {
		split = split.Plus(k, of(string(k)))
	}
	return split
}

func (f *fromLog) agreement(e journal.Event) error {
	var detail struct {
		Stages []loggedStage `json:"stages"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	f.agreed = true
	for _, st := range detail.Stages {
		f.stage(st)
	}
	return nil
}

// stageAdded: before the agreement a stage is no part of what is agreed; afterwards
// it is one without a value.
func (f *fromLog) stageAdded(e journal.Event) error {
	var st loggedStage
	if !f.agreed {
		return nil
	}
	if err := read(e, &st); err != nil {
		return err
	}
	f.stage(st)
	return nil
}

func (f *fromLog) turned(e journal.Event) error {
	for i, m := range f.account.Metered {
		if m.StageID == e.Subject {
			f.account.Metered[i].Closed = turnOf[e.Kind] == journal.Closed
		}
	}
	return nil
}

func (f *fromLog) signed(e journal.Event) error {
	var detail struct {
		Revision int    `json:"revision"`
		SHA256   string `json:"sha256"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	sheet, err := f.sheet(journal.PaperID(e.Subject), detail.Revision, detail.SHA256)
	if err != nil {
		return err
	}
	f.agree(signedCharges(journal.PaperID(e.Subject), sheet)...)
	return nil
}

func (f *fromLog) used(e journal.Event) error {
	var detail struct {
		Stage string `json:"stage"`
		Title string `json:"title"`
		Lines []struct {
			Kind   journal.LineKind `json:"kind"`
			Amount journal.Cents    `json:"amount"`
		} `json:"lines"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	var split journal.Split
	for _, l := range detail.Lines {
		split = split.Plus(l.Kind, l.Amount)
	}
	f.agree(billing.Charge{Ref: "use:" + e.Subject, Source: billing.Allowance, StageID: detail.Stage, Text: detail.Title, Split: split})
	return nil
}

// worked: work on a stage at a fixed price is logged too, and billed nowhere.
func (f *fromLog) worked(e journal.Event) error {
	var detail struct {
		Stage  string           `json:"stage"`
		Kind   journal.LineKind `json:"kind"`
		Text   string           `json:"text"`
		Amount journal.Cents    `json:"amount"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	c := billing.Charge{
		Ref: "work:" + e.Subject, Source: billing.LoggedWork, StageID: detail.Stage, Text: detail.Text, Split: journal.Split{}.Plus(detail.Kind, detail.Amount),
	}
	f.stages[c.Ref] = c.StageID
	f.account.Work = append(f.account.Work, c)
	return nil
}

func (f *fromLog) issued(e journal.Event) error {
	var detail struct {
		Number        int                          `json:"number"`
		IssuedOn      journal.Date                 `json:"issued_on"`
		Charges       []map[string]json.RawMessage `json:"charges"`
		Subtotal      journal.Cents                `json:"subtotal"`
		Tax           journal.Cents                `json:"tax"`
		DepositCredit journal.Cents                `json:"deposit_credit"`
		Holdback      journal.Cents                `json:"holdback"`
		Payable       journal.Cents                `json:"payable"`
		Cancels       string                       `json:"cancels"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	d := billing.Document{
		ID: e.Subject, Number: detail.Number, Kind: billing.DocumentKind(strings.TrimSuffix(e.Kind, " issued")), Subtotal: detail.Subtotal, Tax: detail.Tax,
		DepositCredit: detail.DepositCredit, Holdback: detail.Holdback, Payable: detail.Payable, IssuedOn: detail.IssuedOn, Cancels: detail.Cancels,
	}
	for _, said := range detail.Charges {
		c, err := f.charge(said)
		if err != nil {
			return err
		}
		d.Charges = append(d.Charges, c)
	}
	f.account.Documents = append(f.account.Documents, d)
	return nil
}

// charge reads a line of a document: its ref, its text, and its amounts by kind.
// The stage that bears it is that of the charge agreed under the ref.
func (f *fromLog) charge(said map[string]json.RawMessage) (c billing.Charge, err error) {
	text := func(name string) (s string) {
		if raw, there := said[name]; there && err == nil {
			err = json.Unmarshal(raw, &s)
		}
		return s
	}
	c.Ref, c.Text = text("ref"), text("text")
	c.Split = splitFrom(func(kind string) (amount journal.Cents) {
		if raw, there := said[kind]; there && err == nil {
			err = json.Unmarshal(raw, &amount)
		}
		return amount
	})
	c.StageID = f.stages[c.Ref]
	if rest, held := strings.CutPrefix(c.Ref, "ceiling:"); held {
		c.Source = billing.CeilingHeld
		c.StageID, _, _ = strings.Cut(rest, "/")
	}
	return c, err
}

func (f *fromLog) paid(e journal.Event) error {
	var detail struct {
		Invoice   journal.InvoiceID `json:"invoice"`
		Amount    journal.Cents     `json:"amount"`
		On        journal.Date      `json:"on"`
		Reverses  journal.PaymentID `json:"reverses"`
		OnAccount bool              `json:"on_account"`
		Refund    bool              `json:"refund"`
	}
	if err := read(e, &detail); err != nil {
		return err
	}
	f.account.Take(journal.Payment{
		ID: journal.PaymentID(e.Subject), InvoiceID: detail.Invoice, Amount: detail.Amount, On: detail.On,
		ReversesID: detail.Reverses, OnAccount: detail.OnAccount, Refund: detail.Refund,
	})
	return nil
}

// keptSheet reads a revision of a paper for [accountFromLog].
func keptSheet(r Reads) func(journal.PaperID, int, string) (signoff.Sheet, error) {
	return func(paper journal.PaperID, revision int, sha256 string) (signoff.Sheet, error) {
		rev, err := r.Revision(paper, revision)
		if err != nil {
			return signoff.Sheet{}, err
		}
		if got := signoff.Hash(rev.Bytes); got != sha256 {
			return signoff.Sheet{}, fmt.Errorf("the kept bytes of revision %d have the hash %s, not %s", revision, got, sha256)
		}
		return signoff.ParseSheet(rev.Bytes)
	}
}

// checkFromLog compares the statement that the tables make with the one that the
// record of events makes.
func checkFromLog(r Reads, b journal.Build, acc billing.Account, said []journal.Event, add func(journal.BuildID, string, string, ...any)) {
	logged, err := accountFromLog(said, time.Time{}, keptSheet(r))
	if err != nil {
		add(b.ID, string(b.ID), "The statement of %s cannot be made from the record: %v.", b.Nickname, err)
		return
	}
	if text := unlike(billing.PeriodOf(billing.Books{Now: acc}), billing.PeriodOf(billing.Books{Now: logged})); text != "" {
		add(b.ID, string(b.ID), "The statement of %s is not the one that the record makes: %s.", b.Nickname, text)
	}
}

// unlike names the first figure, or way of pricing, in which two statements differ; "" for none.
func unlike(tables, record billing.Period) string {
	stages := []*string{nil}
	for _, rows := range [][]billing.PeriodRow{tables.Stages, record.Stages} {
		for _, row := range rows {
			if !slices.ContainsFunc(stages, func(s *string) bool { return s != nil && *s == row.StageID }) {
				stages = append(stages, &row.StageID)
			}
		}
	}
	for _, stage := range stages {
		of := ""
		if stage != nil {
			of = " of stage " + *stage
		}
		for _, f := range billing.Figures() {
			was, _ := record.Figure(f, stage) // a row that one does not have is nothing
			is, _ := tables.Figure(f, stage)
			if was != is {
				return fmt.Sprintf("the figure %q%s is %s by the tables and %s by the record", f, of, is, was)
			}
		}
	}
	for _, row := range tables.Stages {
		was := slices.ContainsFunc(record.Stages, func(r billing.PeriodRow) bool { return r.StageID == row.StageID && r.Metered })
		if row.Metered != was {
			return fmt.Sprintf("whether stage %s goes by time and materials is %t by the tables and %t by the record", row.StageID, row.Metered, was)
		}
	}
	return ""
}
