package server

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/mail"
	"net/netip"
	"net/url"
	"os"
	"runtime"
	"strings"
	"time"

	"farbay/journal"
)

// MaxPhotoBytesCeiling is the most that [Config.MaxPhotoBytes] may be set to:
// 100 MB.
const MaxPhotoBytesCeiling = 100_000_000

// MaxVideoBytesCeiling is the most that [Config.MaxVideoBytes] may be set to:
// 4 GB.
const MaxVideoBytesCeiling = 4_000_000_000

// Ways to secure the connection to the mail server.
const (
	TLSStartTLS = "starttls" // plain connection, then STARTTLS; refused if the server cannot
	TLSImplicit = "implicit" // TLS from the first byte, usually port 465
	TLSNone     = "none"     // no encryption; only for a server on this machine
)

// Config is everything that can be set from outside. Each field has a flag and
// an environment variable, listed by [Config.Flags]; a flag wins over the
// variable, the variable over the default.
type Config struct {
	// Addr is the host and port to listen on. Port 0 takes any free one.
	// Default "127.0.0.1:8080". FARBAY_ADDR.
	Addr string
	// DataDir is the folder with the database and the photos; it is made if it
	// is not there. Default "farbay-data". FARBAY_DATA.
	DataDir string
	// BaseURL is the address people use, such as "https://portal.example.org",
	// without a path. With https, cookies are Secure and browsers are told to
	// stay with https; TLS itself is the work of a proxy in front. Default
	// "http://" and the address listened on. FARBAY_BASE_URL.
	BaseURL string
	// TrustedProxies are the address ranges, separated by commas, from which the
	// X-Forwarded-For header is believed. Default "127.0.0.0/8,::1/128"; empty
	// believes none. FARBAY_TRUSTED_PROXIES.
	TrustedProxies string

	// SMTPHost is the mail server. Empty: letters are only kept in the outbox.
	// Default empty. FARBAY_SMTP_HOST.
	SMTPHost string
	// SMTPPort is the mail server's port. Default 587. FARBAY_SMTP_PORT.
	SMTPPort int
	// SMTPUser is the name to log in with; empty for no log-in. Default empty.
	// FARBAY_SMTP_USER.
	SMTPUser string
	// SMTPPassword is the password to log in with. It has no flag, as other
	// users of the machine can read those. Default empty. FARBAY_SMTP_PASSWORD,
	// or FARBAY_SMTP_PASSWORD_FILE with the path of a file that holds it.
	SMTPPassword string
	// SMTPFrom is the sender of all letters, such as
	// "Tern Hollow Truck Works <office@example.org>". Needed with SMTPHost.
	// Default empty. FARBAY_SMTP_FROM.
	SMTPFrom string
	// SMTPTLS is one of starttls, implicit, none. Default starttls.
	// FARBAY_SMTP_TLS.
	SMTPTLS string

	// MaxPhotoBytes is the most bytes one photo may have. Default 50,000,000
	// (50 MB); at most 100,000,000. The number of pixels is limited by package
	// media. FARBAY_MAX_PHOTO_BYTES.
	MaxPhotoBytes int64
	// MaxVideoBytes is the most bytes one video may have. Default 1,000,000,000
	// (1 GB); at most 4,000,000,000. FARBAY_MAX_VIDEO_BYTES.
	MaxVideoBytes int64
	// UploadLife is how long a file that began to arrive and broke off is kept,
	// to be resumed. Default 168 h (7 days). FARBAY_UPLOAD_LIFE.
	UploadLife time.Duration
	// Workers is how many background jobs (sizes of photos, mail) run at once.
	// Default: the number of processors. FARBAY_WORKERS.
	Workers int

	// SessionIdle is how long a browser stays signed in without being used.
	// Default 720 h (30 days): phones on the floor are used daily, an owner looks
	// in every few weeks. FARBAY_SESSION_IDLE.
	SessionIdle time.Duration
	// SessionLife is how long a browser stays signed in at most, however much it
	// is used. Default 4,320 h (180 days). FARBAY_SESSION_LIFE.
	SessionLife time.Duration
	// LinkLife is how long a link sent by e-mail works. Default 30 min.
	// FARBAY_LINK_LIFE.
	LinkLife time.Duration
	// InviteLife is how long a link works that the office sends to somebody of
	// the shop to set their first password. Default 72 h. FARBAY_INVITE_LIFE.
	InviteLife time.Duration

	// LogLevel is debug, info, warn or error. Default info. FARBAY_LOG_LEVEL.
	LogLevel string
	// LogFormat is text or json. Default text. FARBAY_LOG_FORMAT.
	LogFormat string

	// Demo says that the shop is invented; every page says so then. It has no
	// flag: the demo command sets it.
	Demo bool
}

// Default returns the settings that hold when nothing is set.
func Default() Config {
	return Config{
		Addr: "127.0.0.1:8080", DataDir: "farbay-data", TrustedProxies: "127.0.0.0/8,::1/128",
		SMTPPort: 587, SMTPTLS: TLSStartTLS,
		MaxPhotoBytes: 50_000_000, MaxVideoBytes: 1_000_000_000, UploadLife: 7 * 24 * time.Hour, Workers: runtime.NumCPU(),
		SessionIdle: 30 * 24 * time.Hour, SessionLife: 180 * 24 * time.Hour,
		LinkLife: 30 * time.Minute, InviteLife: 72 * time.Hour,
		LogLevel: "info", LogFormat: "text",
	}
}

// Flags binds every setting to a flag. A flag --smtp-host is also set by the
// variable FARBAY_SMTP_HOST, see [Config.Load].
func (c *Config) Flags(f *flag.FlagSet) {
	f.StringVar(&c.Addr, "addr", c.Addr, "`host:port` to listen on; port 0 takes any free one")
	f.StringVar(&c.DataDir, "data", c.DataDir, "`folder` with the database and the photos; made if it is not there")
	f.StringVar(&c.BaseURL, "base-url", c.BaseURL, "`address` people use, such as https://portal.example.org; default: http and the address listened on")
	f.StringVar(&c.TrustedProxies, "trusted-proxies", c.TrustedProxies, "address `ranges`, separated by commas, whose X-Forwarded-For is believed")
	f.StringVar(&c.SMTPHost, "smtp-host", c.SMTPHost, "mail server's `name`; none: letters are only kept in the outbox")
	f.IntVar(&c.SMTPPort, "smtp-port", c.SMTPPort, "mail server's `port`")
	f.StringVar(&c.SMTPUser, "smtp-user", c.SMTPUser, "`name` to log in to the mail server with; none: no log-in")
	f.StringVar(&c.SMTPFrom, "smtp-from", c.SMTPFrom, "`sender` of all letters, such as 'Tern Hollow Truck Works <office@example.org>'")
	f.StringVar(&c.SMTPTLS, "smtp-tls", c.SMTPTLS, "`mode` of encryption to the mail server: starttls, implicit or none")
	f.Int64Var(&c.MaxPhotoBytes, "max-photo-bytes", c.MaxPhotoBytes, "most `bytes` of one photo; at most 100000000")
	f.Int64Var(&c.MaxVideoBytes, "max-video-bytes", c.MaxVideoBytes, "most `bytes` of one video; at most 4000000000")
	f.DurationVar(&c.UploadLife, "upload-life", c.UploadLife, "`time` a file that broke off on its way is kept, to be resumed")
	f.IntVar(&c.Workers, "workers", c.Workers, "`number` of background jobs at once; default: the number of processors")
	f.DurationVar(&c.SessionIdle, "session-idle", c.SessionIdle, "`time` a browser stays signed in unused, such as 720h")
	f.DurationVar(&c.SessionLife, "session-life", c.SessionLife, "`time` a browser stays signed in at most")
	f.DurationVar(&c.LinkLife, "link-life", c.LinkLife, "`time` a link sent by e-mail works")
	f.DurationVar(&c.InviteLife, "invite-life", c.InviteLife, "`time` a link to set a first password works")
	f.StringVar(&c.LogLevel, "log-level", c.LogLevel, "least `level` logged: debug, info, warn or error")
	f.StringVar(&c.LogFormat, "log-format", c.LogFormat, "`format` of the log: text or json")
}

// EnvName returns the environment variable of a flag: "FARBAY_SMTP_HOST" for
// "smtp-host".
func EnvName(flagName string) string {
	return "FARBAY_" + strings.ToUpper(strings.ReplaceAll(flagName, "-", "_"))
}

// Env reads one environment variable, as [os.LookupEnv].
type Env func(name string) (value string, set bool)

// Load fills the settings bound by Flags from the environment and then from
// args, and returns the arguments that are no flags.
//
// It returns [flag.ErrHelp] when help was asked for and printed to f's output,
// and otherwise an error whose text says which setting is wrong and how.
// Validate is left to the caller.
func (c *Config) Load(f *flag.FlagSet, args []string, env Env) ([]string, error) {
	if err := fromEnv(f, env); err != nil {
		return nil, err
	}
	if err := c.secretsFromEnv(env); err != nil {
		return nil, err
	}
	if err := f.Parse(args); err != nil {
		return nil, err
	}
	return f.Args(), nil
}

func fromEnv(f *flag.FlagSet, env Env) error {
	var first error
	f.VisitAll(func(one *flag.Flag) {
		value, set := env(EnvName(one.Name))
		if !set || first != nil {
			return
		}
		if err := f.Set(one.Name, value); err != nil {
			first = fmt.Errorf("%s is %q, which does not fit: %w", EnvName(one.Name), value, err)
		}
	})
	return first
}

func (c *Config) secretsFromEnv(env Env) error {
	const name = "FARBAY_SMTP_PASSWORD"
	if value, set := env(name); set {
		c.SMTPPassword = value
	}
	path, set := env(name + "_FILE")
	if !set || path == "" {
		return nil
	}
	if c.SMTPPassword != "" {
		return fmt.Errorf("both %s and %s_FILE are set; please set one of them", name, name)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("%s_FILE: %w", name, err)
	}
	c.SMTPPassword = strings.TrimRight(string(data), "\r\n")
	return nil
}

// PrintFlags writes each flag of f with its variable, meaning and default.
func PrintFlags(w io.Writer, f *flag.FlagSet) error {
	var failed error
	f.VisitAll(func(one *flag.Flag) {
		kind, usage := flag.UnquoteUsage(one)
		head := "  --" + one.Name
		if kind != "" {
			head += " " + strings.ToUpper(kind)
		}
		text := fmt.Sprintf("%s\n      %s\n      %s", head, usage, EnvName(one.Name))
		if one.DefValue != "" && one.DefValue != "false" {
			text += ", default " + one.DefValue
		}
		if _, err := fmt.Fprintln(w, text); err != nil && failed == nil {
			failed = err
		}
	})
	return failed
}

// SecretsHelp describes the settings that have no flag.
const SecretsHelp = `  FARBAY_SMTP_PASSWORD
      password to log in to the mail server with
  FARBAY_SMTP_PASSWORD_FILE
      path of a file that holds it; set one of the two
`

// Validate checks every setting and returns all that is wrong, one sentence a
// line.
func (c Config) Validate() error {
	return errors.Join(c.checkAddresses(), c.checkMail(), c.checkLimits(), c.checkTimes(), c.checkLog())
}

func (c Config) checkAddresses() error {
	var wrong []error
	if _, _, err := net.SplitHostPort(c.Addr); err != nil {
		wrong = append(wrong, fmt.Errorf("--addr %q is no host and port, such as 127.0.0.1:8080", c.Addr))
	}
	if c.DataDir == "" {
		wrong = append(wrong, errors.New("--data is empty; please name the folder for the database and the photos"))
	}
	if c.BaseURL != "" {
		u, err := url.Parse(c.BaseURL)
		if err != nil || (u.Scheme != "http" && u.Scheme != "https") || u.Host == "" ||
			strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" || u.User != nil {
			wrong = append(wrong, fmt.Errorf("--base-url %q is no address without a path, such as https://portal.example.org", c.BaseURL))
		}
	}
	if _, err := c.proxies(); err != nil {
		wrong = append(wrong, err)
	}
	return errors.Join(wrong...)
}

// proxies returns the parsed TrustedProxies.
func (c Config) proxies() ([]netip.Prefix, error) {
	var ranges []netip.Prefix
	for _, text := range strings.Split(c.TrustedProxies, ",") {
		if text = strings.TrimSpace(text); text == "" {
			continue
		}
		one, err := netip.ParsePrefix(text)
		if err != nil {
			return nil, fmt.Errorf("--trusted-proxies: %q is no address range, such as 10.0.0.0/8", text)
		}
		ranges = append(ranges, one)
	}
	return ranges, nil
}

func (c Config) checkMail() error {
	if c.SMTPHost == "" {
		return nil
	}
	var wrong []error
	if c.SMTPPort < 1 || c.SMTPPort > 65535 {
		wrong = append(wrong, fmt.Errorf("--smtp-port %d is no port", c.SMTPPort))
	}
	if _, err := mail.ParseAddress(c.SMTPFrom); err != nil {
		wrong = append(wrong, fmt.Errorf("--smtp-from %q is no sender, such as 'Tern Hollow Truck Works <office@example.org>'", c.SMTPFrom))
	}
	if c.SMTPTLS != TLSStartTLS && c.SMTPTLS != TLSImplicit && c.SMTPTLS != TLSNone {
		wrong = append(wrong, fmt.Errorf("--smtp-tls %q is none of starttls, implicit, none", c.SMTPTLS))
	}
	if c.SMTPUser == "" && c.SMTPPassword != "" {
		wrong = append(wrong, errors.New("a mail password is set without --smtp-user"))
	}
	if c.SMTPUser != "" && c.SMTPTLS == TLSNone {
		wrong = append(wrong, errors.New("--smtp-tls none with --smtp-user would send the mail password unencrypted; please choose starttls or implicit, or log in without a name"))
	}
	if c.SMTPUser != "" && c.SMTPPassword == "" {
		wrong = append(wrong, errors.New("--smtp-user is set without FARBAY_SMTP_PASSWORD or FARBAY_SMTP_PASSWORD_FILE"))
	}
	return errors.Join(wrong...)
}

func (c Config) checkLimits() error {
	var wrong []error
	if c.MaxPhotoBytes < 100_000 || c.MaxPhotoBytes > MaxPhotoBytesCeiling {
		wrong = append(wrong, fmt.Errorf("--max-photo-bytes %d is not between 100000 and %d", c.MaxPhotoBytes, MaxPhotoBytesCeiling))
	}
	if c.MaxVideoBytes < 100_000 || c.MaxVideoBytes > MaxVideoBytesCeiling {
		wrong = append(wrong, fmt.Errorf("--max-video-bytes %d is not between 100000 and %d", c.MaxVideoBytes, MaxVideoBytesCeiling))
	}
	if c.Workers < 1 || c.Workers > 256 {
		wrong = append(wrong, fmt.Errorf("--workers %d is not between 1 and 256", c.Workers))
	}
	return errors.Join(wrong...)
}

func (c Config) checkTimes() error {
	var wrong []error
	for _, one := range []struct {
		name        string
		value       time.Duration
		least, most time.Duration
	}{
		{"session-idle", c.SessionIdle, 5 * time.Minute, 400 * 24 * time.Hour},
		{"session-life", c.SessionLife, 5 * time.Minute, 400 * 24 * time.Hour},
		{"link-life", c.LinkLife, time.Minute, 24 * time.Hour},
		{"upload-life", c.UploadLife, time.Hour, 90 * 24 * time.Hour},
		{"invite-life", c.InviteLife, time.Minute, 30 * 24 * time.Hour},
	} {
		if one.value < one.least || one.value > one.most {
			wrong = append(wrong, fmt.Errorf("--%s %s is not between %s and %s", one.name, one.value, one.least, one.most))
		}
	}
	return errors.Join(wrong...)
}

func (c Config) checkLog() error {
	_, err := c.Logger(io.Discard)
	return err
}

// Logger returns the structured log that LogLevel and LogFormat ask for,
// writing to w.
func (c Config) Logger(w io.Writer) (*slog.Logger, error) {
	var level slog.Level
	if err := level.UnmarshalText([]byte(c.LogLevel)); err != nil {
		return nil, fmt.Errorf("--log-level %q is none of debug, info, warn, error", c.LogLevel)
	}
	options := &slog.HandlerOptions{Level: level}
	switch c.LogFormat {
	case "text":
		return slog.New(slog.NewTextHandler(w, options)), nil
	case "json":
		return slog.New(slog.NewJSONHandler(w, options)), nil
	}
	return nil, fmt.Errorf("--log-format %q is none of text, json", c.LogFormat)
}

// secure reports whether people reach the server over https.
func (c Config) secure() bool { return strings.HasPrefix(c.BaseURL, "https://") }

// maxUploadBytes is the most bytes of one request with photos.
func (c Config) maxUploadBytes() int64 {
	return int64(journal.MaxEntryPhotos)*c.MaxPhotoBytes + maxFormBytes
}
