package scenario

import (
	"context"
	"fmt"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func (b *build) scheduleChange(c changeStory) {
	b.on(c.day, 15, 45, "send "+c.title, func(ctx context.Context) error { return b.send(ctx, c) })
	for _, q := range c.asks {
		b.on(q.day, 19, 5, "question on "+c.title, func(ctx context.Context) error {
			return b.t.steps.Ask(ctx, b.t.actors[b.story.owner], b.id, b.papers[c.title], q.text)
		})
		if q.answer != "" {
			b.on(q.answered, 8, 20, "answer on "+c.title, func(ctx context.Context) error { return b.answer(ctx, c, q) })
		}
	}
	if day, outcome := outcomeOf(c); day > 0 {
		b.on(day, 18, 40, "decide "+c.title, func(ctx context.Context) error { return b.decide(ctx, c, outcome) })
	}
}

func (b *build) send(ctx context.Context, c changeStory) error {
	steps, office := b.t.steps, b.office()
	p, err := steps.NewPaper(ctx, office, b.id, flow.PaperStart{Kind: signoff.ChangeOrder, EntryID: b.entries[c.from]})
	if err != nil {
		return err
	}
	change := signoff.Draft{
		Title: c.title, Reason: c.reason, Photos: p.Draft.Photos, StageID: b.stages[c.stage], Days: c.days, Lines: changeLines(c.lines),
	}
	if p, err = steps.SavePaper(ctx, office, b.id, p.ID, p.Version, change); err != nil {
		return err
	}
	b.papers[c.title] = p.ID
	_, err = steps.SendPaper(ctx, office, b.id, p.ID, p.Version)
	return err
}

func (b *build) answer(ctx context.Context, c changeStory, q askStory) error {
	view, err := b.t.steps.PaperPage(ctx, b.office(), b.id, b.papers[c.title])
	if err != nil {
		return err
	}
	for _, asked := range view.Questions {
		if asked.Text == q.text {
			return b.t.steps.Answer(ctx, b.office(), b.id, b.papers[c.title], asked.ID, q.answer)
		}
	}
	return fmt.Errorf("the question %q was not asked", q.text)
}

func (b *build) decide(ctx context.Context, c changeStory, outcome signoff.Outcome) error {
	return b.decides(ctx, b.papers[c.title], outcome, c.why)
}

// decides has the owner decide a paper, after agreeing to electronic records the
// first time.
func (b *build) decides(ctx context.Context, paper journal.PaperID, outcome signoff.Outcome, why string) error {
	owner := b.t.actors[b.story.owner]
	_, agreed, err := b.t.steps.ConsentOf(ctx, owner.Person.ID)
	if err != nil {
		return err
	}
	if !agreed {
		word := flow.TestWord(owner.Person.ID, b.t.ConsentVersion)
		if err := b.t.steps.GiveConsent(ctx, owner, b.t.ConsentVersion, b.t.ConsentSHA256, word); err != nil {
			return err
		}
	}
	view, err := b.t.steps.PaperPage(ctx, owner, b.id, paper)
	if err != nil {
		return err
	}
	last := view.Revisions[len(view.Revisions)-1]
	_, err = b.t.steps.Decide(ctx, owner, b.id, paper, flow.DecideInput{
		Revision: last.Number, SHA256: last.SHA256, Outcome: outcome, TypedName: owner.Person.Name, Reason: why,
	})
	return err
}

// signs writes a paper, sends it, and has the owner sign it.
func (b *build) signs(ctx context.Context, kind signoff.Kind, fill func(*signoff.Draft)) error {
	return b.signsFrom(ctx, flow.PaperStart{Kind: kind}, fill)
}

func (b *build) signsFrom(ctx context.Context, start flow.PaperStart, fill func(*signoff.Draft)) error {
	paper, err := b.sends(ctx, start, fill)
	if err != nil {
		return err
	}
	return b.decides(ctx, paper, signoff.OutcomeSigned, "")
}

// sends writes a paper and sends it.
func (b *build) sends(ctx context.Context, start flow.PaperStart, fill func(*signoff.Draft)) (journal.PaperID, error) {
	steps, office := b.t.steps, b.office()
	p, err := steps.NewPaper(ctx, office, b.id, start)
	if err != nil {
		return "", err
	}
	draft := p.Draft
	fill(&draft)
	if p, err = steps.SavePaper(ctx, office, b.id, p.ID, p.Version, draft); err != nil {
		return "", err
	}
	_, err = steps.SendPaper(ctx, office, b.id, p.ID, p.Version)
	return p.ID, err
}

// use books a find on the standing allowance.
func (b *build) use(ctx context.Context, u useStory) error {
	e, err := b.t.steps.EntryShow(ctx, b.office(), b.id, b.entries[u.from])
	if err != nil {
		return err
	}
	n := flow.NewUse{ID: journal.UseID(b.t.steps.NewID()), EntryID: e.Entry.ID, Title: u.title, Reason: u.reason, Lines: changeLines(u.lines)}
	for _, p := range e.Entry.Photos {
		n.Photos = append(n.Photos, signoff.Evidence{PhotoID: p.PhotoID, Caption: p.Caption})
	}
	_, err = b.t.steps.BookUse(ctx, b.office(), b.id, n)
	return err
}

// changeLines are the lines of a story at the shop's rate.
func changeLines(told []lineStory) []signoff.Line {
	var lines []signoff.Line
	for _, l := range told {
		line := signoff.Line{Kind: l.kind, Text: l.text, Minutes: l.minutes, Amount: l.amount}
		if l.kind == journal.Labour {
			line.Rate = shop.LabourRate
		}
		lines = append(lines, line)
	}
	return lines
}

// reEstimate tells the owner, once the truck is apart, that the estimate stands.
func (b *build) reEstimate(ctx context.Context) error {
	return b.signsFrom(ctx, flow.PaperStart{Kind: signoff.ChangeOrder, ReEstimate: true}, func(d *signoff.Draft) {
		d.StageID = b.stages["Re-estimate"]
		d.Reason = "With the truck apart we looked at frame, floors, sills, pillars and mounts. What we found so far is what the agreement expected, so the estimate stands."
	})
}
