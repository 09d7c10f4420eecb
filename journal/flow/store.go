package flow

import (
	"context"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/coating"
	"farbay/journal/prooflog"
	"farbay/journal/signoff"
)

// Store is the database, seen by the steps.
//
// Both methods run f once with a transaction that is valid until f returns.
// Read gives a consistent snapshot. Write is serialised with every other Write;
// when f returns nil and Write returns nil the changes are durable; when either
// fails nothing of it is kept. f must not keep the transaction, nor call the
// Store again.
//
// Errors: whatever f returned; [journal.Unavailable] when the database cannot
// be written (disk full, locked for long); [journal.Internal] for the rest.
type Store interface {
	Read(ctx context.Context, f func(Reads) error) error
	Write(ctx context.Context, f func(Tx) error) error
}

// Reads are the questions a step may ask. One that asks for a single thing
// returns [journal.NotFound] when there is none; one that asks for several
// returns them in the order stated, or none. Whatever belongs to a build is
// asked for together with that build's id and is not found under another's.
type Reads interface {
	// People, sorted by name.
	Person(journal.PersonID) (journal.Person, error)
	PersonByEmail(email string) (journal.Person, error)
	People() ([]journal.Person, error)
	Session(tokenHash string) (journal.Session, error)
	// Sessions are a person's, live or not, the one used last first.
	Sessions(journal.PersonID) ([]journal.Session, error)
	Link(tokenHash string) (journal.Link, error)
	KeptForm(tokenHash string) (journal.KeptForm, error)

	Shop() (journal.Shop, error)
	// Meta returns "" for an unknown key.
	Meta(key string) (string, error)
	Plan(journal.PlanID) (journal.Plan, error)
	Plans() ([]journal.Plan, error) // by name

	Build(journal.BuildID) (journal.Build, error)
	Builds() ([]journal.Build, error)                                 // undelivered first, then by nickname
	BuildsOf(journal.PersonID) ([]journal.Build, error)               // current memberships, same order
	Members(journal.BuildID) ([]journal.Member, error)                // current ones, owners first, by time added
	Member(journal.BuildID, journal.PersonID) (journal.Member, error) // a current one
	Visit(journal.BuildID, journal.PersonID) (journal.Visit, error)   // a zero LastAt if never

	Stages(journal.BuildID) ([]journal.Stage, error) // by position
	Stage(journal.BuildID, journal.StageID) (journal.Stage, error)
	Checks(journal.StageID) ([]journal.Check, error) // by time
	Turns(journal.BuildID) ([]journal.Turn, error)   // in the order they were made, whatever the clock said

	// Entries returns a page of the journal, newest HappenedAt first (then by
	// id, descending).
	Entries(journal.BuildID, EntryQuery) ([]journal.Entry, error)
	Entry(journal.BuildID, journal.EntryID) (journal.Entry, error)
	EntryEdits(journal.EntryID) ([]journal.EntryEdit, error) // oldest first
	// EntryBeside is the nearest standing entry with photos above (newer) or
	// below a place in the journal's order, for leafing from photo to photo;
	// only owner-visible ones unless staff.
	EntryBeside(build journal.BuildID, at EntryCursor, above, staff bool) (journal.Entry, error)
	// CountShared counts the standing owner-visible entries shared after since.
	CountShared(build journal.BuildID, since time.Time) (int, error)

	Photo(journal.BuildID, journal.PhotoID) (journal.Photo, error)
	Photos(journal.BuildID, []journal.PhotoID) (map[journal.PhotoID]journal.Photo, error)
	PhotoBySHA(build journal.BuildID, sha256 string) (journal.Photo, error)
	// LoosePhotos are those in no entry, posted by the person, oldest first.
	LoosePhotos(journal.BuildID, journal.PersonID) ([]journal.Photo, error)
	// StagePhotos are those of the stage's standing entries, in the order of
	// capture; only the owner-visible ones unless staff.
	StagePhotos(build journal.BuildID, stage journal.StageID, staff bool, limit int) ([]journal.Photo, error)
	CountStagePhotos(build journal.BuildID, stage journal.StageID, staff bool) (int, error)
	// StagePhotosSize counts the same photos and adds up their originals' bytes.
	StagePhotosSize(build journal.BuildID, stage journal.StageID, staff bool) (photos int, bytes int64, err error)
	// CountPhotos counts a build's photos; only the owner-visible ones unless staff.
	CountPhotos(build journal.BuildID, staff bool) (int, error)
	// PhotoShared reports whether the owner's side may see the photo: it is in
	// a standing owner-visible entry, or evidence in a sent paper's revision.
	PhotoShared(journal.BuildID, journal.PhotoID) (bool, error)
	// EntriesOfPhoto are the entries that show the photo, newest first.
	EntriesOfPhoto(journal.BuildID, journal.PhotoID) ([]journal.Entry, error)
	// Layers are the settings of a photo's layer, by number.
	Layers(journal.BuildID, journal.PhotoID) ([]journal.LayerSet, error)
	// EditsOfPhoto are the edits that replaced an entry while it showed the
	// photo, oldest first.
	EditsOfPhoto(journal.BuildID, journal.PhotoID) ([]journal.EntryEdit, error)
	// Cameras are those named by photos of any build, by name.
	Cameras() ([]CameraUse, error)
	// PhotosOfCamera are its photos in every build, in the order of their claims.
	PhotosOfCamera(camera string) ([]journal.Photo, error)
	// Corrections, undone or not, oldest first.
	Corrections() ([]journal.ClockCorrection, error)
	CorrectionsOf(camera string) ([]journal.ClockCorrection, error)
	Correction(journal.CorrectionID) (journal.ClockCorrection, error)
	// AllPhotos calls f for each photo of every build until f fails.
	AllPhotos(f func(journal.Photo) error) error
	// HasOriginal reports whether any photo refers to the original.
	HasOriginal(sha256 string) (bool, error)

	// SearchEntries finds entries by the words of their text and captions,
	// newest HappenedAt first.
	SearchEntries(EntrySearch) ([]EntryFound, error)

	Papers(journal.BuildID) ([]signoff.Paper, error) // by time of creation
	Paper(journal.BuildID, journal.PaperID) (signoff.Paper, error)
	Revisions(journal.PaperID) ([]signoff.Revision, error) // by number
	Revision(journal.PaperID, int) (signoff.Revision, error)
	Decision(journal.PaperID) (signoff.Decision, error)
	Questions(journal.PaperID) ([]signoff.Question, error) // by time
	// Allowances are a build's, ended or not, oldest first; Allowance is the one
	// in force.
	Allowances(journal.BuildID) ([]signoff.Allowance, error)
	Allowance(journal.BuildID) (signoff.Allowance, error)
	Uses(journal.BuildID) ([]signoff.Use, error) // by number
	// Consent is the one in force for the person; LastConsent the last one, ended
	// or not.
	LastConsent(journal.PersonID) (signoff.Consent, error)
	Confirmation(journal.PaperID) (signoff.Confirmation, error) // of an agreement by phone
	Postings(journal.PaperID) ([]signoff.Posting, error)        // by revision, then time
	ScanOf(journal.PaperID, journal.ScanID) (signoff.Scan, error)
	Belongings(journal.BuildID) ([]journal.Belonging, error) // by time asked
	Belonging(journal.BuildID, journal.EntryID) (journal.Belonging, error)
	Passkeys(journal.PersonID) ([]journal.Passkey, error) // those that can be used, by time added
	Consent(journal.PersonID) (signoff.Consent, error)

	Terms(journal.BuildID) (billing.Terms, error)
	// Invoices and Payments are in the order they were recorded, whatever the clock
	// said: it may have been put back.
	Invoices(journal.BuildID) ([]Invoice, error)
	Invoice(journal.BuildID, journal.InvoiceID) (Invoice, error)
	Payments(journal.BuildID) ([]journal.Payment, error) // deposits too
	// Works are all that was logged on a build's stages, in the order logged.
	Works(journal.BuildID) ([]journal.Work, error)
	WorkFileOf(journal.BuildID, journal.WorkID) (journal.WorkFile, error)
	Reminders(journal.InvoiceID) ([]journal.Reminder, error) // in the order sent

	// What is recorded of a build's paint, taken back or not, in the order recorded;
	// pours by mix and number.
	Mixes(journal.BuildID) ([]coating.Mix, error)
	PaintPours(journal.BuildID) ([]coating.PourRow, error)
	FilmReadings(journal.BuildID) ([]coating.Reading, error)
	PaintUsed(journal.BuildID) ([]coating.Used, error)
	PaintBacks(journal.BuildID) ([]coating.Back, error)
	PaintShown(journal.BuildID) ([]coating.Shown, error)

	// Numbers returns the numbers used of one kind of document, ascending.
	Numbers(billing.DocumentKind) ([]int, error)

	// LastNews is when the owner's side last got something new to see: an
	// entry shared, a paper sent, an invoice issued. Zero if never.
	LastNews(journal.BuildID) (time.Time, error)
	Events(journal.BuildID) ([]journal.Event, error) // by Seq; "" for those of no build
	// LastEvent is the build's with the greatest Seq of those up to the instant.
	LastEvent(build journal.BuildID, until time.Time) (journal.Event, error)

	// The proof log: each event is an entry, in the order of Seq.

	// LogSize is how many entries there are.
	LogSize() (int64, error)
	LogEntry(seq int64) (prooflog.Entry, error)
	// EachLogEntry calls f for each entry, by Seq, until f fails. broken says what
	// is wrong with a row that does not hold what the program writes; of such an
	// entry only Seq is to be relied on.
	EachLogEntry(f func(e prooflog.Entry, broken error) error) error
	// EachLogNode calls f for each stored node of the tree, by place, until f
	// fails. f must not keep the hash.
	EachLogNode(f func(place int64, hash []byte) error) error
	// LogHashes reads the tree's nodes; of use within the transaction only.
	LogHashes() prooflog.Hashes
	LogKeys() ([]LogKey, error)                          // oldest first; the last is in use
	Checkpoints() ([]SignedCheckpoint, error)            // by size
	CheckpointFrom(size int64) (SignedCheckpoint, error) // the first of at least that size
	// NewestCheckpoint is the zero one while none was signed.
	NewestCheckpoint() (SignedCheckpoint, error)

	Letter(journal.LetterID) (journal.Letter, error)
	Letters(limit int) ([]journal.Letter, error) // newest first
	// FailedLetters counts those whose last try failed and that are not sent, nor
	// dropped.
	FailedLetters() (int, error)
	// PendingJobs counts jobs not yet done, by kind.
	PendingJobs(journal.JobKind) (int, error)
}

// Tx is a transaction that may write. Save methods take the value as read, with
// its Version, store it under the next Version and return
// [journal.Conflict] when somebody else saved in between. Add methods return
// [journal.Conflict] when a thing that must be unique is there already (an
// e-mail address, a nickname, a build's photo with the same SHA-256, a paper's
// decision, a document's number).
type Tx interface {
	Reads

	AddPerson(journal.Person) error
	SavePerson(journal.Person) error // by id; no version
	AddSession(journal.Session) error
	SaveSession(journal.Session) error
	EndSessions(journal.PersonID, time.Time) error
	AddLink(journal.Link) error
	// UseLink marks the link used and reports whether this call was the first.
	UseLink(tokenHash string, at time.Time) (bool, error)
	AddKeptForm(journal.KeptForm) error
	DropKeptForm(tokenHash string) error
	// Sweep forgets sessions, links and kept forms that ended before the time.
	Sweep(before time.Time) error

	SaveShop(journal.Shop) error // Version 0: first time
	SetMeta(key, value string) error
	AddPlan(journal.Plan) error
	SavePlan(journal.Plan) error

	AddBuild(journal.Build) error
	SaveBuild(journal.Build) error
	AddMember(journal.Member) error
	EndMember(build journal.BuildID, person, by journal.PersonID, at time.Time) error
	SaveVisit(journal.Visit) error

	AddStage(journal.Stage) error
	SaveStage(journal.Stage) error
	DropStage(journal.BuildID, journal.StageID) error
	AddCheck(journal.Check) error // ticking a ticked one changes nothing
	DropCheck(stage journal.StageID, text string) error
	AddTurn(journal.Turn) error

	AddEntry(journal.Entry) error
	// SaveEntry stores the entry and, in its history, what it replaced.
	SaveEntry(journal.Entry, journal.EntryEdit) error
	// AppendPhotos adds photos at the end of an entry, leaving out those that
	// are in it; it is no edit and needs no version.
	AppendPhotos(journal.BuildID, journal.EntryID, []journal.EntryPhoto) error
	AddPhoto(journal.Photo) error
	// SavePhoto stores what the worker found out: State, Fault, Tone, Hash,
	// Preview, Width, Height.
	SavePhoto(journal.Photo) error
	// SavePhotoTime stores CapturedAt, CapturedDoubt and CorrectionID.
	SavePhotoTime(journal.Photo) error
	// SavePhotoHandedOut stores HandedOutAt and HandedOutBy.
	SavePhotoHandedOut(journal.Photo) error
	// AddLayer puts a layer in force and keeps those before it; its Number must
	// be the last plus one, else [journal.Conflict].
	AddLayer(journal.LayerSet) error
	AddCorrection(journal.ClockCorrection) error
	// UndoCorrection ends a correction; [journal.Conflict] if it has ended.
	UndoCorrection(journal.CorrectionID, journal.PersonID, time.Time) error
	// DateEntry moves an entry in the journal's order; it is no edit.
	DateEntry(journal.BuildID, journal.EntryID, time.Time) error

	AddPaper(signoff.Paper) error
	SavePaper(signoff.Paper) error
	AddRevision(signoff.Revision) error
	AddDecision(signoff.Decision) error
	AddQuestion(signoff.Question) error
	// AnswerQuestion stores the answer if there is none yet, else Conflict.
	AnswerQuestion(signoff.Question) error
	AddConfirmation(signoff.Confirmation) error
	AddPosting(signoff.Posting) error
	// MarkPosted stores PostedOn and PostedBy, once.
	MarkPosted(signoff.Posting) error
	AddScan(signoff.Scan) error
	AddBelonging(journal.Belonging) error // without answers
	// AnswerBelonging adds an answer; its number must be the last plus one, else
	// [journal.Conflict].
	AnswerBelonging(entry journal.EntryID, number int, a journal.Answered) error
	// DoneBelonging marks it as done, once.
	DoneBelonging(journal.EntryID, journal.PersonID, time.Time) error
	AddPasskey(journal.Passkey) error
	// UsePasskey stores the credential as it is after a use.
	UsePasskey(id, credential string, at time.Time) error
	EndPasskey(person journal.PersonID, id string, at time.Time) error
	AddPasskeyAsk(journal.PasskeyAsk) error
	// TakePasskeyAsk gives a ceremony out once and forgets it.
	TakePasskeyAsk(tokenHash string) (journal.PasskeyAsk, error)
	AddAllowance(signoff.Allowance) error // Conflict while another is in force
	// EndAllowance ends the build's allowance in force, if there is one.
	EndAllowance(build journal.BuildID, by journal.PersonID, at time.Time) error
	AddUse(signoff.Use) error
	AddConsent(signoff.Consent) error // ends the one in force
	EndConsent(journal.PersonID, time.Time) error

	SaveTerms(journal.BuildID, billing.Terms) error
	AddInvoice(Invoice) error
	// NextNumber returns the next number of a kind of document: 1 when there is
	// none, else the last plus one.
	NextNumber(billing.DocumentKind) (int, error)
	AddPayment(journal.Payment) error
	AddWork(journal.Work) error
	AddWorkFile(journal.WorkFile) error
	AddReminder(journal.Reminder) error

	AddMix(coating.Mix) error
	AddPour(coating.PourRow) error // [journal.Conflict] unless its number is the next
	AddReading(coating.Reading) error
	AddUsed(coating.Used) error
	AddPaintBack(coating.Back) error // once for each
	AddPaintShown(coating.Shown) error

	AddLogKey(LogKey) error
	AddCheckpoint(SignedCheckpoint) error

	// AddEvent gives the event its Seq and keeps it for ever, in the proof log
	// too.
	AddEvent(journal.Event) (journal.Event, error)

	AddLetter(journal.Letter) error
	SaveLetter(journal.Letter) error // SentAt, Tries, Fault, Dropped
	AddJob(kind journal.JobKind, subject string, runAt time.Time) error
	// ClaimJob takes the oldest job that is due and unclaimed, or whose lease
	// has run out, and leases it; ok is false when there is none.
	ClaimJob(now time.Time, lease time.Duration) (job journal.Job, ok bool, err error)
	// FinishJob ends a job. EndJob gives it up with a fault. DelayJob puts it
	// back for another try.
	FinishJob(id int64, at time.Time) error
	EndJob(id int64, at time.Time, fault string) error
	DelayJob(id int64, runAt time.Time, fault string) error
}

// EntryQuery chooses a page of a journal.
type EntryQuery struct {
	StageID journal.StageID   // "" for all
	Kind    journal.EntryKind // "" for all
	Staff   bool              // shop-only and withdrawn ones too
	Before  EntryCursor       // zero for the first page
	Limit   int
}

// EntrySearch asks for entries of one build by words.
type EntrySearch struct {
	BuildID journal.BuildID
	Words   string // as typed; all must occur, each as the beginning of a word
	Staff   bool   // shop-only and withdrawn ones too
	Limit   int
}

// EntryFound is an entry that a search found. Snippet is the part of its text
// or captions where, each word found between U+0002 and U+0003.
type EntryFound struct {
	Entry   journal.Entry
	Snippet string
}

// CameraUse says how much of a camera's work the shop has, and the first and
// last instant that it claims.
type CameraUse struct {
	Camera      string
	Photos      int
	First, Last time.Time
}

// EntryCursor is the place after which a page begins: the last entry of the
// page before.
type EntryCursor struct {
	At time.Time
	ID journal.EntryID
}

// TaxLine is what one line kind comes to on a document, with the rate it was
// taxed at.
type TaxLine struct {
	Kind journal.LineKind
	Rate journal.BasisPoints
	Base journal.Cents
}

// Invoice is an issued document: an invoice, a credit memo, a release of what
// was held back. It is never changed.
type Invoice struct {
	ID       journal.InvoiceID
	BuildID  journal.BuildID
	StageID  journal.StageID // whose close issued it; "" otherwise
	Document billing.Document
	ShopHead string    // name and address of the shop when it was issued
	BillTo   string    // the owners' names when it was issued
	Truck    string    // nickname, truck and serial when it was issued
	TaxLines []TaxLine // taxed kinds, at the rates it was issued at
	IssuedAt time.Time
	IssuedBy journal.PersonID
}
