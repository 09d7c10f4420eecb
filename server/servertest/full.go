package servertest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"strconv"
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// Full is a build with one of everything: its agreement recorded, the first
// stage closed and billed and partly paid, the second under way with an entry
// for the owner, one for the shop only and a loose photo, a paper out for
// sign-off with a question, and a draft.
type Full struct {
	ID           journal.BuildID
	Owner        journal.Person
	Closed, Open journal.StageID
	Shared, Shop journal.EntryID
	SharedPhoto  journal.Photo // in Shared
	ShopPhoto    journal.Photo // in Shop
	LoosePhoto   journal.Photo // in no entry; the floor's
	Evidence     journal.Photo // in the paper that is out
	Paper, Draft signoff.Paper
	Question     journal.QuestionID
	Invoice      flow.Invoice
	Payment      journal.PaymentID
	Mix          journal.PaintID // begun by the floor on the open stage
	Work         journal.WorkID  // outside work on Open, which has a fixed price: the shop's own record
}

// must passes a value on, and fails the test on an error.
func must[T any](v T, err error) func(testing.TB) T {
	return func(tb testing.TB) T {
		tb.Helper()
		if err != nil {
			tb.Fatalf("servertest: %v", err)
		}
		return v
	}
}

func (s *Server) ok(err error) {
	s.tb.Helper()
	if err != nil {
		s.tb.Fatalf("servertest: %v", err)
	}
}

// JPEG returns a small photo, another one for every seed, which looks like no
// other: eight by six patches are lighter or darker by the seed.
func JPEG(tb testing.TB, seed int) []byte {
	tb.Helper()
	patches := sha256.Sum256([]byte(strconv.Itoa(seed)))
	picture := image.NewRGBA(image.Rect(0, 0, 64, 48))
	for x := range 64 {
		for y := range 48 {
			patch := y/8*8 + x/8
			light := patches[patch/8] >> (patch % 8) & 1 * 160
			picture.Set(x, y, color.RGBA{uint8(seed), light + uint8(x), light + uint8(y), 255})
		}
	}
	var made bytes.Buffer
	if err := jpeg.Encode(&made, picture, nil); err != nil {
		tb.Fatalf("servertest: %v", err)
	}
	return made.Bytes()
}

// Photo takes a photo in, as the floor.
func (s *Server) Photo(build journal.BuildID, seed int) journal.Photo {
	s.tb.Helper()
	taken, err := s.App.Intake().Take(context.Background(), Actor(s.Floor), build, fmt.Sprintf("IMG_%d.jpg", seed), bytes.NewReader(JPEG(s.tb, seed)))
	s.ok(err)
	return taken.Photo
}

// Consents has an owner agree to electronic records.
func (s *Server) Consents(p journal.Person) {
	s.tb.Helper()
	word := flow.TestWord(p.ID, views.ConsentVersion)
	s.ok(s.App.Steps().GiveConsent(context.Background(), Actor(p), views.ConsentVersion, views.ConsentSHA256(), word))
}

// Agreed makes a build of the shipped plan with an owner, 1,000.00 of labour
// and 200.00 of parts on every stage, no gates, and its agreement recorded.
func (s *Server) Agreed(nickname string, owner journal.Person) (journal.BuildID, []journal.Stage) {
	s.tb.Helper()
	ctx, steps, office := context.Background(), s.App.Steps(), Actor(s.Office)
	plans := must(steps.Plans(ctx, office))(s.tb)
	id := must(steps.CreateBuild(ctx, office, flow.NewBuild{
		Nickname: nickname, PlanID: plans[0].ID, ArrivedOn: "2026-04-01",
		Truck: journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman", Serial: "OF7-" + nickname, Unit: "miles"},
	}))(s.tb)
	s.ok(steps.AddOwner(ctx, office, id, flow.NewMember{PersonID: owner.ID, As: journal.AsOwner}))
	var rows []flow.StageScope
	for _, st := range must(steps.BuildShow(ctx, office, id))(s.tb).Stages {
		rows = append(rows, flow.StageScope{
			StageID: st.ID, Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays,
			Value: journal.Split{Labour: 100_000, Parts: 20_000},
		})
	}
	s.ok(steps.SaveScope(ctx, office, id, rows))
	view := must(steps.BuildShow(ctx, office, id))(s.tb)
	s.ok(steps.RecordAgreement(ctx, office, id, flow.Agreement{
		Version: view.Build.Version, On: "2026-04-02", How: "signed on paper", ReadyOn: "2026-09-24", Total: journal.Cents(len(rows)) * 120_000,
	}))
	for _, st := range view.Stages {
		s.ok(steps.SaveStage(ctx, office, id, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays}))
	}
	return id, must(steps.BuildShow(ctx, office, id))(s.tb).Stages
}

// Full makes a build with one of everything; seed keeps its photos apart from
// other builds'.
func (s *Server) Full(nickname string, owner journal.Person, seed int) Full {
	s.tb.Helper()
	ctx, steps, office, floor := context.Background(), s.App.Steps(), Actor(s.Office), Actor(s.Floor)
	id, stages := s.Agreed(nickname, owner)
	f := Full{ID: id, Owner: owner, Closed: stages[0].ID, Open: stages[1].ID}
	s.ok(steps.OpenStage(ctx, floor, id, f.Closed))
	f.Invoice, _ = closed(s, id, f.Closed)
	f.Payment = journal.PaymentID("payment-of-" + string(id))
	s.ok(steps.RecordPayment(ctx, office, id, journal.Payment{ID: f.Payment, InvoiceID: f.Invoice.ID, Amount: 50_000, On: "2026-04-10", Means: journal.Cheque}))
	s.ok(steps.OpenStage(ctx, floor, id, f.Open))
	f.SharedPhoto, f.ShopPhoto, f.LoosePhoto, f.Evidence = s.Photo(id, seed), s.Photo(id, seed+1), s.Photo(id, seed+2), s.Photo(id, seed+3)
	f.Shared = s.entry(id, f.Open, journal.OwnerToo, "Seen by the owner of "+nickname, f.SharedPhoto)
	f.Shop = s.entry(id, f.Open, journal.ShopOnly, "For the shop only, of "+nickname, f.ShopPhoto)
	f.Paper = s.sent(id, f.Open, f.Evidence)
	s.ok(steps.Ask(ctx, Actor(owner), id, f.Paper.ID, "Why so much?"))
	f.Question = must(steps.PaperPage(ctx, office, id, f.Paper.ID))(s.tb).Questions[0].ID
	f.Mix = journal.PaintID("mix-of-" + string(id))
	s.ok(steps.StartMix(ctx, floor, coating.Mix{
		ID: f.Mix, BuildID: id, StageID: f.Open, Product: "Two-part clear, for the shop only, of " + nickname, For: "hood", Amount: 5000,
		Formula: coating.Formula{By: coating.ByWeight, Step: coating.Tenth, Components: []coating.Component{{Name: "Clear", Parts: 4000}, {Name: "Hardener", Parts: 1000}}},
	}))
	f.Work = journal.WorkID("work-of-" + string(id))
	s.ok(steps.LogWork(ctx, floor, id, flow.NewWork{
		ID: f.Work, StageID: f.Open, Kind: journal.Outside, Day: "2026-04-10", Text: "Blasted for the shop only, of " + nickname, Cost: 98_765,
		FileName: "blaster.pdf", File: []byte("%PDF-1.7 of the blaster of " + nickname),
	}))
	f.Draft = must(steps.NewPaper(ctx, office, id, flow.PaperStart{Kind: signoff.ChangeOrder, EntryID: f.Shop}))(s.tb)
	return f
}

func closed(s *Server, build journal.BuildID, stage journal.StageID) (flow.Invoice, bool) {
	s.tb.Helper()
	inv, billed, err := s.App.Steps().CloseStage(context.Background(), Actor(s.Office), build, stage)
	s.ok(err)
	return inv, billed
}

func (s *Server) entry(build journal.BuildID, stage journal.StageID, audience journal.Audience, text string, photo journal.Photo) journal.EntryID {
	s.tb.Helper()
	return must(s.App.Steps().PostEntry(context.Background(), Actor(s.Floor), build, flow.NewEntry{
		StageID: stage, Kind: journal.KindFind, Audience: audience, Text: text, Photos: []journal.EntryPhoto{{PhotoID: photo.ID}},
	}))(s.tb).ID
}

func (s *Server) sent(build journal.BuildID, stage journal.StageID, evidence journal.Photo) signoff.Paper {
	s.tb.Helper()
	ctx, steps, office := context.Background(), s.App.Steps(), Actor(s.Office)
	p := must(steps.NewPaper(ctx, office, build, flow.PaperStart{Kind: signoff.ChangeOrder}))(s.tb)
	p = must(steps.SavePaper(ctx, office, build, p.ID, p.Version, signoff.Draft{
		Title: "Both front floor pans", Reason: "Rusted through.", StageID: stage, Days: 6, Photos: []signoff.Evidence{{PhotoID: evidence.ID}},
		Lines: []signoff.Line{
			{Kind: journal.Labour, Text: "Cut out, fit and weld", Minutes: 1080, Rate: 9500},
			{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48_000},
		},
	}))(s.tb)
	return must(steps.SendPaper(ctx, office, build, p.ID, p.Version))(s.tb)
}
