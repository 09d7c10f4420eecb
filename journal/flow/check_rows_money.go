package flow

import (
	"encoding/json"
	"fmt"
	"slices"

	"farbay/journal"
)

func (c rowCheck) payments() error {
	payments, err := c.r.Payments(c.build)
	if err != nil {
		return err
	}
	for _, p := range payments {
		what := fmt.Sprintf("the %s of %s on %s", paymentKind(p), p.Amount, p.On)
		s, ok := c.said.paid[p.ID]
		if !ok {
			c.unsaid(what, string(p.ID))
			continue
		}
		delete(c.said.paid, p.ID)
		if s.Build != string(c.build) {
			c.add(c.build, string(p.ID), "%s was moved here from another build, see %s.", what, named(s.Entry))
		}
		c.compare(what, string(p.ID), s.withDefaults("receipt", `""`, "on_account", "false", "refund", "false"), paymentValues(p))
	}
	return nil
}

// paymentValues are all values of a payment, the unset ones too.
func paymentValues(p journal.Payment) []value {
	detail := paymentDetail(p)
	detail["receipt"], detail["on_account"], detail["refund"] = p.ReceiptID, p.OnAccount, p.Refund
	return valuesOf(detail)
}

// withDefaults gives members that the detail does not name their values; pairs are
// names and JSON.
func (s telling) withDefaults(pairs ...string) telling {
	if s.open() != nil {
		return s // said by compare
	}
	for i := 0; i < len(pairs); i += 2 {
		if _, says := s.detail[pairs[i]]; !says {
			s.detail[pairs[i]] = json.RawMessage(pairs[i+1])
		}
	}
	return s
}

// reminders compares what says that owners were reminded with its events.
func (c rowCheck) reminders() error {
	invoices, err := c.r.Invoices(c.build)
	if err != nil {
		return err
	}
	for _, inv := range invoices {
		rows, err := c.r.Reminders(inv.ID)
		if err != nil {
			return err
		}
		events := c.said.reminded[inv.ID]
		for _, row := range rows {
			what := fmt.Sprintf("the reminder of %s, %d days from its due day,", inv.Document.Name(), row.Step)
			i := slices.IndexFunc(events, func(s telling) bool {
				var step int
				return s.open() == nil && json.Unmarshal(s.detail["step"], &step) == nil && step == row.Step && s.Build == string(c.build)
			})
			if i < 0 {
				c.unsaid(what, string(inv.ID))
				continue
			}
			events = slices.Delete(events, i, i+1)
		}
		if c.said.reminded[inv.ID] = events; len(events) == 0 {
			delete(c.said.reminded, inv.ID)
		}
	}
	return nil
}
