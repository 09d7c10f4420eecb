package server

import (
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// people answers GET /people.
func (a *App) people(c echo.Context) error {
	typed := views.PersonForm{Role: string(journal.Owner)}
	kept, err := a.kept(c, "/people")
	if err != nil {
		return err
	}
	if kept != nil {
		typed = personForm(formOf(kept))
	}
	return a.peoplePage(c, http.StatusOK, typed, nil)
}

func (a *App) peoplePage(c echo.Context, status int, typed views.PersonForm, bad journal.Problems) error {
	all, err := a.steps.PeopleShow(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	page := views.People{Form: typed, Problems: bad}
	for _, v := range all {
		line := views.PersonLine{Person: v.Person, LastSeen: v.LastSeen}
		for _, b := range v.Builds {
			line.Builds = append(line.Builds, b.Nickname)
		}
		switch {
		case !v.Person.Active():
			page.Ended = append(page.Ended, line)
		case v.Person.Role.Staff():
			page.Staff = append(page.Staff, line)
		default:
			page.Owners = append(page.Owners, line)
		}
	}
	if page.Frame, err = a.frame(c, "People"); err != nil {
		return err
	}
	return a.show(c, status, page)
}

func personForm(f *form) views.PersonForm {
	return views.PersonForm{Name: f.line("name"), Email: f.line("email"), Phone: f.line("phone"), Postal: f.text("postal"), Role: f.line("role")}
}

func personTyped(typed views.PersonForm) journal.Person {
	return journal.Person{
		Name: typed.Name, Email: journal.NormalEmail(typed.Email), Phone: typed.Phone, Postal: journal.CleanText(typed.Postal), Role: journal.Role(typed.Role),
	}
}

// peopleAdd answers POST /people: name, email, phone, role. A person of the
// shop is sent a link to set their password at once; an owner asks for one when
// they need it.
func (a *App) peopleAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	typed := personForm(f)
	p, err := a.steps.AddPerson(c.Request().Context(), actor(c), personTyped(typed))
	if err != nil {
		bad, err := problems(err)
		if err != nil {
			return err
		}
		return a.peoplePage(c, http.StatusUnprocessableEntity, typed, bad)
	}
	said := p.Name + " is added."
	if p.Role.Staff() {
		if err := a.invite(c, p); err != nil {
			return err
		}
		said = fmt.Sprintf("%s is added; a link to set a password is on its way to %s.", p.Name, p.Email)
	}
	return a.done(c, "/people", said)
}

// invite sends a person the link that suits their role.
func (a *App) invite(c echo.Context, p journal.Person) error {
	token, err := newToken()
	if err != nil {
		return err
	}
	life := a.cfg.LinkLife
	if p.Role.Staff() {
		life = a.cfg.InviteLife
	}
	return a.steps.SendLink(c.Request().Context(), actor(c), p.ID, flow.NewLink{Token: token, Life: life})
}

// person answers GET /people/:person.
func (a *App) person(c echo.Context) error {
	v, err := a.personView(c)
	if err != nil {
		return err
	}
	p := v.Person
	typed := views.PersonForm{Name: p.Name, Email: p.Email, Phone: p.Phone, Postal: p.Postal, Role: string(p.Role)}
	kept, err := a.kept(c, personPath(p.ID))
	if err != nil {
		return err
	}
	if kept != nil {
		typed = personForm(formOf(kept))
	}
	return a.personPage(c, http.StatusOK, v, typed, nil)
}

func (a *App) personView(c echo.Context) (flow.PersonView, error) {
	return a.steps.PersonShow(c.Request().Context(), actor(c), journal.PersonID(c.Param("person")))
}

func (a *App) personPage(c echo.Context, status int, v flow.PersonView, typed views.PersonForm, bad journal.Problems) (err error) {
	page := views.Person{
		Stored: v.Person, Self: v.Person.ID == of(c).person.ID, Builds: v.Builds, Sessions: v.Sessions,
		Form: typed, Problems: bad,
	}
	if page.Frame, err = a.frame(c, v.Person.Name); err != nil {
		return err
	}
	consent, inForce, err := a.steps.ConsentOf(c.Request().Context(), v.Person.ID)
	if err != nil {
		return err
	}
	if inForce {
		page.ConsentAt = consent.At
	}
	page.How = c.FormValue("how")
	return a.show(c, status, page)
}

// personConsentEnd records that an owner told the shop of their withdrawal.
// POST /people/:person/consent/end
func (a *App) personConsentEnd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	v, err := a.personView(c)
	if err != nil {
		return err
	}
	err = a.steps.RecordWithdrawal(c.Request().Context(), actor(c), v.Person.ID, f.line("how"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		p := v.Person
		form := views.PersonForm{Name: p.Name, Email: p.Email, Phone: p.Phone, Postal: p.Postal, Role: string(p.Role)}
		return a.personPage(c, http.StatusUnprocessableEntity, v, form, bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, personPath(v.Person.ID), "Recorded. From now on papers go to them by post.")
}

// personSave answers POST /people/:person: name, email, phone, role.
func (a *App) personSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	v, err := a.personView(c)
	if err != nil {
		return err
	}
	typed := personForm(f)
	p := personTyped(typed)
	p.ID = v.Person.ID
	if _, err := a.steps.ChangePerson(c.Request().Context(), actor(c), p); err != nil {
		bad, err := problems(err)
		if err != nil {
			return err
		}
		return a.personPage(c, http.StatusUnprocessableEntity, v, typed, bad)
	}
	return a.done(c, personPath(p.ID), "Saved.")
}

func personPath(id journal.PersonID) string { return "/people/" + string(id) }

// personEnd answers POST /people/:person/end.
func (a *App) personEnd(c echo.Context) error {
	id := journal.PersonID(c.Param("person"))
	if err := a.steps.EndPerson(c.Request().Context(), actor(c), id); err != nil {
		return err
	}
	return a.done(c, personPath(id), "This account is closed, and signed out everywhere.")
}

// personEndSessions answers POST /people/:person/sessions/end.
func (a *App) personEndSessions(c echo.Context) error {
	id := journal.PersonID(c.Param("person"))
	if err := a.steps.EndSessionsOf(c.Request().Context(), actor(c), id); err != nil {
		return err
	}
	return a.done(c, personPath(id), "Signed out everywhere.")
}

// personLink answers POST /people/:person/link: it sends a link to sign in or
// to set a password.
func (a *App) personLink(c echo.Context) error {
	v, err := a.personView(c)
	if err != nil {
		return err
	}
	if err := a.invite(c, v.Person); err != nil {
		return err
	}
	return a.done(c, personPath(v.Person.ID), "A link is on its way to "+v.Person.Email+".")
}
