package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/sync/errgroup"
	"golang.org/x/sync/semaphore"

	"farbay/journal/flow"
	"farbay/journal/store"
	"farbay/media"
	"farbay/views"
)

// stopTime is how long requests under way may take to end after a stop.
const stopTime = 20 * time.Second

// App is one running Farbay over one data folder: the only place where
// database, storage, pages, mail and jobs are joined.
//
// Open it, Run it, Close it. Its other methods are for commands that work on
// the same folder without serving it.
type App struct {
	cfg       Config
	log       *slog.Logger
	now       func() time.Time
	newID     func() string
	store     *shopWatch
	database  *store.Store
	door      flow.PhotoDoor
	storage   *media.Disk
	resumable *resumable
	views     *views.Set
	steps     *flow.Steps
	jobs      *jobs
	newKeyWhy string // with WithNewLogKey
	witness   keptLog
	mailer    Mailer // nil: letters stay in the outbox
	passwords *passwords
	origins   *http.CrossOriginProtection
	echo      *echo.Echo

	byAddress, byAccount, byMailbox *limits
	zips                            zipSlots
	prints                          *semaphore.Weighted

	listening sync.Mutex
	listener  net.Listener
}

// Option changes how an App is opened.
type Option func(*App)

// WithClock sets the clock, which tells UTC. The default is the machine's.
func WithClock(now func() time.Time) Option { return func(a *App) { a.now = now } }

// WithIDs sets where identifiers come from: random, at least 80 bits, of
// letters and digits. The default is 130 random bits.
func WithIDs(newID func() string) Option { return func(a *App) { a.newID = newID } }

// WithMailer sets who sends letters, in place of the configured mail server.
func WithMailer(m Mailer) Option { return func(a *App) { a.mailer = m } }

// WithLog sets the log.
func WithLog(log *slog.Logger) Option { return func(a *App) { a.log = log } }

// Open checks the settings and opens everything in the data folder, which it
// makes if need be, but listens to nothing yet.
//
// It returns an error that says what to do when a setting is wrong, the folder
// cannot be used, or the database was made by a newer program.
func Open(cfg Config, options ...Option) (_ *App, err error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	a := &App{
		cfg: cfg, now: func() time.Time { return time.Now().UTC() }, newID: func() string { return strings.ToLower(rand.Text()) },
		prints: semaphore.NewWeighted(maxPrints),
	}
	if a.log, err = cfg.Logger(os.Stderr); err != nil {
		return nil, err
	}
	for _, option := range options {
		option(a)
	}
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("server.Open: %w", err), a.Close())
		}
	}()
	if err := a.openData(); err != nil {
		return nil, err
	}
	if a.views, err = views.New(); err != nil {
		return nil, err
	}
	if a.passwords, err = newPasswords(cfg.Workers); err != nil {
		return nil, err
	}
	if err := a.wireMail(); err != nil {
		return nil, err
	}
	a.jobs = newJobs(a.store, a.now, a.log)
	a.steps = &flow.Steps{ConsentVersion: views.ConsentVersion,
		Store: a.store, Now: a.now, NewID: a.newID, Nudge: a.wrote,
		Compose: composer{views: a.views, now: a.now, url: a.URL, shop: a.store},
	}
	if err := a.compareKept(context.Background()); err != nil { // before a write can replace it
		return nil, err
	}
	if err := a.wireLogKey(context.Background()); err != nil {
		return nil, err
	}
	a.addJobs()
	if a.resumable, err = newResumable(a); err != nil {
		return nil, err
	}
	a.byAddress, a.byAccount, a.byMailbox = newLimits(a.now, perAddress), newLimits(a.now, perAccount), newLimits(a.now, perMailbox)
	return a, a.wireHTTP()
}

func (a *App) openData() (err error) {
	if err := os.MkdirAll(a.cfg.DataDir, 0o700); err != nil {
		return err
	}
	if a.database, err = store.Open(filepath.Join(a.cfg.DataDir, "farbay.db")); err != nil {
		return err
	}
	a.door = a.database
	if a.store, err = watchShop(context.Background(), a.database); err != nil {
		return err
	}
	a.storage, err = media.OpenDisk(filepath.Join(a.cfg.DataDir, "media"))
	return err
}

func (a *App) wireMail() (err error) {
	if a.mailer != nil || a.cfg.SMTPHost == "" {
		return nil
	}
	a.mailer, err = NewSMTP(a.cfg)
	return err
}

func (a *App) wireHTTP() error {
	a.origins = http.NewCrossOriginProtection()
	if a.cfg.BaseURL != "" {
		// Behind a proxy the Host header may be another name than the people's.
		if err := a.origins.AddTrustedOrigin(strings.TrimRight(a.cfg.BaseURL, "/")); err != nil {
			return err
		}
	}
	a.echo = echo.New()
	a.echo.HideBanner, a.echo.HidePort = true, true
	a.echo.HTTPErrorHandler = a.fail
	proxies, err := a.cfg.proxies()
	if err != nil {
		return err
	}
	if len(proxies) == 0 {
		a.echo.IPExtractor = echo.ExtractIPDirect()
	} else {
		trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
		for _, p := range proxies {
			trust = append(trust, echo.TrustIPRange(&net.IPNet{
				IP: p.Masked().Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen()),
			}))
		}
		a.echo.IPExtractor = echo.ExtractIPFromXFFHeader(trust...)
	}
	a.useMiddleware()
	a.addRoutes()
	return nil
}

// Listen takes the address to serve on, so that URL is known before Run. Run
// does it otherwise.
func (a *App) Listen() error {
	a.listening.Lock()
	defer a.listening.Unlock()
	if a.listener != nil {
		return nil
	}
	l, err := net.Listen("tcp", a.cfg.Addr)
	if err != nil {
		return fmt.Errorf("server.Listen: %w", err)
	}
	a.listener = l
	return nil
}

// URL returns the address people use, without a slash at the end: the base URL
// of the settings, or else where the server listens.
func (a *App) URL() string {
	if a.cfg.BaseURL != "" {
		return strings.TrimRight(a.cfg.BaseURL, "/")
	}
	host := a.cfg.Addr
	if addr := a.Addr(); addr != "" {
		host = addr
	}
	return (&url.URL{Scheme: "http", Host: host}).String()
}

// Addr returns the host and port listened on; "" before Listen.
func (a *App) Addr() string {
	a.listening.Lock()
	defer a.listening.Unlock()
	if a.listener == nil {
		return ""
	}
	return a.listener.Addr().String()
}

// Run serves requests and works on jobs until ctx ends. Then it takes no new
// requests, lets those under way finish for some seconds, and puts back jobs
// that are not done.
//
// It returns nil after such a stop, else why it could not serve.
func (a *App) Run(ctx context.Context) error {
	if err := a.Listen(); err != nil {
		return err
	}
	web := &http.Server{
		Handler: a.echo, ReadHeaderTimeout: headerTime, IdleTimeout: idleTime,
		ErrorLog: slog.NewLogLogger(a.log.Handler(), slog.LevelWarn),
	}
	a.log.InfoContext(ctx, "serving", "url", a.URL(), "data", a.cfg.DataDir, "workers", a.cfg.Workers, "mail", a.mailer != nil)
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error {
		if err := web.Serve(a.listener); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("server.Run: %w", err)
		}
		return nil
	})
	group.Go(func() error {
		<-ctx.Done()
		ending, stop := context.WithTimeout(context.WithoutCancel(ctx), stopTime)
		defer stop()
		if err := web.Shutdown(ending); err != nil {
			a.log.WarnContext(ending, "requests were cut off", "error", err)
			return web.Close()
		}
		return nil
	})
	group.Go(func() error { a.jobs.run(ctx, a.cfg.Workers); return nil })
	group.Go(func() error { a.sweep(ctx); return nil })
	group.Go(func() error { a.remind(ctx); return nil })
	err := group.Wait()
	a.log.InfoContext(context.WithoutCancel(ctx), "stopped")
	return err
}

// Close releases the database and the storage. It is to be called after Run
// has returned.
func (a *App) Close() error {
	var errs []error
	a.listening.Lock()
	if a.listener != nil {
		if err := a.listener.Close(); !errors.Is(err, net.ErrClosed) {
			errs = append(errs, err)
		}
	}
	a.listening.Unlock()
	if a.storage != nil {
		errs = append(errs, a.storage.Close())
	}
	if a.database != nil {
		errs = append(errs, a.database.Close())
	}
	return errors.Join(errs...)
}

// Steps returns the acts of the job on this folder.
func (a *App) Steps() *flow.Steps { return a.steps }

// Storage returns where the photos are.
func (a *App) Storage() media.Storage { return a.storage }

// Intake returns the one way in for photos.
func (a *App) Intake() Intake {
	return Intake{Steps: a.steps, Storage: a.storage, MaxBytes: a.cfg.MaxPhotoBytes, MaxVideoBytes: a.cfg.MaxVideoBytes}
}

// Handler answers requests as the running server does.
func (a *App) Handler() http.Handler { return a.echo }

// RunDue does all jobs that are due and returns how many it took in hand; for
// commands and tests that do not Run.
func (a *App) RunDue(ctx context.Context) (int, error) { return a.jobs.runDue(ctx) }

// Working reports whether a worker has a job in hand.
func (a *App) Working() bool { return a.jobs.busy.Load() > 0 }

// HashPassword returns the encoded argon2id hash of a password, which it does
// not check.
func (a *App) HashPassword(ctx context.Context, password string) (string, error) {
	return a.passwords.hash(ctx, password)
}
