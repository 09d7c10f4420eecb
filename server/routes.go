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
	const options, head, patch, del = http.MethodOptions, http.MethodHead, http.MethodPatch, http.MethodDelete
	return []Route{
		{get, "/healthz", Public, false, a.health},
		{get, "/static/:hash/*", Public, false, a.static},
		{get, "/manifest.webmanifest", Public, false, a.manifestFile},
		{get, "/sw.js", Public, false, a.serviceWorker},
		{get, "/proof-log", Public, false, a.proofLog},
		{get, "/proof-log/checkpoint", Public, false, a.proofCheckpoint},
		{get, "/proof-log/keys", Public, false, a.proofKeys},

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
		{post, "/account/passkeys/ask", SignedIn, false, a.accountPasskeyAsk},
		{post, "/account/passkeys", SignedIn, false, a.accountPasskeyAdd},
		{post, "/account/passkeys/:passkey/end", SignedIn, false, a.accountPasskeyEnd},

		{get, "/people", Office, false, a.people},
		{post, "/people", Office, false, a.peopleAdd},
		{get, "/people/:person", Office, false, a.person},
		{post, "/people/:person", Office, false, a.personSave},
		{post, "/people/:person/end", Office, false, a.personEnd},
		{post, "/people/:person/sessions/end", Office, false, a.personEndSessions},
		{post, "/people/:person/consent/end", Office, false, a.personConsentEnd},
		{post, "/people/:person/link", Office, false, a.personLink},

		{get, "/consent", SignedIn, false, a.consent},
		{post, "/consent", SignedIn, false, a.consentGive},
		{get, "/consent/test-record", SignedIn, false, a.testRecord},

		{get, "/", SignedIn, false, a.home},
		{get, "/builds", Staff, false, a.builds},
		{get, "/builds/new", Office, false, a.buildNew},
		{post, "/builds", Office, false, a.buildAdd},
		{get, "/builds/:build", BuildReader, false, a.build},
		{get, "/builds/:build/photos/:photo/full", BuildReader, false, a.photoFull},
		{head, "/builds/:build/photos/:photo/full", BuildReader, false, a.photoFull},
		{get, "/builds/:build/photos/:photo/video", BuildReader, false, a.photoVideo},
		{head, "/builds/:build/photos/:photo/video", BuildReader, false, a.photoVideo},
		{post, "/builds/:build/photos/:photo/hand-out", BuildOffice, false, a.photoHandOut},
		{get, "/builds/:build/search", BuildReader, false, a.search},
		{get, "/builds/:build/stop", BuildOffice, false, a.buildStop},
		{post, "/builds/:build/stop", BuildOffice, false, a.buildStopUnsigned},
		{get, "/builds/:build/edit", BuildOffice, false, a.buildEdit},
		{post, "/builds/:build/edit", BuildOffice, false, a.buildSave},
		{get, "/builds/:build/scope", BuildOffice, false, a.scope},
		{post, "/builds/:build/scope", BuildOffice, false, a.scopeSave},
		{post, "/builds/:build/agreement", BuildOffice, false, a.agreement},
		{get, "/builds/:build/terms", BuildOffice, false, a.terms},
		{post, "/builds/:build/terms", BuildOffice, false, a.termsSave},
		{get, "/builds/:build/people", BuildOffice, false, a.buildPeople},
		{post, "/builds/:build/people", BuildOffice, false, a.buildPeopleAdd},
		{post, "/builds/:build/people/:person/end", BuildOffice, false, a.buildPeopleEnd},
		{get, "/builds/:build/stages/:stage", BuildReader, false, a.stage},
		{get, "/builds/:build/stages/:stage/sheet", BuildReader, false, a.contactSheet},
		{get, "/builds/:build/stages/:stage/photos.zip", BuildReader, false, a.stageZip},
		{get, "/builds/:build/stages/:stage/edit", BuildOffice, false, a.stageEdit},
		{post, "/builds/:build/stages/:stage/edit", BuildOffice, false, a.stageSave},
		{post, "/builds/:build/stages/:stage/open", BuildStaff, false, a.stageOpen},
		{post, "/builds/:build/stages/:stage/close", BuildOffice, false, a.stageClose},
		{post, "/builds/:build/stages/:stage/reopen", BuildOffice, false, a.stageReopen},
		{post, "/builds/:build/stages/:stage/check", BuildStaff, false, a.stageCheck},
		{get, "/builds/:build/stages/:stage/paint", BuildStaff, false, a.paint},
		{get, "/builds/:build/stages/:stage/paint.csv", BuildStaff, false, a.paintCSV},
		{post, "/builds/:build/stages/:stage/paint/readings", BuildStaff, false, a.paintReading},
		{post, "/builds/:build/stages/:stage/paint/used", BuildStaff, false, a.paintUsed},
		{post, "/builds/:build/stages/:stage/paint/shown", BuildOffice, false, a.paintShow},
		{post, "/builds/:build/stages/:stage/paint/:paint/back", BuildStaff, false, a.paintBack},
		{get, "/builds/:build/stages/:stage/mix", BuildStaff, false, a.mixNew},
		{post, "/builds/:build/stages/:stage/mix", BuildStaff, false, a.mixStart},
		{get, "/builds/:build/stages/:stage/mix/:paint", BuildStaff, false, a.mix},
		{post, "/builds/:build/stages/:stage/mix/:paint", BuildStaff, false, a.mixPour},
		{get, "/film-build", Staff, false, a.filmBuild},
		{get, "/cash", Office, false, a.cash},
		{get, "/cash/forecast.csv", Office, false, a.cashTable},
		{get, "/books", Office, false, a.books},
		{get, "/books/books.zip", Office, false, a.booksZIP},
		{post, "/builds/:build/stages/:stage/work", BuildStaff, true, a.workLog},
		{post, "/builds/:build/stages/:stage/work/:work/take-back", BuildStaff, false, a.workTakeBack},
		{post, "/builds/:build/stages/:stage/bill", BuildOffice, false, a.workBill},
		{get, "/builds/:build/work/:work/file", BuildReader, false, a.workFile},
		{get, "/plans", Office, false, a.plans},
		{post, "/plans", Office, false, a.planCopy},
		{get, "/plans/:plan", Office, false, a.plan},
		{post, "/plans/:plan", Office, false, a.planSave},
		{get, "/shop", Office, false, a.shopPage},
		{post, "/shop", Office, false, a.shopSave},
		{get, "/clocks", Office, false, a.clocks},
		{post, "/clocks", Office, false, a.clockCorrect},
		{get, "/clocks/preview", Office, false, a.clockPreview},
		{get, "/clocks/:correction", Office, false, a.clock},
		{post, "/clocks/:correction/undo", Office, false, a.clockUndo},
		{get, "/receivables", Office, false, a.receivables},
		{get, "/receivables.csv", Office, false, a.receivablesTable},
		{get, "/outbox", Office, false, a.outbox},
		{get, "/outbox/:letter", Office, false, a.letter},

		{get, "/builds/:build/journal", BuildReader, false, a.journal},
		{get, "/builds/:build/entries/new", BuildStaff, false, a.entryNew},
		{post, "/builds/:build/entries", BuildStaff, true, a.entryAdd},
		{get, "/builds/:build/entries/:entry", BuildReader, false, a.entry},
		{get, "/builds/:build/entries/:entry/edit", BuildStaff, false, a.entryEdit},
		{post, "/builds/:build/entries/:entry/edit", BuildStaff, true, a.entrySave},
		{post, "/builds/:build/entries/:entry/withdraw", BuildStaff, false, a.entryWithdraw},
		{post, "/builds/:build/entries/:entry/ask", BuildStaff, false, a.belongingAsk},
		{post, "/builds/:build/entries/:entry/belonging", BuildDecider, false, a.belongingAnswer},
		{post, "/builds/:build/entries/:entry/belonging/done", BuildStaff, false, a.belongingDone},
		{get, "/builds/:build/allowance", BuildReader, false, a.allowance},
		{post, "/builds/:build/allowance/end", BuildReader, false, a.allowanceEnd},
		{get, "/builds/:build/entries/:entry/allowance", BuildOffice, false, a.useNew},
		{post, "/builds/:build/entries/:entry/allowance", BuildOffice, false, a.useBook},
		{get, "/builds/:build/entries/:entry/move", BuildStaff, false, a.entryMove},
		{post, "/builds/:build/entries/:entry/move", BuildStaff, false, a.entryMoveSave},
		{post, "/builds/:build/entries/:entry/keep", BuildStaff, false, a.entryKeep},
		{post, "/builds/:build/photos", BuildStaff, true, a.photosAdd},
		{get, "/capture", Staff, false, a.capture},
		{get, "/capture/shell", Public, false, a.captureShell},
		{get, "/capture/data", Staff, false, a.captureData},
		{post, "/builds/:build/capture", BuildStaff, false, a.captureEntry},
		{options, "/builds/:build/uploads", BuildStaff, false, a.uploads},
		{post, "/builds/:build/uploads", BuildStaff, true, a.uploads},
		{head, "/builds/:build/uploads/:upload", BuildStaff, false, a.uploads},
		{patch, "/builds/:build/uploads/:upload", BuildStaff, true, a.uploads},
		{post, "/builds/:build/uploads/:upload", BuildStaff, true, a.uploads},
		{del, "/builds/:build/uploads/:upload", BuildStaff, false, a.uploads},
		{get, "/builds/:build/photos/:photo", BuildReader, false, a.photo},
		{get, "/builds/:build/compare", BuildReader, false, a.compare},
		{get, "/builds/:build/photos/:photo/marks", BuildStaff, false, a.marks},
		{post, "/builds/:build/photos/:photo/marks", BuildStaff, false, a.marksSave},
		{post, "/builds/:build/photos/:photo/marks/back", BuildStaff, false, a.marksBack},
		{get, "/builds/:build/photos/:photo/original", BuildReader, false, a.photoOriginal},
		{head, "/builds/:build/photos/:photo/original", BuildReader, false, a.photoOriginal},
		{get, sizePath, BuildReader, false, a.photoFile},
		{head, sizePath, BuildReader, false, a.photoFile},

		{get, "/builds/:build/papers", BuildReader, false, a.papers},
		{post, "/builds/:build/papers", BuildOffice, false, a.paperNew},
		{get, "/builds/:build/papers/:paper", BuildReader, false, a.paper},
		{get, "/builds/:build/papers/:paper/edit", BuildOffice, false, a.paperEdit},
		{post, "/builds/:build/papers/:paper/edit", BuildOffice, false, a.paperSave},
		{get, "/builds/:build/papers/:paper/preview", BuildOffice, false, a.paperPreview},
		{post, "/builds/:build/papers/:paper/send", BuildOffice, false, a.paperSend},
		{post, "/builds/:build/papers/:paper/recall", BuildOffice, false, a.paperRecall},
		{post, "/builds/:build/papers/:paper/by-phone", BuildOffice, false, a.paperByPhone},
		{post, "/builds/:build/papers/:paper/on-paper", BuildOffice, true, a.paperOnPaper},
		{post, "/builds/:build/papers/:paper/posted", BuildOffice, false, a.paperPosted},
		{post, "/builds/:build/papers/:paper/confirm", BuildDecider, false, a.paperConfirm},
		{get, "/builds/:build/papers/:paper/scan", BuildReader, false, a.paperScan},
		{post, "/builds/:build/delegates/:person/end", BuildDecider, false, a.delegateEnd},
		{post, "/builds/:build/papers/:paper/sign", BuildDecider, false, a.paperSign},
		{post, "/builds/:build/papers/:paper/decline", BuildDecider, false, a.paperDecline},
		{post, "/builds/:build/papers/:paper/passkey", BuildDecider, false, a.paperPasskeyAsk},
		{post, "/builds/:build/papers/:paper/ask", BuildDecider, false, a.paperAsk},
		{post, "/builds/:build/papers/:paper/questions/:question/answer", BuildOffice, false, a.paperAnswer},
		{get, "/builds/:build/papers/:paper/revisions/:revision", BuildReader, false, a.paperRevision},
		{get, "/builds/:build/papers/:paper/revisions/:revision/pdf", BuildReader, false, a.paperPDF},
		{get, "/builds/:build/papers/:paper/receipt", BuildReader, false, a.paperReceipt},
		{get, "/builds/:build/papers/:paper/bundle.zip", BuildReader, false, a.paperBundle},
		{get, "/builds/:build/bundle.zip", BuildReader, false, a.buildBundle},
		{get, "/builds/:build/papers/:paper/revisions/:revision/record", BuildReader, false, a.paperRecord},

		{get, "/builds/:build/money", BuildReader, false, a.money},
		{get, "/builds/:build/statement", BuildReader, false, a.statement},
		{get, "/builds/:build/statement/figure", BuildReader, false, a.statementFigure},
		{get, "/builds/:build/statement.pdf", BuildReader, false, a.statementPDF},
		{get, "/builds/:build/statement.csv", BuildReader, false, a.statementCSV},
		{get, "/builds/:build/application", BuildReader, false, a.application},
		{get, "/builds/:build/application.pdf", BuildReader, false, a.applicationPDF},
		{get, "/builds/:build/application.csv", BuildReader, false, a.applicationCSV},
		{get, "/builds/:build/invoices/:invoice", BuildReader, false, a.invoice},
		{post, "/builds/:build/invoices/:invoice/cancel", BuildOffice, false, a.invoiceCancel},
		{post, "/builds/:build/invoices", BuildOffice, false, a.billChanges},
		{get, "/builds/:build/payments/new", BuildOffice, false, a.paymentNew},
		{post, "/builds/:build/payments", BuildOffice, false, a.paymentAdd},
		{post, "/builds/:build/payments/:payment/reverse", BuildOffice, false, a.paymentReverse},
		{get, "/builds/:build/refunds/new", BuildOffice, false, a.refundNew},
		{post, "/builds/:build/refunds", BuildOffice, false, a.refundAdd},
		{post, "/builds/:build/holdback/release", BuildOffice, false, a.holdbackRelease},
	}
}

// addRoutes gives every row to the router, behind its admission.
func (a *App) addRoutes() {
	for _, route := range a.Routes() {
		a.echo.Add(route.Method, route.Path, a.quick(route, a.admit(route)))
	}
}
