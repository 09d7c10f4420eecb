package signoff_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/signoff"
)

var update = flag.Bool("update", false, "write the known papers anew")

// known are papers of all kinds with all that each can hold. Their frozen bytes
// are kept in testdata/papers, with a list of hashes made by sha256sum: what was
// once frozen must be read, and made, the same for ever.
func known() map[string]signoff.Sheet {
	head := func(kind signoff.Kind) signoff.Sheet {
		s := sample()
		s.Kind, s.Number, s.Reason = kind, 1, "As we spoke of.\nSecond line: \u00e9 \u201cquoted\u201d"
		s.Act, s.Decline, s.Notices = kind.SignSentence(), kind.DeclineSentence(), kind.Notices()
		s.Lines, s.Days, s.Stage = []signoff.SheetLine{}, 0, signoff.SheetStage{}
		s.Delta, s.DeltaTax, s.DeltaWithTax, s.AgreedAfter, s.TotalAfter, s.DateAfter = 0, 0, 0, s.AgreedBefore, s.TotalBefore, s.DateBefore
		return s
	}
	agreement := head(signoff.BuildAgreement)
	agreement.AgreedBefore, agreement.TotalBefore, agreement.AgreedAfter, agreement.TotalAfter, agreement.DateBefore = 0, 0, 9_634_000, 9_700_000, ""
	agreement.Delta, agreement.DeltaTax, agreement.DeltaWithTax = 9_634_000, 66_000, 9_700_000
	agreement.Agreement = &signoff.SheetAgreement{
		Stages: []signoff.SheetAgreed{
			{ID: "s1", Name: "Teardown", Value: signoff.SheetSplit{Labour: 504_000, Outside: 12_000}, Days: 8, From: "2026-05-04", To: "2026-05-13"},
			{ID: "s8", Name: "Body metal", Value: signoff.SheetSplit{Labour: 8_062_000, Parts: 1_056_000}, Days: 30},
		},
		Deposit: 1_000_000, Crediting: "pro rata", HoldbackRate: 500, DueDays: 14,
	}
	agreement.Delegate = &signoff.SheetDelegate{Name: "Bo Marsh", Email: "bo@example.org", Phone: "555 0199"}
	agreement.Allowance = &signoff.SheetAllowance{PerFind: 25_000, PerMonth: 75_000}

	every := agreement
	every.Agreement = &signoff.SheetAgreement{
		Stages: []signoff.SheetAgreed{
			{ID: "s1", Name: "Teardown", Value: signoff.SheetSplit{Labour: 504_000, Outside: 12_000}, Metered: true, Days: 8, From: "2026-05-04", To: "2026-05-13"},
			{ID: "s8", Name: "Body metal", Value: signoff.SheetSplit{Labour: 8_062_000, Parts: 1_056_000}, Days: 30},
		},
		Deposit: 1_000_000, Crediting: "to the first payments first, filled up again at a floor", RefillFloor: 50_000, HoldbackRate: 500, TaxPerLine: true, DueDays: 14,
		HoldbackLimit: &signoff.SheetLimit{Name: "California, private works", OfPayment: 500, OfPrice: 500},
		HourRate:      95_00, MarkUp: 1_250, BillDays: []int{1, 15}, LateAsks: true, Transport: "the shop delivers it or sends it with a carrier", DeliverTo: "Oregon",
	}
	every.Notices = every.Agreement.Notices()

	teardown := head(signoff.Teardown)
	teardown.Stage = signoff.SheetStage{ID: "s1", Name: "Teardown"}
	teardown.Teardown = &signoff.SheetTeardown{Cost: 516_000, CostWithTax: 516_000, Reassembly: 420_000, ReassemblyDays: 9, Destroyed: []string{"Gaskets", "Seals", "O-rings"}}

	metered := teardown
	metered.Stage.Metered = true

	several := sample()
	several.ReEstimate = true
	several.Lines = append(several.Lines, signoff.SheetLine{Stage: &signoff.SheetStage{ID: "s6", Name: "Frame and coat"}, Kind: journal.Outside, Text: "Blasting", Amount: 30_000})
	several.Photos[0].Shown = &signoff.SheetShown{View: "t90c0-0-500-1000", Width: 3024, Height: 2016, Turn: 90, Crop: signoff.SheetCrop{W: 500, H: 1000}, Marks: []signoff.SheetMark{{Shape: "ring", X: 100, Y: 200, X2: 300, Y2: 400, Text: "here"}}}
	several.Standing = &signoff.SheetStanding{PerFind: 25_000, PerMonth: 75_000, Month: "2026-04", Left: 61_212}

	date := head(signoff.DateChange)
	date.Days, date.DateAfter = 15, "2026-10-15"

	delivery := head(signoff.DeliveryAcceptance)
	delivery.Acceptance = &signoff.SheetAcceptance{
		DeliveredOn: "2026-09-24", Odometer: 88_230, Unit: "miles", HandedOver: []string{"Two keys"}, OpenPoints: []string{},
		Billed: 9_700_000, Paid: 9_215_000, Due: 0, HeldBack: 485_000,
	}
	restaged := sample()
	restaged.Adds = &signoff.SheetAdded{ID: "s20", Name: "Winch", Days: 4, After: &signoff.SheetStage{ID: "s8", Name: "Body metal"}, Metered: true}
	restaged.Drops = &signoff.SheetStage{ID: "s9", Name: "Paint and liner"}
	restaged.Lines = append([]signoff.SheetLine{{Stage: restaged.Drops, Kind: journal.Labour, Text: "Paint and liner is dropped", Amount: -90_000, Dropped: true}}, restaged.Lines...)

	stop := head(signoff.EarlyStop)
	stop.Lines = []signoff.SheetLine{{Stage: &signoff.SheetStage{ID: "s9", Name: "Paint and liner"}, Kind: journal.Parts, Text: "Liner kit, handed over", Amount: 41_000}}
	stop.Stop = &signoff.SheetStop{
		By: signoff.OwnersWish, On: "2026-04-14", Truck: "Fetched by the owner's carrier", Parts: []string{"Two doors, with the truck"},
		Stages: []signoff.SheetStopped{
			{ID: "s1", Name: "Teardown", Agreed: 516_000, Billed: 516_000},
			{ID: "s8", Name: "Body metal", Open: true, Agreed: 9_118_000, Earned: 3_000_000, NotDone: 6_118_000, Off: signoff.SheetSplit{Labour: 5_409_465, Parts: 708_535}, Typed: true},
			{ID: "s9", Name: "Paint and liner", Open: true, Metered: true, Agreed: 90_000, Earned: 12_000, NotDone: 78_000, Off: signoff.SheetSplit{Labour: 78_000}},
		},
		Documents: []signoff.SheetDocument{
			{Kind: "holdback release", Holdback: -25_800, DepositCredit: 25_800},
			{Kind: "invoice", Subtotal: 3_053_000, Tax: 21_712, DepositCredit: 920_641, Payable: 2_154_071},
		},
		DueBefore: 4_000, DueAfter: 2_158_071, DepositReturned: 0, Owed: 2_158_071,
	}
	stop.Delta, stop.AgreedAfter, stop.TotalAfter = -6_196_000, stop.AgreedBefore-6_196_000, stop.TotalBefore-6_240_283
	stop.DeltaTax, stop.DeltaWithTax = -44_283, -6_240_283
	return map[string]signoff.Sheet{
		"early-stop": stop, "change-order-stages-added-and-dropped": restaged,
		"build-agreement-every-term": every, "teardown-authorization-time-and-materials": metered,
		"build-agreement": agreement, "teardown-authorization": teardown, "change-order": sample(), "change-order-several-stages": several,
		"date-change": date, "delivery-acceptance": delivery,
	}
}

func TestKnownPapers(t *testing.T) {
	dir := filepath.Join("..", "..", "testdata", "papers")
	var sums []string
	for name, sheet := range known() {
		text, err := sheet.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		file := filepath.Join(dir, name+".json")
		if *update {
			if err := os.WriteFile(file, text, 0o644); err != nil {
				t.Fatal(err)
			}
			sums = append(sums, fmt.Sprintf("%s  %s.json\n", signoff.Hash(text), name))
			continue
		}
		kept, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(kept, text) {
			t.Errorf("%s freezes to other bytes than before:\n%s\n%s", name, kept, text)
		}
		if _, err := signoff.ParseSheet(kept); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	list := filepath.Join(dir, "SHA256SUMS")
	if *update {
		sort.Strings(sums)
		if err := os.WriteFile(list, []byte(strings.Join(sums, "")), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	// The hashes are what coreutils say.
	check := exec.Command("sha256sum", "--check", "--strict", "SHA256SUMS")
	check.Dir = dir
	if out, err := check.CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
	// And what this package says.
	kept, err := os.ReadFile(list)
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Split(strings.TrimSpace(string(kept)), "\n") {
		sum, name, _ := strings.Cut(line, "  ")
		text, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil || signoff.Hash(text) != sum {
			t.Errorf("%s: hash %s, listed %s (%v)", name, signoff.Hash(text), sum, err)
		}
	}
}
