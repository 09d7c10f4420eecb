package server_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/base64"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net"
	"net/http"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	"github.com/emersion/go-smtp"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/servertest"
)

// post is a mail server of another make, started for a test.
type post struct {
	mu       sync.Mutex
	received []string // messages taken in charge
	from, to []string
	users    []string // who logged in

	onRcpt   func() error             // answers RCPT
	onData   func(c *smtp.Conn) error // answers the end of DATA
	keep     bool                     // whether the message is kept when onData fails
	server   *smtp.Server
	listener net.Listener
	port     int
}

func startPost(t *testing.T, change ...func(*smtp.Server)) *post {
	t.Helper()
	p := &post{}
	p.server = smtp.NewServer(smtp.BackendFunc(func(c *smtp.Conn) (smtp.Session, error) { return &visit{post: p, conn: c}, nil }))
	p.server.Domain, p.server.AllowInsecureAuth = "post.example", true
	p.server.ErrorLog = quiet{}
	for _, f := range change {
		f(p.server)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	p.listener, p.port = l, l.Addr().(*net.TCPAddr).Port
	ended := make(chan error, 1)
	go func() { ended <- p.server.Serve(l) }()
	t.Cleanup(func() {
		for _, err := range []error{l.Close(), p.server.Close()} {
			if err != nil && !errors.Is(err, smtp.ErrServerClosed) && !errors.Is(err, net.ErrClosed) {
				t.Errorf("mail server: %v", err)
			}
		}
		<-ended
	})
	return p
}

// set changes what the server does next.
func (p *post) set(f func(p *post)) {
	p.mu.Lock()
	defer p.mu.Unlock()
	f(p)
}

func (p *post) messages() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string(nil), p.received...)
}

func (p *post) config(c *server.Config) {
	c.SMTPHost, c.SMTPPort, c.SMTPTLS = "127.0.0.1", p.port, server.TLSNone
	c.SMTPFrom = "Tern Hollow Truck Works <office@ternhollow.example>"
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

// visit is one conversation.
type visit struct {
	post *post
	conn *smtp.Conn
	from string
	to   []string
}

func (v *visit) Reset()        { v.from, v.to = "", nil }
func (v *visit) Logout() error { return nil }

func (v *visit) AuthMechanisms() []string { return []string{sasl.Plain} }

func (v *visit) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if password != "swordfish" {
			return smtp.ErrAuthFailed
		}
		v.post.set(func(p *post) { p.users = append(p.users, user) })
		return nil
	}), nil
}

func (v *visit) Mail(from string, _ *smtp.MailOptions) error { v.from = from; return nil }

func (v *visit) Rcpt(to string, _ *smtp.RcptOptions) error {
	v.to = append(v.to, to)
	v.post.mu.Lock()
	answer := v.post.onRcpt
	v.post.mu.Unlock()
	if answer != nil {
		return answer()
	}
	return nil
}

func (v *visit) Data(r io.Reader) error {
	text, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	v.post.mu.Lock()
	defer v.post.mu.Unlock()
	take := func() {
		v.post.received = append(v.post.received, string(text))
		v.post.from = append(v.post.from, v.from)
		v.post.to = append(v.post.to, v.to...)
	}
	if v.post.onData != nil {
		err := v.post.onData(v.conn)
		if err == nil || v.post.keep {
			take()
		}
		return err
	}
	take()
	return nil
}

// ask makes the server send the owner a link, and returns the letter.
func ask(t *testing.T, s *servertest.Server) journal.Letter {
	t.Helper()
	s.Client().Post("/sign-in/link", url.Values{"email": {s.Owner.Email}}).Status(http.StatusOK)
	s.Settle()
	return newest(t, s)
}

func newest(t *testing.T, s *servertest.Server) (letter journal.Letter) {
	t.Helper()
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		all, err := r.Letters(1)
		if err == nil && len(all) == 1 {
			letter, err = r.Letter(all[0].ID)
		}
		return err
	})
	if err != nil || letter.ID == "" {
		t.Fatalf("no letter: %v", err)
	}
	return letter
}

func pending(t *testing.T, s *servertest.Server) (n int) {
	t.Helper()
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		n, err = r.PendingJobs(journal.JobMail)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestMailConversation(t *testing.T) {
	p := startPost(t)
	s := servertest.New(t, p.config)
	letter := ask(t, s)
	if letter.SentAt.IsZero() || letter.Fault != "" || letter.Tries != 1 {
		t.Errorf("letter is noted as sent at %v, fault %q, %d tries", letter.SentAt, letter.Fault, letter.Tries)
	}
	got := p.messages()
	if len(got) != 1 || p.from[0] != "office@ternhollow.example" || p.to[0] != s.Owner.Email {
		t.Fatalf("%d messages from %v to %v", len(got), p.from, p.to)
	}
	// Read back with the standard library's parsers (RFC 5322, RFC 2045).
	m, err := mail.ReadMessage(strings.NewReader(got[0]))
	if err != nil {
		t.Fatal(err)
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil || subject != letter.Subject {
		t.Errorf("subject %q, %v; want %q", subject, err, letter.Subject)
	}
	if id := m.Header.Get("Message-ID"); id != "<"+string(letter.ID)+"@ternhollow.example>" {
		t.Errorf("Message-ID is %s", id)
	}
	body, err := io.ReadAll(quotedprintable.NewReader(m.Body))
	if err != nil {
		t.Fatal(err)
	}
	if text := strings.ReplaceAll(string(body), "\r\n", "\n"); strings.TrimSpace(text) != strings.TrimSpace(letter.Text) {
		t.Errorf("body is\n%s\nwant\n%s", text, letter.Text)
	}
}

func TestMailWithAttachmentAndOddNames(t *testing.T) {
	p := startPost(t)
	cfg := server.Default()
	p.config(&cfg)
	mailer, err := server.NewSMTP(cfg)
	if err != nil {
		t.Fatal(err)
	}
	record := []byte("{\"n\":\"\xc3\xa9\",\"long\":\"" + strings.Repeat("x", 3000) + "\"}\n.\r\n..\n") // dots are stuffed on the wire, RFC 5321 4.5.2
	err = mailer.Send(t.Context(), journal.Letter{
		ID: "l1", To: "orla.wintle@people.example", ToName: "Orla \"Oz\" Wintlé, <b>", Subject: "Änderung – 4\u2009% für Héron",
		Text: "First line\n.\nlast – line\n", CreatedAt: servertest.Begin,
		Files: []journal.LetterFile{{Name: "paper 4.json", ContentType: "application/json", Data: record}},
	})
	if err != nil {
		t.Fatal(err)
	}
	m, err := mail.ReadMessage(strings.NewReader(p.messages()[0]))
	if err != nil {
		t.Fatal(err)
	}
	to, err := m.Header.AddressList("To")
	if err != nil || len(to) != 1 || to[0].Name != "Orla \"Oz\" Wintlé, <b>" || to[0].Address != "orla.wintle@people.example" {
		t.Errorf("To is %v, %v", to, err)
	}
	_, params, err := mime.ParseMediaType(m.Header.Get("Content-Type"))
	if err != nil {
		t.Fatal(err)
	}
	parts := multipart.NewReader(m.Body, params["boundary"])
	if _, err := parts.NextPart(); err != nil {
		t.Fatal(err)
	}
	file, err := parts.NextPart()
	if err != nil {
		t.Fatal(err)
	}
	raw, err := io.ReadAll(file)
	if err != nil {
		t.Fatal(err)
	}
	data, err := base64.StdEncoding.DecodeString(strings.NewReplacer("\r", "", "\n", "").Replace(string(raw)))
	if err != nil || !bytes.Equal(data, record) {
		t.Errorf("attachment has %d bytes, %v; want the %d sent", len(data), err, len(record))
	}
	if file.FileName() != "paper 4.json" || !strings.HasPrefix(file.Header.Get("Content-Type"), "application/json") {
		t.Errorf("attachment is %q, %q", file.FileName(), file.Header.Get("Content-Type"))
	}
}

func TestMailIsTriedAgain(t *testing.T) {
	hangUp := func(c *smtp.Conn) error { return c.Conn().Close() }
	tests := []struct {
		name, reason string
		set          func(p *post)
		copies       int // taken in charge, in all
	}{
		{"deferred", "a 4xx answer asks for another try (RFC 5321, section 4.2.1)", func(p *post) {
			p.onRcpt = func() error {
				return &smtp.SMTPError{Code: 451, EnhancedCode: smtp.EnhancedCode{4, 3, 0}, Message: "later please"}
			}
		}, 1},
		{"dies half-way, letter lost", "no answer to DATA: not known to be taken", func(p *post) {
			p.onData = func(c *smtp.Conn) error { return errors.Join(hangUp(c), errors.New("lost")) }
		}, 1},
		{"dies half-way, letter kept", "no answer to DATA, though it was taken: two copies with one Message-ID", func(p *post) {
			p.onData = func(c *smtp.Conn) error { return errors.Join(hangUp(c), errors.New("lost")) }
			p.keep = true
		}, 2},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			p := startPost(t)
			p.set(test.set)
			s := servertest.New(t, p.config)
			letter := ask(t, s)
			if !letter.SentAt.IsZero() || letter.Fault == "" || pending(t, s) != 1 {
				t.Fatalf("%s: after the first try sent at %v, fault %q, %d jobs", test.reason, letter.SentAt, letter.Fault, pending(t, s))
			}
			s.Clock.Pass(59 * time.Second)
			s.Settle()
			if got := newest(t, s).Tries; got != 1 {
				t.Errorf("tried %d times before its minute was over", got)
			}
			p.set(func(p *post) { p.onRcpt, p.onData = nil, nil })
			s.Clock.Pass(time.Second)
			s.Settle()
			letter = newest(t, s)
			if letter.SentAt.IsZero() || letter.Fault != "" || letter.Tries != 2 || pending(t, s) != 0 {
				t.Errorf("%s: in the end sent at %v, fault %q, %d tries, %d jobs", test.reason, letter.SentAt, letter.Fault, letter.Tries, pending(t, s))
			}
			got := p.messages()
			if len(got) != test.copies {
				t.Fatalf("%s: %d copies, want %d", test.reason, len(got), test.copies)
			}
			for _, text := range got {
				m, err := mail.ReadMessage(strings.NewReader(text))
				if err != nil || m.Header.Get("Message-ID") != "<"+string(letter.ID)+"@ternhollow.example>" {
					t.Errorf("Message-ID is %v, %v", m.Header.Get("Message-ID"), err)
				}
			}
		})
	}
}

func TestMailRefused(t *testing.T) {
	p := startPost(t)
	p.set(func(p *post) {
		p.onRcpt = func() error {
			return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such mailbox"}
		}
	})
	s := servertest.New(t, p.config)
	letter := ask(t, s)
	if !letter.SentAt.IsZero() || !strings.HasPrefix(letter.Fault, "given up: refused:") || !strings.Contains(letter.Fault, "no such mailbox") {
		t.Errorf("letter is sent at %v, fault %q", letter.SentAt, letter.Fault)
	}
	if n := pending(t, s); n != 0 {
		t.Errorf("%d jobs wait; a 5xx answer stands for good", n)
	}
}

func TestMailServerIsDown(t *testing.T) {
	p := startPost(t)
	if err := p.listener.Close(); err != nil {
		t.Fatal(err)
	}
	s := servertest.New(t, p.config)
	letter := ask(t, s)
	for range 20 {
		if pending(t, s) == 0 {
			break
		}
		s.Clock.Pass(4 * time.Hour)
		s.Settle()
	}
	letter = newest(t, s)
	if letter.Tries != 12 || !strings.HasPrefix(letter.Fault, "given up: ") || pending(t, s) != 0 {
		t.Errorf("after %d tries: fault %q, %d jobs wait", letter.Tries, letter.Fault, pending(t, s))
	}
}

func TestMailEncryption(t *testing.T) {
	// STARTTLS is insisted on: a server that does not offer it gets no letter.
	plain := startPost(t)
	cfg := server.Default()
	plain.config(&cfg)
	cfg.SMTPTLS = server.TLSStartTLS
	mailer, err := server.NewSMTP(cfg)
	if err != nil {
		t.Fatal(err)
	}
	letter := journal.Letter{ID: "l1", To: "a@people.example", Subject: "s", Text: "t", CreatedAt: servertest.Begin}
	if err := mailer.Send(t.Context(), letter); err == nil || len(plain.messages()) != 0 {
		t.Errorf("sent without encryption: %v", err)
	}

	// A certificate from nowhere is refused; one from a known authority is not.
	cert, file := certificate(t)
	secured := startPost(t, func(s *smtp.Server) { s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}} })
	cfg.SMTPPort, cfg.SMTPUser, cfg.SMTPPassword = secured.port, "tern", "swordfish"
	if mailer, err = server.NewSMTP(cfg); err != nil {
		t.Fatal(err)
	}
	t.Setenv("SSL_CERT_FILE", file)
	t.Setenv("SSL_CERT_DIR", t.TempDir())
	if err := mailer.Send(t.Context(), letter); err != nil {
		t.Errorf("over STARTTLS: %v", err)
	}
	if len(secured.messages()) != 1 || len(secured.users) != 1 || secured.users[0] != "tern" {
		t.Errorf("%d messages, logged in as %v", len(secured.messages()), secured.users)
	}
	cfg.SMTPPassword = "sardine"
	if mailer, err = server.NewSMTP(cfg); err != nil {
		t.Fatal(err)
	}
	var final *server.RefusedError
	if err := mailer.Send(t.Context(), letter); err == nil || errors.As(err, &final) {
		t.Errorf("with a wrong password: %v; want an error that is worth another try, once the setting is right", err)
	}
	stranger, _ := certificate(t)
	other := startPost(t, func(s *smtp.Server) { s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{stranger}} })
	cfg.SMTPPort = other.port
	if mailer, err = server.NewSMTP(cfg); err != nil {
		t.Fatal(err)
	}
	if err := mailer.Send(t.Context(), letter); err == nil || len(other.messages()) != 0 {
		t.Errorf("sent to a server with a certificate from nowhere: %v", err)
	}
}

// certificate makes one for 127.0.0.1 that signs itself, and writes it to a
// file.
func certificate(t *testing.T) (tls.Certificate, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	serial, err := rand.Int(rand.Reader, big.NewInt(1<<62))
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: serial, Subject: pkix.Name{CommonName: "post.example"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, file
}

func TestWithoutMailServerLettersStayInTheOutbox(t *testing.T) {
	dir := t.TempDir()
	cfg := server.Default()
	cfg.DataDir, cfg.LogLevel = dir, "error"
	app, err := server.Open(cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := app.Close(); err != nil {
			t.Error(err)
		}
	})
	p, err := app.Steps().AddPerson(t.Context(), servertest.Setter, journal.Person{Name: "Orla Wintle", Email: "orla@people.example", Role: journal.Owner})
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Steps().SendLink(t.Context(), servertest.Setter, p.ID, flow.NewLink{Token: "t", Life: time.Hour}); err != nil {
		t.Fatal(err)
	}
	if n, err := app.RunDue(t.Context()); err != nil || n != 1 {
		t.Fatalf("%d jobs, %v", n, err)
	}
	err = app.Steps().Store.Read(t.Context(), func(r flow.Reads) error {
		letters, err := r.Letters(10)
		if err != nil {
			return err
		}
		if len(letters) != 1 || !letters[0].SentAt.IsZero() || letters[0].Fault != "" {
			t.Errorf("outbox: %+v", letters)
		}
		n, err := r.PendingJobs(journal.JobMail)
		if n != 0 {
			t.Errorf("%d jobs wait", n)
		}
		return err
	})
	if err != nil {
		t.Error(err)
	}
}
