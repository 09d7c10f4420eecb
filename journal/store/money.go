package store

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

type termsRow struct {
	BuildID      string `gorm:"primaryKey"`
	Deposit      int64
	Crediting    string
	DepositShare int64
	RefillFloor  int64
	HoldbackRate int64
	TaxLabour    int64
	TaxParts     int64
	TaxOutside   int64
	TaxDelivery  int64
	TaxOther     int64
	TaxPerLine   bool
	DueDays      int
	HoldbackCap  string
	HourRate     int64
	MarkUp       int64
	BillDays     list[int]
	LateAsks     bool
	Transport    string
	DeliverTo    string
}

func (termsRow) TableName() string { return "terms" }

func toTermsRow(build journal.BuildID, t billing.Terms) termsRow {
	return termsRow{
		BuildID: string(build), Deposit: int64(t.Deposit), Crediting: string(t.Crediting), DepositShare: int64(t.DepositShare), RefillFloor: int64(t.RefillFloor), HoldbackRate: int64(t.HoldbackRate),
		TaxLabour: int64(t.Tax.Labour), TaxParts: int64(t.Tax.Parts), TaxOutside: int64(t.Tax.Outside),
		TaxDelivery: int64(t.Tax.Delivery), TaxOther: int64(t.Tax.Other), TaxPerLine: t.Tax.PerLine, DueDays: t.DueDays,
		HoldbackCap: t.HoldbackCap, HourRate: int64(t.HourRate), MarkUp: int64(t.MarkUp), BillDays: listOf(t.BillDays), LateAsks: t.LateAsks, Transport: string(t.Transport), DeliverTo: t.DeliverTo,
	}
}

func (r termsRow) terms() billing.Terms {
	return billing.Terms{
		Deposit: journal.Cents(r.Deposit), Crediting: billing.Crediting(r.Crediting), DepositShare: journal.BasisPoints(r.DepositShare), RefillFloor: journal.Cents(r.RefillFloor), HoldbackRate: journal.BasisPoints(r.HoldbackRate),
		Tax: billing.Tax{
			Labour: journal.BasisPoints(r.TaxLabour), Parts: journal.BasisPoints(r.TaxParts), Outside: journal.BasisPoints(r.TaxOutside),
			Delivery: journal.BasisPoints(r.TaxDelivery), Other: journal.BasisPoints(r.TaxOther), PerLine: r.TaxPerLine,
		},
		DueDays: r.DueDays, HoldbackCap: r.HoldbackCap, HourRate: journal.Cents(r.HourRate), MarkUp: journal.BasisPoints(r.MarkUp), BillDays: r.BillDays.Items,
		LateAsks: r.LateAsks, Transport: billing.Transport(r.Transport), DeliverTo: r.DeliverTo,
	}
}

func (r *reads) Terms(build journal.BuildID) (billing.Terms, error) {
	return take(r, "Terms", "This build has no money terms yet.", r.q().Where("build_id = ?", string(build)), termsRow.terms)
}

func (t *tx) SaveTerms(build journal.BuildID, terms billing.Terms) error {
	row := toTermsRow(build, terms)
	return t.fail("SaveTerms", t.q().Save(&row).Error, "", "")
}

type invoiceRow struct {
	Added         int64 `gorm:"primaryKey"`
	ID            string
	BuildID       string
	StageID       ref
	Kind          string
	Number        int
	Subtotal      int64
	Tax           int64
	DepositCredit int64
	Holdback      int64
	Payable       int64
	Document      object[documentJSON]
	ShopHead      string
	BillTo        string
	Truck         string
	TaxLines      list[taxLineJSON]
	IssuedAt      instant
	IssuedBy      ref
}

// documentJSON is what an issued document says beside the columns.
type documentJSON struct {
	ID            string       `json:"id"`
	Charges       []chargeJSON `json:"charges,omitempty"`
	IssuedOn      journal.Date `json:"issued_on"`
	DueOn         journal.Date `json:"due_on"`
	ClosesStageID string       `json:"closes_stage"`
	Cancels       string       `json:"cancels"`
	Reason        string       `json:"reason,omitempty"`
}

type taxLineJSON struct {
	Kind journal.LineKind    `json:"kind"`
	Rate journal.BasisPoints `json:"basis_points"`
	Base journal.Cents       `json:"base"`
}

type chargeJSON struct {
	Ref     string         `json:"ref"`
	Source  billing.Source `json:"source"`
	StageID string         `json:"stage"`
	Text    string         `json:"text"`
	Split   splitJSON      `json:"split"`
}

func (invoiceRow) TableName() string { return "invoices" }

func toInvoiceRow(i flow.Invoice) invoiceRow {
	d := i.Document
	return invoiceRow{
		ID: string(i.ID), BuildID: string(i.BuildID), StageID: ref(i.StageID), Kind: string(d.Kind), Number: d.Number,
		Subtotal: int64(d.Subtotal), Tax: int64(d.Tax), DepositCredit: int64(d.DepositCredit), Holdback: int64(d.Holdback), Payable: int64(d.Payable),
		Document: object[documentJSON]{documentJSON{
			ID: d.ID, IssuedOn: d.IssuedOn, DueOn: d.DueOn, ClosesStageID: d.ClosesStageID, Cancels: d.Cancels, Reason: d.Reason,
			Charges: each(d.Charges, func(c billing.Charge) chargeJSON {
				return chargeJSON{Ref: c.Ref, Source: c.Source, StageID: c.StageID, Text: c.Text, Split: splitJSON(c.Split)}
			}),
		}},
		TaxLines: listOf(each(i.TaxLines, func(l flow.TaxLine) taxLineJSON { return taxLineJSON(l) })),
		ShopHead: i.ShopHead, BillTo: i.BillTo, Truck: i.Truck, IssuedAt: at(i.IssuedAt), IssuedBy: ref(i.IssuedBy),
	}
}

func (r invoiceRow) invoice() flow.Invoice {
	d := r.Document.V
	return flow.Invoice{
		ID: journal.InvoiceID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID),
		Document: billing.Document{
			ID: d.ID, Number: r.Number, Kind: billing.DocumentKind(r.Kind),
			Charges: each(d.Charges, func(c chargeJSON) billing.Charge {
				return billing.Charge{Ref: c.Ref, Source: c.Source, StageID: c.StageID, Text: c.Text, Split: journal.Split(c.Split)}
			}),
			Subtotal: journal.Cents(r.Subtotal), Tax: journal.Cents(r.Tax), DepositCredit: journal.Cents(r.DepositCredit),
			Holdback: journal.Cents(r.Holdback), Payable: journal.Cents(r.Payable),
			IssuedOn: d.IssuedOn, DueOn: d.DueOn, ClosesStageID: d.ClosesStageID, Cancels: d.Cancels, Reason: d.Reason,
		},
		TaxLines: each(r.TaxLines.Items, func(l taxLineJSON) flow.TaxLine { return flow.TaxLine(l) }),
		ShopHead: r.ShopHead, BillTo: r.BillTo, Truck: r.Truck, IssuedAt: r.IssuedAt.Time, IssuedBy: journal.PersonID(r.IssuedBy),
	}
}

type billedChargeRow struct {
	BuildID   string `gorm:"primaryKey"`
	Ref       string `gorm:"primaryKey"`
	Time      int    `gorm:"primaryKey;autoIncrement:false"` // 1 for the first
	InvoiceID string
}

func (billedChargeRow) TableName() string { return "billed_charges" }

type cancelledChargeRow struct {
	BuildID string `gorm:"primaryKey"`
	Ref     string `gorm:"primaryKey"`
	Time    int    `gorm:"primaryKey;autoIncrement:false"`
	MemoID  string
}

func (cancelledChargeRow) TableName() string { return "cancelled_charges" }

func (r *reads) Invoices(build journal.BuildID) ([]flow.Invoice, error) {
	return find(r, "Invoices", r.q().Where("build_id = ?", string(build)).Order("added"), invoiceRow.invoice)
}

func (r *reads) Invoice(build journal.BuildID, id journal.InvoiceID) (flow.Invoice, error) {
	return take(r, "Invoice", "There is no such invoice.", r.q().Where("build_id = ? AND id = ?", string(build), string(id)), invoiceRow.invoice)
}

func (r *reads) Numbers(kind billing.DocumentKind) ([]int, error) {
	var numbers []int
	err := r.q().Model(&invoiceRow{}).Where("kind = ?", string(kind)).Order("number").Pluck("number", &numbers).Error
	if len(numbers) == 0 {
		numbers = nil
	}
	return numbers, r.fail("Numbers", err, "", "")
}

// AddInvoice implements [flow.Tx]. It notes each charge as billed, or, for a
// document that cancels another, as taken back, so that it can be billed again.
// It returns [journal.Conflict] when a charge is billed already, or taken back
// already.
func (t *tx) AddInvoice(i flow.Invoice) error {
	const op = "AddInvoice"
	if i.Document.ID != string(i.ID) {
		return t.fail(op, fmt.Errorf("invoice %s holds document %s", i.ID, i.Document.ID), "", "")
	}
	row := toInvoiceRow(i)
	return t.whole(op, func() error {
		if err := t.add(op, "There is a document of this number already. Please try again.", &row); err != nil {
			return err
		}
		for _, c := range i.Document.Charges {
			if err := t.markCharge(op, row, c.Ref, i.Document.Cancels != ""); err != nil {
				return err
			}
		}
		return nil
	})
}

// markCharge notes a charge as billed by an invoice, or taken back by a memo.
func (t *tx) markCharge(op string, row invoiceRow, ref string, back bool) error {
	var billed, cancelled int
	if err := t.scan(op, &billed, "SELECT count(*) FROM billed_charges WHERE build_id = ? AND ref = ?", row.BuildID, ref); err != nil {
		return err
	}
	if err := t.scan(op, &cancelled, "SELECT count(*) FROM cancelled_charges WHERE build_id = ? AND ref = ?", row.BuildID, ref); err != nil {
		return err
	}
	switch {
	case back && billed == cancelled:
		return journal.Errorf(journal.Conflict, "Something on this invoice was taken back already. Please reload the page and look again.")
	case back:
		return t.add(op, "", &cancelledChargeRow{BuildID: row.BuildID, Ref: ref, Time: billed, MemoID: row.ID})
	case billed > cancelled:
		return journal.Errorf(journal.Conflict, "Something on this invoice is billed already. Please reload the page and look again.")
	}
	return t.add(op, "", &billedChargeRow{BuildID: row.BuildID, Ref: ref, Time: billed + 1, InvoiceID: row.ID})
}

func (t *tx) NextNumber(kind billing.DocumentKind) (int, error) {
	var n int
	err := t.scan("NextNumber", &n, "SELECT coalesce(max(number), 0) + 1 FROM invoices WHERE kind = ?", string(kind))
	return n, err
}

type paymentRow struct {
	Added      int64 `gorm:"primaryKey"`
	ID         string
	BuildID    string
	ReceiptID  string
	InvoiceID  ref
	OnAccount  bool
	Refund     bool
	Amount     int64
	PaidOn     string
	Means      string
	Reference  string
	ReversesID ref
	Reason     string
	RecordedBy ref
	RecordedAt instant
}

func (paymentRow) TableName() string { return "payments" }

func toPaymentRow(p journal.Payment) paymentRow {
	return paymentRow{
		ID: string(p.ID), BuildID: string(p.BuildID), ReceiptID: string(p.ReceiptID), InvoiceID: ref(p.InvoiceID), OnAccount: p.OnAccount, Refund: p.Refund, Amount: int64(p.Amount), PaidOn: string(p.On),
		Means: string(p.Means), Reference: p.Reference, ReversesID: ref(p.ReversesID), Reason: p.Reason,
		RecordedBy: ref(p.RecordedBy), RecordedAt: at(p.RecordedAt),
	}
}

func (r paymentRow) payment() journal.Payment {
	return journal.Payment{
		ID: journal.PaymentID(r.ID), BuildID: journal.BuildID(r.BuildID), ReceiptID: journal.PaymentID(r.ReceiptID), InvoiceID: journal.InvoiceID(r.InvoiceID), OnAccount: r.OnAccount, Refund: r.Refund, Amount: journal.Cents(r.Amount), On: journal.Date(r.PaidOn),
		Means: journal.Means(r.Means), Reference: r.Reference, ReversesID: journal.PaymentID(r.ReversesID), Reason: r.Reason,
		RecordedBy: journal.PersonID(r.RecordedBy), RecordedAt: r.RecordedAt.Time,
	}
}

func (r *reads) Payments(build journal.BuildID) ([]journal.Payment, error) {
	return find(r, "Payments", r.q().Where("build_id = ?", string(build)).Order("added"), paymentRow.payment)
}

// AddPayment implements [flow.Tx]. It returns [journal.Conflict] when the
// payment it reverses is reversed already.
func (t *tx) AddPayment(p journal.Payment) error {
	row := toPaymentRow(p)
	return t.add("AddPayment", "This payment is recorded already, or was reversed before.", &row)
}
