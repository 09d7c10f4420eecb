package server

import (
	"fmt"

	"farbay/journal/flow"
	"farbay/views"
)

// composer writes letters with the texts of package views. It implements
// [flow.Composer].
type composer struct{ app *App }

// Compose implements [flow.Composer].
func (w composer) Compose(letter any) (subject, text string, err error) {
	switch l := letter.(type) {
	case flow.SignInLetter:
		return w.app.views.Letter(views.SignInLetter{
			MailFrame: views.MailFrame{
				Words:    views.Words{Now: w.app.now(), Zone: l.Zone, Currency: unnamedShop.Currency},
				ShopName: named(l.ShopName), ToName: l.To.Name,
			},
			Link: w.app.URL() + l.Path, Until: l.Until,
		})
	}
	return "", "", fmt.Errorf("server: no text for a letter of type %T", letter)
}

func named(shop string) string {
	if shop == "" {
		return unnamedShop.Name
	}
	return shop
}
