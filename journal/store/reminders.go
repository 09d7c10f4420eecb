package store

import (
	"farbay/journal"
)

type reminderRow struct {
	InvoiceID string `gorm:"primaryKey"`
	Step      int    `gorm:"primaryKey;autoIncrement:false"`
	At        instant
}

func (reminderRow) TableName() string { return "reminders" }

func (r reminderRow) reminder() journal.Reminder {
	return journal.Reminder{InvoiceID: journal.InvoiceID(r.InvoiceID), Step: r.Step, At: r.At.Time}
}

// Reminders implements [flow.Reads].
func (r *reads) Reminders(id journal.InvoiceID) ([]journal.Reminder, error) {
	return find(r, "Reminders", r.q().Where("invoice_id = ?", string(id)).Order("at, step"), reminderRow.reminder)
}

// AddReminder implements [flow.Tx].
func (t *tx) AddReminder(x journal.Reminder) error {
	row := reminderRow{InvoiceID: string(x.InvoiceID), Step: x.Step, At: at(x.At)}
	return t.add("AddReminder", "This reminder was sent already.", &row)
}
