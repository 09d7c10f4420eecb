package views

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
)

// What an ended build says of the deposit set against what is due, to both sides.
func TestNet_OfAnEndedBuild(t *testing.T) {
	for _, tc := range []struct {
		name          string
		due, unearned journal.Cents
		owner, office string
	}{
		{"the deposit is more", 5_588_62, 7_096_12, "the shop owes you $1,507.50.", "the shop owes the owner $1,507.50."},
		{"it is less", 700_00, 500_00, "taken off, $200.00 is left to pay.", "taken off, $200.00 is left to pay."},
		{"they are the same", 700_00, 700_00, "taken off, nobody owes anything.", "taken off, nobody owes anything."},
		{"no deposit is left", 700_00, 0, "", ""},
		{"nothing is due", 0, 700_00, "", ""},
	} {
		s := billing.Statement{Due: tc.due, DepositUnearned: tc.unearned}
		for _, stopped := range []bool{true, false} {
			owner, err := Money{Frame: officeFrame("Money", "/builds/h/money"), Agreed: true, Stopped: stopped, Statement: s}.Now()
			office, err2 := StaffMoney{Frame: officeFrame("Money", "/builds/h/money"), Agreed: true, Stopped: stopped, Statement: s}.Say()
			if err != nil || err2 != nil {
				t.Fatal(err, err2)
			}
			said := stopped && tc.owner != ""
			if strings.Contains(owner, "taken off") != said || strings.Contains(office, "taken off") != said ||
				said && (!strings.Contains(owner, tc.owner) || !strings.Contains(office, tc.office)) {
				t.Errorf("%s, stopped %v: %q and %q", tc.name, stopped, owner, office)
			}
		}
	}
}
