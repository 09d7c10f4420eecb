package server

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	netmail "net/mail"
	"strings"
	"time"

	"github.com/wneessen/go-mail"

	"farbay/journal"
	"farbay/journal/flow"
)

// Mailer hands letters to the outside.
type Mailer interface {
	// Send hands one letter over, and returns nil when somebody else has taken
	// charge of it. It may be called again for a letter that was handed over
	// before the answer was lost; the letter's id makes the two recognisable.
	//
	// An error made by [Refused] is final; all others are worth another try.
	Send(ctx context.Context, letter journal.Letter) error
}

// RefusedError says that a letter was refused for good.
type RefusedError struct{ Err error }

// Error returns the cause.
func (e *RefusedError) Error() string { return "refused: " + e.Err.Error() }

// Unwrap returns the cause.
func (e *RefusedError) Unwrap() error { return e.Err }

// mailTime bounds one conversation with the mail server.
const mailTime = 60 * time.Second

// SMTP sends letters through one mail server, with a connection for each.
type SMTP struct {
	host    string
	from    string
	domain  string // of the sender, for Message-IDs
	options []mail.Option
}

// NewSMTP returns a mailer for the mail settings of c, which must be valid. It
// connects to nothing yet.
func NewSMTP(c Config) (*SMTP, error) {
	from, err := netmail.ParseAddress(c.SMTPFrom)
	if err != nil {
		return nil, fmt.Errorf("server.NewSMTP: sender: %w", err)
	}
	s := &SMTP{host: c.SMTPHost, from: c.SMTPFrom, domain: from.Address[strings.LastIndex(from.Address, "@")+1:]}
	s.options = []mail.Option{
		mail.WithPort(c.SMTPPort), mail.WithTimeout(mailTime),
		mail.WithTLSConfig(&tls.Config{ServerName: c.SMTPHost, MinVersion: tls.VersionTLS12}),
		mail.WithoutNoop(),
	}
	switch c.SMTPTLS {
	case TLSImplicit:
		s.options = append(s.options, mail.WithSSL())
	case TLSStartTLS:
		s.options = append(s.options, mail.WithTLSPolicy(mail.TLSMandatory))
	default:
		s.options = append(s.options, mail.WithTLSPolicy(mail.NoTLS))
	}
	if c.SMTPUser != "" {
		s.options = append(s.options, mail.WithUsername(c.SMTPUser), mail.WithPassword(c.SMTPPassword),
			mail.WithSMTPAuth(mail.SMTPAuthAutoDiscover))
	}
	return s, nil
}

// Send implements [Mailer].
func (s *SMTP) Send(ctx context.Context, letter journal.Letter) error {
	message, err := s.message(letter)
	if err != nil {
		return &RefusedError{err}
	}
	client, err := mail.NewClient(s.host, s.options...)
	if err != nil {
		return fmt.Errorf("server.SMTP.Send: %w", err)
	}
	ctx, stop := context.WithTimeout(ctx, mailTime)
	defer stop()
	err = client.DialAndSendWithContext(ctx, message)
	switch {
	case err == nil:
		return nil
	case message.IsDelivered():
		// The server has taken the letter; only the goodbye failed.
		return nil
	case refusedForGood(err):
		return &RefusedError{err}
	}
	return fmt.Errorf("server.SMTP.Send: %w", err)
}

// message writes the letter as a MIME message. Its Message-ID is the letter's
// id, so that a second copy after a lost answer is recognised as one.
func (s *SMTP) message(letter journal.Letter) (*mail.Msg, error) {
	m := mail.NewMsg()
	if err := m.From(s.from); err != nil {
		return nil, err
	}
	to, err := netmail.ParseAddress(letter.To)
	if err != nil {
		return nil, err
	}
	m.AddToMailAddress(&netmail.Address{Name: letter.ToName, Address: to.Address})
	m.Subject(letter.Subject)
	m.SetMessageIDWithValue(string(letter.ID) + "@" + s.domain)
	m.SetDateWithValue(letter.CreatedAt)
	m.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834, section 5
	m.SetBodyString(mail.TypeTextPlain, letter.Text)
	for _, file := range letter.Files {
		m.AttachReadSeeker(file.Name, bytes.NewReader(file.Data), mail.WithFileContentType(mail.ContentType(file.ContentType)))
	}
	return m, nil
}

// refusedForGood reports whether the server has refused sender, recipient or letter
// with a 5xx answer, which stands for good (RFC 5321, section 4.2.1). A refused
// log-in is a matter of settings, and worth another try.
func refusedForGood(err error) bool {
	var sent *mail.SendError
	if !errors.As(err, &sent) || sent.IsTemp() || sent.ErrorCode() < 500 {
		return false
	}
	switch sent.Reason {
	case mail.ErrSMTPMailFrom, mail.ErrSMTPRcptTo, mail.ErrSMTPData, mail.ErrSMTPDataClose:
		return true
	}
	return false
}

// mailTries and the waits between them spread over a day.
const mailTries = 12

func (a *App) mailRule() jobRule {
	return jobRule{
		run: a.sendLetter, tries: mailTries, wait: doubling(time.Minute, 4*time.Hour),
		gaveUp: func(ctx context.Context, id string, cause error) error {
			return a.noteLetter(ctx, journal.LetterID(id), func(l *journal.Letter) {
				l.Fault = "given up: " + cause.Error()
			})
		},
	}
}

// sendLetter does a [journal.JobMail]. Without a mail server the letter stays
// in the outbox, for the office to read.
func (a *App) sendLetter(ctx context.Context, id string) error {
	var letter journal.Letter
	err := a.store.Read(ctx, func(r flow.Reads) (err error) {
		letter, err = r.Letter(journal.LetterID(id))
		return err
	})
	if err != nil {
		return err
	}
	if !letter.SentAt.IsZero() || letter.Dropped != "" {
		return nil
	}
	if stands, err := a.steps.ReminderStands(ctx, letter); err != nil || !stands || a.mailer == nil {
		return err
	}
	sendErr := a.mailer.Send(ctx, a.withPrints(ctx, letter))
	if sendErr != nil && ctx.Err() != nil {
		return sendErr // cut off: not the letter's fault
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), recordTime)
	defer stop()
	err = a.noteLetter(ctx, letter.ID, func(l *journal.Letter) {
		l.Tries++
		l.Fault = ""
		if sendErr == nil {
			l.SentAt = a.now().UTC()
		} else {
			l.Fault = sendErr.Error()
		}
	})
	if err != nil {
		return errors.Join(sendErr, err)
	}
	var final *RefusedError
	if errors.As(sendErr, &final) {
		return hopeless(sendErr)
	}
	return sendErr
}

// noteLetter changes what is noted on a letter.
func (a *App) noteLetter(ctx context.Context, id journal.LetterID, change func(*journal.Letter)) error {
	return a.store.Write(ctx, func(tx flow.Tx) error {
		letter, err := tx.Letter(id)
		if err != nil {
			return err
		}
		change(&letter)
		return tx.SaveLetter(letter)
	})
}
