package server

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// zones are time zones offered while typing; any other of the IANA names is
// taken too.
var zones = []string{
	"America/New_York", "America/Detroit", "America/Chicago", "America/Denver", "America/Boise", "America/Phoenix",
	"America/Los_Angeles", "America/Anchorage", "Pacific/Honolulu", "America/Puerto_Rico", "America/Toronto",
	"America/Winnipeg", "America/Edmonton", "America/Vancouver", "Europe/London", "Europe/Berlin", "Australia/Sydney",
	"Pacific/Auckland", "UTC",
}

// shopPage shows the shop's settings. GET /shop
func (a *App) shopPage(c echo.Context) error {
	kept, err := a.kept(c, "/shop")
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showShop(c, shopForm(formOf(kept)), refusal{})
	}
	shop, err := a.steps.ShopOf(c.Request().Context())
	if err != nil {
		return err
	}
	return a.showShop(c, filledShop(shop), refusal{})
}

func (a *App) showShop(c echo.Context, form views.ShopForm, r refusal) error {
	f, err := a.frame(c, "The shop")
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.Shop{Frame: f, Form: form, Zones: zones, Problems: r.problems})
}

// filledShop fills the form from what is stored.
func filledShop(s journal.Shop) views.ShopForm {
	var closures []string
	for _, day := range s.Closures {
		closures = append(closures, strings.TrimSpace(string(day.Day)+" "+day.Name))
	}
	return views.ShopForm{
		Name: s.Name, Address: s.Address, Phone: s.Phone, Email: s.Email, Zone: s.Zone, Currency: s.Currency,
		LabourRate: s.LabourRate.String(), QuietDays: strconv.Itoa(s.QuietDays), ReminderDays: journal.FormatReminderDays(s.ReminderDays), Closures: strings.Join(closures, "\n"), Version: s.Version,
	}
}

// shopForm gives back what was typed.
func shopForm(f *form) views.ShopForm {
	return views.ShopForm{
		Name: f.raw("name"), Address: f.raw("address"), Phone: f.raw("phone"), Email: f.raw("email"), Zone: f.raw("zone"),
		Currency: f.raw("currency"), LabourRate: f.raw("labour_rate"), QuietDays: f.raw("quiet_days"), ReminderDays: f.raw("reminder_days"), Closures: f.raw("closures"),
		Version: f.version(),
	}
}

// reminderDays reads the days on which owners are reminded of an invoice.
func (f *form) reminderDays(name string) []int {
	days, err := journal.ParseReminderDays(f.raw(name))
	if err != nil {
		f.bad.Add(name, "%s", journal.MessageOf(err))
	}
	return days
}

// closures reads one closed day a line: the day, then its name.
func (f *form) closures(name string) []journal.Closure {
	var all []journal.Closure
	for _, line := range f.lines(name) {
		first, rest, _ := strings.Cut(line, " ")
		day, err := journal.ParseDate(first)
		if err != nil {
			f.bad.Add(name, "“%s” does not begin with a day that exists. Please begin each line with it as year-month-day: 2026-12-24 Winter break.", line)
			continue
		}
		all = append(all, journal.Closure{Day: day, Name: strings.TrimSpace(rest)})
	}
	return all
}

// shopSave stores the shop's settings. POST /shop
func (a *App) shopSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	shop := journal.Shop{
		Name: f.line("name"), Address: f.text("address"), Phone: f.line("phone"), Email: f.line("email"), Zone: f.line("zone"),
		Currency: strings.ToUpper(f.line("currency")), LabourRate: f.cents("labour_rate"), QuietDays: f.number("quiet_days", 0, 1, 365),
		ReminderDays: f.reminderDays("reminder_days"), Closures: f.closures("closures"), Version: f.version(),
	}
	if err = f.check(shop.Validate()); err == nil {
		err = a.steps.SaveShop(ctx, actor(c), shop)
	}
	if r, ok := refused(err); ok {
		form := shopForm(f)
		if r.late() {
			stored, err := a.steps.ShopOf(ctx)
			if err != nil {
				return err
			}
			form.Version = stored.Version
		}
		return a.showShop(c, form, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, "/shop", "The settings are saved.")
}
