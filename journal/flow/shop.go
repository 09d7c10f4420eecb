package flow

import (
	"context"

	"farbay/journal"
)

// FirstShop is what a new shop's settings say until the office fills them in.
func FirstShop() journal.Shop {
	return journal.Shop{
		Name: "Our shop", Zone: "America/Denver", Currency: "USD",
		LabourRate: 9500, QuietDays: 14,
	}
}

// SeedShop stores the first settings if there are none. Calling it at every
// start does no harm.
func (s *Steps) SeedShop(ctx context.Context, first journal.Shop) error {
	return s.write(ctx, func(tx Tx) error {
		_, there, err := absent(tx.Shop())
		if err != nil || there {
			return err
		}
		first.Version = 0 // nothing is stored yet
		if err := first.Validate(); err != nil {
			return err
		}
		return tx.SaveShop(first)
	})
}

// ShopOf returns the shop's settings.
func (s *Steps) ShopOf(ctx context.Context) (shop journal.Shop, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		shop, err = r.Shop()
		return err
	})
	return shop, err
}

// SaveShop stores changed settings; shop.Version is the one read. Office only.
// Papers and invoices that were sent keep the name and address they had.
//
// It returns [journal.Invalid] field by field (see [journal.Shop.Validate]) and
// [journal.Conflict] when somebody else saved in between.
func (s *Steps) SaveShop(ctx context.Context, a Actor, shop journal.Shop) error {
	if err := asOffice(a); err != nil {
		return err
	}
	shop.Name, shop.Address = journal.CleanLine(shop.Name), journal.CleanText(shop.Address)
	if err := shop.Validate(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		was, err := tx.Shop()
		if err != nil {
			return err
		}
		if was.Version != shop.Version {
			return changedMeanwhile("page")
		}
		if err := tx.SaveShop(shop); err != nil {
			return err
		}
		return s.record(tx, a, "", "shop changed", "", map[string]any{"name": shop.Name, "zone": shop.Zone, "currency": shop.Currency})
	})
}

// LetterLine is one letter in the outbox.
type LetterLine struct {
	Letter journal.Letter
	Build  string // nickname; "" for sign-in links and the like
}

// Outbox returns the newest letters, at most limit, and how many are still to
// be sent. Office only.
func (s *Steps) Outbox(ctx context.Context, a Actor, limit int) (lines []LetterLine, waiting int, err error) {
	if err := asOffice(a); err != nil {
		return nil, 0, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		letters, err := r.Letters(limit)
		if err != nil {
			return err
		}
		names := map[journal.BuildID]string{}
		for _, l := range letters {
			name, err := nickname(r, names, l.BuildID)
			if err != nil {
				return err
			}
			lines = append(lines, LetterLine{Letter: l, Build: name})
		}
		waiting, err = r.PendingJobs(journal.JobMail)
		return err
	})
	return lines, waiting, err
}

// LetterShow returns one letter. Office only.
func (s *Steps) LetterShow(ctx context.Context, a Actor, id journal.LetterID) (line LetterLine, err error) {
	if err := asOffice(a); err != nil {
		return LetterLine{}, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if line.Letter, err = r.Letter(id); err != nil {
			return err
		}
		line.Build, err = nickname(r, map[journal.BuildID]string{}, line.Letter.BuildID)
		return err
	})
	return line, err
}

// nickname looks a build's nickname up once.
func nickname(r Reads, names map[journal.BuildID]string, id journal.BuildID) (string, error) {
	if name, known := names[id]; known || id == "" {
		return name, nil
	}
	b, err := r.Build(id)
	names[id] = b.Nickname
	return b.Nickname, err
}
