package server

import (
	"net/http"

	"github.com/labstack/echo/v4"
)

// Who says who may reach a route. It is enforced before the handler runs; what
// a step changes is checked again by the step itself.
type Who int

const (
	// Public: everybody.
	Public Who = iota + 1
	// SignedIn: whoever is signed in.
	SignedIn
	// Staff: office and floor.
	Staff
	// Office: the office.
	Office
	// BuildReader: whoever may read the build named in the path; for everybody
	// else there is no such build. The same holds for the three below.
	BuildReader
	// BuildStaff: office and floor.
	BuildStaff
	// BuildOffice: the office.
	BuildOffice
	// BuildDecider: the build's owners and delegates.
	BuildDecider
)

// Route is one row of the table.
type Route struct {
	Method string
	Path   string // with echo's parameters: "/builds/:build"
	Who    Who
	// Uploads: the body may be as large as the photos of one entry; otherwise
	// it may be 1 MB.
	Uploads bool
	Handler echo.HandlerFunc
}

// ofBuild reports whether the path names a build, which is loaded and checked.
func (w Who) ofBuild() bool { return w >= BuildReader }

// Routes returns the table of all addresses. A handler's route is nowhere else.
func (a *App) Routes() []Route {
	const get, post = http.MethodGet, http.MethodPost
	return []Route{
		{get, "/healthz", Public, false, a.health},
		{get, "/static/:hash/*", Public, false, a.static},

		{get, "/sign-in", Public, false, a.signIn},
		{post, "/sign-in", Public, false, a.signInPassword},
		{post, "/sign-in/link", Public, false, a.signInLink},
		{get, "/enter/:token", Public, false, a.enter},
		{post, "/enter/:token", Public, false, a.enterUse},
		{get, "/set-password/:token", Public, false, a.setPassword},
		{post, "/set-password/:token", Public, false, a.setPasswordSave},
		{post, "/sign-out", SignedIn, false, a.signOut},

		{get, "/account", SignedIn, false, a.account},
		{post, "/account/sessions/end", SignedIn, false, a.accountEndSessions},

		{get, "/people", Office, false, a.people},
		{post, "/people", Office, false, a.peopleAdd},
		{get, "/people/:person", Office, false, a.person},
		{post, "/people/:person", Office, false, a.personSave},
		{post, "/people/:person/end", Office, false, a.personEnd},
		{post, "/people/:person/sessions/end", Office, false, a.personEndSessions},
		{post, "/people/:person/link", Office, false, a.personLink},
	}
}

// addRoutes gives every row to the router, behind its admission.
func (a *App) addRoutes() {
	for _, route := range a.Routes() {
		a.echo.Add(route.Method, route.Path, a.admit(route))
	}
}
