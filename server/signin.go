package server

import (
	"errors"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// signIn answers GET /sign-in with the two forms; who is signed in already goes
// on.
func (a *App) signIn(c echo.Context) error {
	if err := a.identify(c); err != nil {
		return err
	}
	next := localPath(c.QueryParam("next"))
	if of(c).known {
		return c.Redirect(http.StatusSeeOther, next)
	}
	return a.signInForm(c, http.StatusOK, views.SignIn{Next: next})
}

func (a *App) signInForm(c echo.Context, status int, page views.SignIn) (err error) {
	if page.Frame, err = a.frame(c, "Sign in"); err != nil {
		return err
	}
	if page.Next == "/" {
		page.Next = ""
	}
	return a.show(c, status, page)
}

// wrongPassword is said for a wrong password, an unknown address, an account
// without a password and a closed one alike.
const wrongPassword = "E-mail address and password do not belong together. Please try again, or ask for a link to set a new password."

// signInPassword answers POST /sign-in, the shop's form: email, password, next.
func (a *App) signInPassword(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	page := views.SignIn{Email: f.line("email"), Next: localPath(f.line("next")), Staff: true, Problems: f.bad}
	person, err := a.proven(c, journal.NormalEmail(page.Email), f.raw("password"))
	if err == nil {
		var n flow.NewSession
		if n, err = a.newSession(c); err != nil {
			return err
		}
		if err = a.steps.EnterByPassword(c.Request().Context(), person, n); err == nil {
			a.begin(c, n)
			return c.Redirect(http.StatusSeeOther, page.Next)
		}
	}
	switch code := journal.CodeOf(err); code {
	case journal.SignedOut, journal.TooMany:
		f.bad.Add("form", "%s", journal.MessageOf(err))
		return a.signInForm(c, failures[code].status, page)
	}
	return err
}

// proven returns the person whose password it is, or a SignedOut error that
// does not say what was wrong. Every try takes as long as any other.
func (a *App) proven(c echo.Context, email, password string) (journal.Person, error) {
	ctx := c.Request().Context()
	if err := errors.Join(a.byAddress.allow(network(c.RealIP())), a.byAccount.allow(email)); err != nil {
		return journal.Person{}, err
	}
	var person journal.Person
	err := a.store.Read(ctx, func(r flow.Reads) error {
		found, err := r.PersonByEmail(email)
		if journal.CodeOf(err) == journal.NotFound {
			return nil
		}
		person = found
		return err
	})
	if err != nil {
		return person, err
	}
	match, err := a.passwords.matches(ctx, password, person.PasswordHash)
	if err != nil {
		return person, err
	}
	if !match || !person.Active() || !person.Role.Staff() {
		return person, journal.Errorf(journal.SignedOut, wrongPassword)
	}
	a.byAccount.forget(email)
	return person, nil
}

// signInLink answers POST /sign-in/link, the owners' form: email, next. The
// answer is the same for every address.
func (a *App) signInLink(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	page := views.SignIn{Email: f.line("email"), Next: localPath(f.line("next")), Problems: f.bad}
	email := journal.NormalEmail(page.Email)
	if email == "" {
		f.bad.Add("email", "Please type your e-mail address.")
		return a.signInForm(c, http.StatusUnprocessableEntity, page)
	}
	if err := errors.Join(a.byAddress.allow(network(c.RealIP())), a.byMailbox.allow(email)); err != nil {
		f.bad.Add("email", "%s", journal.MessageOf(err))
		return a.signInForm(c, http.StatusTooManyRequests, page)
	}
	token, err := newToken()
	if err != nil {
		return err
	}
	link := flow.NewLink{Token: token, Next: page.Next, Life: a.cfg.LinkLife}
	if err := a.steps.AskLink(c.Request().Context(), email, link); err != nil {
		return err
	}
	frame, err := a.frame(c, "Look in your mail")
	if err != nil {
		return err
	}
	return a.show(c, http.StatusOK, views.LinkSent{Frame: frame, Email: page.Email, Minutes: int(a.cfg.LinkLife.Minutes())})
}

// enter answers GET /enter/:token with one button. It uses nothing up, since
// mail scanners open links too.
func (a *App) enter(c echo.Context) error {
	token := c.Param("token")
	_, person, err := a.steps.Link(c.Request().Context(), journal.LinkSignIn, token)
	if err != nil {
		return a.deadLink(c, err)
	}
	frame, err := a.frame(c, "Come in")
	if err != nil {
		return err
	}
	return a.show(c, http.StatusOK, views.Enter{Frame: frame, Action: flow.LinkPath(journal.LinkSignIn, token), Name: person.Name})
}

// enterUse answers POST /enter/:token: it uses the link and begins a session.
func (a *App) enterUse(c echo.Context) error {
	n, err := a.newSession(c)
	if err != nil {
		return err
	}
	link, err := a.steps.EnterByLink(c.Request().Context(), c.Param("token"), n)
	if err != nil {
		return a.deadLink(c, err)
	}
	a.begin(c, n)
	return c.Redirect(http.StatusSeeOther, localPath(link.Next))
}

// deadLink answers a link that no longer works: with the sign-in page, from
// which a new one can be asked for.
func (a *App) deadLink(c echo.Context, err error) error {
	switch code := journal.CodeOf(err); code {
	case journal.NotFound, journal.Conflict, journal.Forbidden:
		return a.signInForm(c, failures[code].status, views.SignIn{Notice: journal.MessageOf(err)})
	}
	return err
}

// setPassword answers GET /set-password/:token: for a person of the shop, or,
// while there is no office account, for the first one.
func (a *App) setPassword(c echo.Context) error {
	page, err := a.passwordPage(c)
	if err != nil {
		return a.deadLink(c, err)
	}
	return a.passwordForm(c, http.StatusOK, page)
}

// passwordPage finds out whose password the link sets.
func (a *App) passwordPage(c echo.Context) (page views.SetPassword, err error) {
	ctx, token := c.Request().Context(), c.Param("token")
	page.Action = flow.LinkPath(journal.LinkSetPassword, token)
	if page.SetUp, err = a.steps.IsSetUp(ctx, token); err != nil || page.SetUp {
		return page, err
	}
	_, person, err := a.steps.Link(ctx, journal.LinkSetPassword, token)
	page.Email, page.Name = person.Email, person.Name
	return page, err
}

func (a *App) passwordForm(c echo.Context, status int, page views.SetPassword) (err error) {
	title := "Choose a password"
	if page.SetUp {
		title = "Set up the office account"
	}
	if page.Frame, err = a.frame(c, title); err != nil {
		return err
	}
	page.MinLength = minPassword
	return a.show(c, status, page)
}

// setPasswordSave answers POST /set-password/:token: password; and name and
// email when it makes the first office account.
func (a *App) setPasswordSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	page, err := a.passwordPage(c)
	if err != nil {
		return a.deadLink(c, err)
	}
	if page.SetUp {
		page.Name, page.Email = f.line("name"), f.line("email")
	}
	page.Problems = f.bad
	who := journal.Person{Name: page.Name, Email: journal.NormalEmail(page.Email), Role: journal.Office}
	checkPassword(f.bad, f.raw("password"), who)
	if page.SetUp {
		if err := f.add(who.Validate()); err != nil {
			return err
		}
	}
	if f.err() != nil {
		return a.passwordForm(c, http.StatusUnprocessableEntity, page)
	}
	return a.passwordSet(c, f.raw("password"), page.SetUp, who)
}

func (a *App) passwordSet(c echo.Context, password string, setUp bool, who journal.Person) error {
	ctx, token := c.Request().Context(), c.Param("token")
	hash, err := a.passwords.hash(ctx, password)
	if err != nil {
		return err
	}
	n, err := a.newSession(c)
	if err != nil {
		return err
	}
	if setUp {
		err = a.steps.SetUp(ctx, token, who, hash, n)
	} else {
		_, err = a.steps.SetPasswordByLink(ctx, token, hash, n)
	}
	if err != nil {
		return a.deadLink(c, err)
	}
	a.begin(c, n)
	return a.done(c, "/", "Your password is set and you are signed in.")
}

// signOut answers POST /sign-out.
func (a *App) signOut(c echo.Context) error {
	if err := a.steps.Leave(c.Request().Context(), actor(c)); err != nil {
		return err
	}
	a.dropCookie(c, sessionCookie)
	return a.done(c, "/sign-in", "You are signed out.")
}
