package views

import (
	"fmt"
	"time"

	"farbay/journal/signoff"
)

// act says what signing and declining stand for, and, where nothing was decided
// yet, leaves room to sign the print by hand.
func (d *pdfDoc) act(open bool) {
	sheet := d.v.Sheet
	// Room to sign by hand stands on one page with what signing says.
	agree, decline := d.body(), d.small()
	agree.keep, decline.keep = open, open
	d.section("What signing says")
	d.text("“"+sheet.Act+"”", agree)
	if sheet.Decline != "" {
		d.text("Declining says: “"+sheet.Decline+"”", decline)
	}
	if !open {
		return
	}
	answers := []string{"I agree", "I decline"}
	if d.v.AsksParts() {
		answers = append(answers, "I want replaced parts back")
	}
	first := d.small()
	first.keep = true
	d.text("Not decided when this was printed. Whoever decides on the print ticks and signs here:", first)
	d.hand(answers)
}

// hand is room to sign by hand: boxes to tick, and lines for signature, name
// and date.
func (d *pdfDoc) hand(answers []string) {
	const height, signed, third = 92.0, 74.0, pdfMeasure / 3
	lines := []struct {
		name     string
		from, to float64
	}{{"Signature", 0, 0.46}, {"Name in print", 0.49, 0.79}, {"Date", 0.82, 1}}
	small := d.small()
	ticks, signs := d.root.under("P"), d.root.under("P")
	d.add(pdfBlock{height: height, after: 10, draw: func(top float64) {
		p := d.page()
		p.artifact(func() {
			p.out.SetStrokeColorRGB(tone(toneInk))
			p.out.SetLineWidth(0.8)
			for i := range answers {
				p.out.Rectangle(pdfLeft+third*float64(i), top-15, 9, 9)
				p.out.Stroke()
			}
			for _, l := range lines {
				p.line(pdfLeft+l.from*pdfMeasure, top-signed, pdfLeft+l.to*pdfMeasure, top-signed, 0.8, toneInk)
			}
		})
		for i, s := range answers {
			d.lines(s+" ", small, third-16).draw(ticks, pdfLeft+third*float64(i)+14, top-5)
		}
		for _, l := range lines {
			d.lines(l.name, small, (l.to-l.from)*pdfMeasure).draw(signs, pdfLeft+l.from*pdfMeasure, top-signed-2)
		}
	}})
}

// decision is the recorded decision with everything in it.
func (d *pdfDoc) decision(p PaperPrint) {
	kept := *p.Decision
	v, err := d.v.OfDecision(d.v.Sheet.Kind, kept)
	if err != nil {
		d.said("", err)
		return
	}
	colour := toneTopcoat
	if !v.Signed() {
		colour = tonePrimer
	}
	said := d.body()
	said.size = 10.5
	d.heading(v.Heading(), "H2", 16, colour)
	d.text("“"+kept.Sentence+"”", said)
	if kept.Reason != "" {
		d.typed("Reason: "+kept.Reason, d.body())
	}
	d.facts(d.decided(p, v))
	if c := p.Confirmation; c != nil {
		d.confirmation(*c, v)
	}
}

// instant is a moment for the record: at the shop, and in UTC to the
// millisecond.
func (d *pdfDoc) instant(v DecisionView, at time.Time) string {
	return d.said(v.Moment(at)) + " (" + at.UTC().Format("2006-01-02T15:04:05.000Z07:00") + ")"
}

// decided is the whole record of a decision.
func (d *pdfDoc) decided(p PaperPrint, v DecisionView) [][2]string {
	kept := v.Decision
	manner := string(kept.Manner)
	if kept.Manner == "" {
		manner = string(signoff.OnPage)
	}
	when := d.instant(v, kept.DecidedAt())
	if v.ByHand() {
		when = d.said(v.DayOf(kept.DecidedAt())) // no more stands on the sheet
	}
	facts := [][2]string{{"Name given", kept.TypedName}, {"As", string(kept.As)}, {"How", manner}, {"When", when}}
	from := [2]string{"From address", "With browser"}
	if !kept.HappenedAt.IsZero() {
		facts = append(facts, [2]string{"Recorded by the shop", d.instant(v, kept.At)})
		from = [2]string{"Recorded from address", "Recorded with browser"}
	}
	parts := ""
	if v.AsksParts() {
		parts = "not wanted back"
		if kept.PartsBack {
			parts = "wanted back"
		}
	}
	consent := ""
	if kept.ConsentVersion != "" {
		consent = "version " + kept.ConsentVersion + ", given " + d.instant(v, kept.ConsentAt)
	}
	passkey := ""
	if proof, used, err := kept.PasskeyProof(); used || err != nil {
		passkey = d.said("yes, “"+proof.Name+"”; the receipt names its answer by SHA-256", err)
	}
	scan := ""
	if p.Scan != nil {
		scan = p.Scan.Name + ", SHA-256 " + WrapHash(p.Scan.SHA256)
	}
	return append(facts, [][2]string{
		{"Recorded by", p.RecordedBy}, {"Number called", kept.Phone}, {"Spoke for the shop", kept.SpokeWith},
		{"Scan of the signed sheet", scan},
		{"Shop’s zone", kept.Zone}, {"Replaced parts", parts},
		{"Revision", fmt.Sprint(kept.Revision)}, {"SHA-256 of what was shown", WrapHash(kept.SHA256)},
		{"How the person had proved who they are", kept.Authenticated}, {"Confirmed by a passkey", passkey},
		{from[0], kept.Address}, {from[1], kept.UserAgent},
		{"Consent to electronic records", consent}, {"Copy sent to", kept.CopyTo},
	}...)
}

func (d *pdfDoc) confirmation(c signoff.Confirmation, v DecisionView) {
	word, colour := "Confirmed by ", toneTopcoat
	if !c.Confirmed {
		word, colour = "Disputed by ", tonePrimer
	}
	d.heading(word+c.TypedName, "H2", 13.5, colour)
	d.say("“" + c.Sentence + "”")
	d.typed(c.Text, d.body())
	d.facts([][2]string{
		{"When", d.instant(v, c.At)}, {"How the person had proved who they are", c.Authenticated},
		{"From address", c.Address}, {"With browser", c.UserAgent},
	})
}

// check says how the print is held against the record.
func (d *pdfDoc) check() {
	d.text("This print was made from the paper’s record. The SHA-256 at the foot of each page is that of the record’s bytes, which anybody can count again with sha256sum; the receipt of a decision names the same one.", d.small())
}

// questions stand after the paper and are no part of it.
func (d *pdfDoc) questions(all []QuestionView) {
	if len(all) == 0 {
		return
	}
	note := d.small()
	note.after, note.keep = 8, true
	d.section("Questions and answers")
	d.text("Kept with the paper; no part of the frozen record, which is what was decided.", note)
	w := Words{Now: pdfYear, Zone: d.v.Zone, Currency: d.v.Currency}
	head, said := d.small(), d.body()
	head.after, head.keep, said.after = 1, true, 3
	for _, q := range all {
		d.text(fmt.Sprintf("%s asked %s, about revision %d:", q.AskedBy, d.said(w.Moment(q.Question.AskedAt)), q.Question.Revision), head)
		d.typed(q.Question.Text, said)
		if q.Answered() {
			d.text(fmt.Sprintf("%s answered %s:", q.AnsweredBy, d.said(w.Moment(q.Question.AnsweredAt))), head)
			d.typed(q.Question.Answer, said)
		} else {
			d.text("Not answered when this was printed.", d.small())
		}
		d.space(8)
	}
}
