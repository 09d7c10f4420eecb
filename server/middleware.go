package server

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"

	"farbay/journal"
)

// maxFormBytes is the most bytes of a posted form without photos: 1 MB.
const maxFormBytes = 1 << 20

// Times allowed on the wire. They are the machine's, not the injected clock's.
const (
	headerTime = 10 * time.Second
	idleTime   = 2 * time.Minute
	formTime   = 90 * time.Second // to receive a form, on a weak phone connection
	replyTime  = 5 * time.Minute  // to send a page or photo, likewise
	uploadTime = 30 * time.Minute // to receive the photos of one entry
)

// contentPolicy is the Content-Security-Policy of every answer: nothing but
// what this server sends, and no inline script or style.
const contentPolicy = "default-src 'none'; img-src 'self' data: blob:; media-src 'self'; style-src 'self'; script-src 'self'; " +
	"font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; " +
	"frame-ancestors 'none'; base-uri 'none'"

// useMiddleware puts what every request passes around the router, outermost
// first.
func (a *App) useMiddleware() {
	a.echo.Use(a.begun, a.recovered, a.headers, a.sameOrigin, a.limited, middleware.GzipWithConfig(middleware.GzipConfig{
		MinLength: 1024,
		Skipper:   func(c echo.Context) bool { return !compressible(c.Request()) },
	}))
}

// begun gives the request its id and logs it when it is answered. Tokens in
// paths stay out of the log.
func (a *App) begun(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		begin := time.Now()
		rq := of(c)
		rq.id = strings.ToLower(rand.Text()[:16])
		c.Response().Header().Set(echo.HeaderXRequestID, rq.id)
		err := next(c)
		if err != nil {
			c.Error(err) // answered here, so that the status is known below
		}
		path := c.Request().URL.Path
		if token := c.Param("token"); token != "" {
			path = strings.Replace(path, token, "-", 1)
		}
		a.log.InfoContext(c.Request().Context(), "request", "request", rq.id, "method", c.Request().Method,
			"path", path, "status", c.Response().Status, "bytes", c.Response().Size,
			"ms", time.Since(begin).Milliseconds(), "address", c.RealIP(), "person", string(rq.person.ID))
		return nil
	}
}

// recovered turns a panic into an internal error with its stack in the log.
func (a *App) recovered(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			switch cause := recover(); {
			case cause == nil:
			case cause == http.ErrAbortHandler:
				panic(cause)
			default:
				err = fmt.Errorf("server: panic: %v\n%s", cause, debug.Stack())
			}
		}()
		return next(c)
	}
}

// headers sets what every answer carries. Handlers of things that may be
// cached set Cache-Control anew.
func (a *App) headers(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("Content-Security-Policy", contentPolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), microphone=(), payment=(), usb=(), interest-cohort=()")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "private, no-store")
		if a.cfg.secure() {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		return next(c)
	}
}

// compressible reports whether the answer may be text. Photos are compressed
// already, and a compressed answer to a Range request would be a wrong one.
func compressible(r *http.Request) bool {
	return r.Header.Get("Range") == "" && !strings.Contains(r.URL.Path, "/photos/") && !strings.Contains(r.URL.Path, "/uploads") &&
		!strings.HasSuffix(r.URL.Path, ".zip") && !strings.HasSuffix(r.URL.Path, ".woff2") && !strings.HasSuffix(r.URL.Path, ".png")
}

// sameOrigin refuses requests that change something and come from another
// site, by the browser's own word (Sec-Fetch-Site, or Origin).
func (a *App) sameOrigin(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := a.origins.Check(c.Request()); err != nil {
			return &journal.Error{Code: journal.Forbidden, Err: err,
				Message: "This came from another site, so nothing was recorded. Please open the page here and do it again."}
		}
		return next(c)
	}
}

// limited bounds the bytes and the time of a request's body, and the time of
// its answer.
func (a *App) limited(next echo.HandlerFunc) echo.HandlerFunc {
	uploads := map[string]bool{}
	for _, route := range a.Routes() {
		if route.Uploads {
			uploads[route.Method+route.Path] = true
		}
	}
	return func(c echo.Context) error {
		r := c.Request()
		bytes, receive := int64(maxFormBytes), formTime
		if uploads[r.Method+c.Path()] {
			bytes, receive = a.cfg.maxUploadBytes(), uploadTime
			if strings.Contains(c.Path(), "/uploads") { // one file, maybe a video
				bytes = max(a.cfg.MaxPhotoBytes, a.cfg.MaxVideoBytes)
			}
		}
		if r.ContentLength > bytes {
			c.Response().Header().Set("Connection", "close")
			return &journal.Error{Code: journal.TooLarge, Message: "What was sent is larger than this page takes."}
		}
		if r.Body != nil {
			r.Body = http.MaxBytesReader(c.Response(), r.Body, bytes)
		}
		wire := http.NewResponseController(c.Response())
		begin := time.Now()
		err := errors.Join(wire.SetReadDeadline(begin.Add(receive)), wire.SetWriteDeadline(begin.Add(receive+replyTime)))
		if err != nil && !errors.Is(err, http.ErrNotSupported) { // a recorder in a test has no wire
			return err
		}
		return next(c)
	}
}
