package server

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// composer writes letters with the texts of package views. It implements
// [flow.Composer]. It is called inside transactions, so it asks no database;
// the shop it knows is kept up to date by [shopWatch].
type composer struct {
	views *views.Set
	now   func() time.Time
	url   func() string
	shop  *shopWatch
	// checkpoint goes to the letter's foot; set for one letter.
	checkpoint string
}

// frame returns what every letter needs. The shop's name comes with the letter
// where it has one.
func (w composer) frame(shopName string, to journal.Person) views.MailFrame {
	shop := w.shop.last()
	if shopName == "" {
		shopName = shop.Name
	}
	return views.MailFrame{
		Words:    views.Words{Now: w.now(), Zone: shop.Location(), Currency: shop.Currency},
		ShopName: shopName, ShopPhone: shop.Phone, ToName: to.Name, Checkpoint: w.checkpoint, LogAt: w.url() + "/proof-log",
	}
}

// Compose implements [flow.Composer].
func (w composer) Compose(letter any, checkpoint string) (subject, text string, err error) {
	w.checkpoint = checkpoint
	shown, err := w.shown(letter)
	if err != nil {
		return "", "", err
	}
	return w.views.Letter(shown)
}

// shown turns a step's letter into the page struct, so to say, of an e-mail.
func (w composer) shown(letter any) (views.Letter, error) {
	switch l := letter.(type) {
	case flow.SignInLetter:
		f := w.frame(l.ShopName, l.To)
		f.Zone = l.Zone
		if l.Purpose == journal.LinkSetPassword {
			return views.SetPasswordLetter{MailFrame: f, Link: w.url() + l.Path, Until: l.Until}, nil
		}
		return views.SignInLetter{MailFrame: f, Link: w.url() + l.Path, Until: l.Until}, nil
	case flow.PaperSentLetter:
		f := w.frame(l.ShopName, l.To)
		sheet, err := f.OfSheet(l.Sheet, "")
		return views.PaperSentLetter{MailFrame: f, Sheet: sheet, Link: w.url() + l.Path, Renewed: l.Renewed}, err
	case flow.DecisionLetter:
		f := w.frame(l.ShopName, l.To)
		sheet, err := f.OfSheet(l.Sheet, l.Decision.SHA256)
		if err != nil {
			return nil, err
		}
		decision, err := f.OfDecision(l.Sheet.Kind, l.Decision)
		return views.DecisionLetter{MailFrame: f, Sheet: sheet, Decision: decision, Link: w.url() + l.Path}, err
	case flow.DecidedLetter:
		f := w.frame("", l.To)
		sheet, err := f.OfSheet(l.Sheet, l.Decision.SHA256)
		if err != nil {
			return nil, err
		}
		decision, err := f.OfDecision(l.Sheet.Kind, l.Decision)
		return views.DecidedLetter{MailFrame: f, Sheet: sheet, Decision: decision, Link: w.url() + l.Path}, err
	case flow.QuestionLetter:
		f := w.frame(l.ShopName, l.To)
		sheet, err := f.OfSheet(l.Sheet, "")
		if l.Question.AnsweredAt.IsZero() {
			return views.QuestionLetter{MailFrame: f, Sheet: sheet, AskedBy: l.AskedBy, Text: l.Question.Text, Link: w.url() + l.Path}, err
		}
		return views.AnswerLetter{MailFrame: f, Sheet: sheet, Text: l.Question.Text, Answer: l.Question.Answer, Link: w.url() + l.Path}, err
	case flow.ConfirmationLetter:
		f := w.frame("", l.To)
		sheet, err := f.OfSheet(l.Sheet, "")
		c := l.Confirmation
		return views.PhoneConfirmationLetter{
			MailFrame: f, Sheet: sheet, Confirmed: c.Confirmed, Name: c.TypedName, Sentence: c.Sentence, Text: c.Text, Link: w.url() + l.Path,
		}, err
	case flow.DelegateNamedLetter:
		return views.DelegateNamedLetter{
			MailFrame: w.frame(l.ShopName, l.To), Nickname: l.Nickname, By: views.List(l.By), Paper: l.Paper, Link: w.url() + l.Path,
		}, nil
	case flow.DelegateEndedLetter:
		return views.DelegateEndedLetter{MailFrame: w.frame(l.ShopName, l.To), Nickname: l.Nickname, Delegate: l.Delegate}, nil
	case flow.UseLetter:
		return views.UseLetter{MailFrame: w.frame(l.ShopName, l.To), Nickname: l.Nickname, Use: l.Use, Left: l.Left, Link: w.url() + l.Path}, nil
	case flow.BelongingLetter:
		return views.BelongingLetter{MailFrame: w.frame(l.ShopName, l.To), Nickname: l.Nickname, What: l.What, Link: w.url() + l.Path}, nil
	case flow.BelongingAnsweredLetter:
		return views.BelongingAnsweredLetter{
			MailFrame: w.frame("", l.To), Nickname: l.Nickname, What: l.What, Answer: string(l.Answer.Answer), Note: l.Answer.Note, By: l.By, Link: w.url() + l.Path,
		}, nil
	case flow.CeilingLetter:
		return views.CeilingLetter{
			MailFrame: w.frame("", l.To), Nickname: l.Nickname, Stage: l.Stage, Percent: l.Percent, Metering: l.Metering, Link: w.url() + l.Path,
		}, nil
	case flow.InvoiceLetter:
		return views.InvoiceLetter{
			MailFrame: w.frame(l.ShopName, l.To), Document: l.Invoice.Document, Nickname: l.Nickname, Stage: l.Stage, Link: w.url() + l.Path,
		}, nil
	case flow.StoppedLetter:
		return views.StoppedLetter{MailFrame: w.frame(l.ShopName, l.To), Nickname: l.Nickname, On: l.On, Reason: l.Reason, Link: w.url() + l.Path}, nil
	case flow.ReminderLetter:
		return views.ReminderLetter{
			MailFrame: w.frame(l.ShopName, l.To), Document: l.Document, Nickname: l.Nickname, Open: l.Open, Late: l.Late, Link: w.url() + l.Path,
		}, nil
	case flow.PaymentLetter:
		shown := views.PaymentLetter{MailFrame: w.frame(l.ShopName, l.To), Payment: l.Payment, Nickname: l.Nickname, StillDue: l.StillDue, Link: w.url() + l.Path}
		for _, part := range l.For {
			shown.For = append(shown.For, views.PaidFor(part))
		}
		return shown, nil
	}
	return nil, fmt.Errorf("server: no text for a letter of type %T", letter)
}

// shopWatch is a database that remembers the shop's settings as last read or
// saved through it.
type shopWatch struct {
	flow.Store
	seen atomic.Pointer[journal.Shop]
}

// watchShop reads the settings and watches over their changes.
func watchShop(ctx context.Context, s flow.Store) (*shopWatch, error) {
	w := &shopWatch{Store: s}
	w.seen.Store(&unnamedShop)
	err := s.Read(ctx, func(r flow.Reads) error {
		shop, err := r.Shop()
		switch {
		case journal.CodeOf(err) == journal.NotFound:
			return nil
		case err == nil:
			w.seen.Store(&shop)
		}
		return err
	})
	return w, err
}

// last returns the settings as last seen, [unnamedShop] before there are any.
func (w *shopWatch) last() journal.Shop { return *w.seen.Load() }

// Write implements [flow.Store].
func (w *shopWatch) Write(ctx context.Context, f func(flow.Tx) error) error {
	var saved *journal.Shop
	err := w.Store.Write(ctx, func(tx flow.Tx) error { return f(&shopWatchTx{tx, &saved}) })
	if err == nil && saved != nil {
		w.seen.Store(saved)
	}
	return err
}

type shopWatchTx struct {
	flow.Tx
	saved **journal.Shop
}

// SaveShop implements [flow.Tx].
func (t *shopWatchTx) SaveShop(shop journal.Shop) error {
	err := t.Tx.SaveShop(shop)
	if err == nil {
		*t.saved = &shop
	}
	return err
}
