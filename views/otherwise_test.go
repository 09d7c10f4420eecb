package views

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/signoff"
)

func givenSpoken() DecisionView {
	v := givenDecision(signoff.OutcomeSigned)
	d := &v.Decision
	d.Manner, d.HappenedAt, d.Phone, d.SpokeWith, d.ConsentVersion = signoff.ByPhone, at("2026-04-15", 9, 10), "555 0199", "Greta Holm", ""
	d.Sentence, d.Authenticated = "Ada Lindqvist agreed by phone to Change order 4, as it was read out: +2,339.00, which makes the new total 98,679.00.", "said by phone, called at 555 0199"
	v.RecordedBy = "Greta Holm"
	return v
}

func givenByHand() DecisionView {
	v := givenDecision(signoff.OutcomeSigned)
	v.Decision.Manner, v.Decision.HappenedAt, v.Decision.ConsentVersion, v.RecordedBy, v.Scan = signoff.OnPaper, at("2026-04-14", 12, 0), "", "Greta Holm", "/builds/b1/papers/q1/scan"
	return v
}

// otherwisePages are the office's page of a paper that is out, with all the ways
// beside the owner's page.
func otherwisePages() map[string]Page {
	page := StaffPaper{Frame: heronFrame("Change order 4", "/papers/c4"), Paper: shopPaper(signoff.Sent), Sheet: shopSheet()}
	page.Sheet.Sheet.Kind = signoff.ChangeOrder
	who := []Party{{Member: journal.Member{As: journal.AsOwner}, Person: journal.Person{ID: "p4", Name: "Edda Quill", Phone: "555 0177", Postal: "9 Lake Street\nFar Lake"}}}
	page.Otherwise = &Otherwise{Words: shopWords, Action: "/builds/h/papers/c4", Sheet: page.Sheet, Parties: who, ByPhone: true,
		Postings: []PostingLine{{Posting: signoff.Posting{Revision: 1, PersonID: "p4"}, Name: "Edda Quill", Address: "9 Lake Street\nFar Lake"}, {Posting: signoff.Posting{Revision: 1, PersonID: "p5", PostedOn: "2026-04-14"}, Name: "Bo Reed"}},
		Phone:    OtherwiseForm{CalledOn: "2026-04-15", CalledTime: "9h", Phone: "555 0177", SpokeWith: "Mara Lind", Reason: "x"}, PhoneBad: journal.Problems{"called_time": "Please type the time of the call, such as 14:30."},
		Paper: OtherwiseForm{Name: "Edda Quill", SignedOn: "2026-04-14"}, PaperBad: journal.Problems{"scan": "Please choose the scan of the signed sheet: a PDF, or a photo of it."}, PostBad: journal.Problems{"posted_on": "Please give the day on which it was posted."}}
	phone, paper := *page.Otherwise, *page.Otherwise
	phone.PaperBad, phone.PostBad, paper.PhoneBad = nil, nil, nil
	second := page
	page.Otherwise, second.Otherwise = &phone, &paper // one form is refused at a time
	return map[string]Page{"paper-by-phone": page, "paper-on-paper": second}
}

// What was said is never shown as signed.
func TestDecision_SaysHow(t *testing.T) {
	for want, v := range map[string]DecisionView{
		"Agreed by phone: Ada Lindqvist":   givenSpoken(),
		"Signed on paper by Ada Lindqvist": givenByHand(),
		"Signed by Ada Lindqvist":          givenDecision(signoff.OutcomeSigned),
		"Declined by Ada Lindqvist":        givenDecision(signoff.OutcomeDeclined),
	} {
		if got := v.Heading(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	set := mustNew(t)
	d := givenSpoken()
	page := paperIn(signoff.Signed, func(p *Paper) { p.Decision = &d })
	out := strings.ReplaceAll(render(t, set, page), "\u00a0", " ")
	for _, text := range []string{"Agreed by phone: Ada Lindqvist", "9:10", "Called at 555 0199 by Greta Holm", "by Greta Holm"} {
		if !strings.Contains(out, text) {
			t.Errorf("the page does not say %q", text)
		}
	}
	if strings.Contains(out, "Signed by Ada") {
		t.Error("the page says that it was signed")
	}
}
