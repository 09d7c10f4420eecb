package server

import (
	"bytes"
	"flag"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
	"time"
)

func envOf(values map[string]string) Env {
	return func(name string) (string, bool) { v, set := values[name]; return v, set }
}

func load(t *testing.T, args []string, env map[string]string) (Config, error) {
	t.Helper()
	c := Default()
	f := flag.NewFlagSet("farbay", flag.ContinueOnError)
	f.SetOutput(io.Discard)
	c.Flags(f)
	_, err := c.Load(f, args, envOf(env))
	return c, err
}

func TestConfigOrder(t *testing.T) {
	c, err := load(t, []string{"--addr", "127.0.0.1:1", "--link-life", "10m"}, map[string]string{
		"FARBAY_ADDR": "127.0.0.1:2", "FARBAY_DATA": "/srv/farbay", "FARBAY_MAX_PHOTO_BYTES": "70000000", "FARBAY_SMTP_PASSWORD": "swordfish",
	})
	if err != nil {
		t.Fatal(err)
	}
	if c.Addr != "127.0.0.1:1" || c.DataDir != "/srv/farbay" || c.MaxPhotoBytes != 70_000_000 || c.LinkLife != 10*time.Minute ||
		c.SMTPPassword != "swordfish" || c.SMTPPort != 587 {
		t.Errorf("flag over variable over default: %+v", c)
	}
	if err := c.Validate(); err != nil {
		t.Errorf("without a mail server a password is of no use, and harmless: %v", err)
	}
	if _, err := load(t, nil, map[string]string{"FARBAY_SMTP_PORT": "smtp"}); err == nil || !strings.Contains(err.Error(), "FARBAY_SMTP_PORT") {
		t.Errorf("a variable that does not fit: %v", err)
	}
}

func TestConfigSecretFile(t *testing.T) {
	file := filepath.Join(t.TempDir(), "secret")
	if err := os.WriteFile(file, []byte("sword fish\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := load(t, nil, map[string]string{"FARBAY_SMTP_PASSWORD_FILE": file})
	if err != nil || c.SMTPPassword != "sword fish" {
		t.Errorf("password %q, %v", c.SMTPPassword, err)
	}
	if _, err := load(t, nil, map[string]string{"FARBAY_SMTP_PASSWORD_FILE": file, "FARBAY_SMTP_PASSWORD": "x"}); err == nil {
		t.Error("both are taken")
	}
	if _, err := load(t, nil, map[string]string{"FARBAY_SMTP_PASSWORD_FILE": file + "x"}); err == nil {
		t.Error("a missing file is taken")
	}
}

func TestConfigValidate(t *testing.T) {
	mail := func(c *Config) { c.SMTPHost, c.SMTPFrom = "post.example", "Shop <a@b.example>" }
	tests := []struct {
		name   string
		change func(*Config)
		says   string // "" when it is good
	}{
		{"default", func(*Config) {}, ""},
		{"https", func(c *Config) { c.BaseURL = "https://portal.example.org" }, ""},
		{"a slash at the end", func(c *Config) { c.BaseURL = "https://portal.example.org/" }, ""},
		{"a path", func(c *Config) { c.BaseURL = "https://portal.example.org/farbay" }, "--base-url"},
		{"no scheme", func(c *Config) { c.BaseURL = "portal.example.org" }, "--base-url"},
		{"another scheme", func(c *Config) { c.BaseURL = "ftp://portal.example.org" }, "--base-url"},
		{"no port", func(c *Config) { c.Addr = "localhost" }, "--addr"},
		{"no folder", func(c *Config) { c.DataDir = "" }, "--data"},
		{"no proxies", func(c *Config) { c.TrustedProxies = "" }, ""},
		{"a proxy", func(c *Config) { c.TrustedProxies = "10.0.0.0/8, 192.0.2.1/32" }, ""},
		{"a proxy's name", func(c *Config) { c.TrustedProxies = "proxy" }, "--trusted-proxies"},
		{"mail", mail, ""},
		{"no sender", func(c *Config) { mail(c); c.SMTPFrom = "" }, "--smtp-from"},
		{"no port for mail", func(c *Config) { mail(c); c.SMTPPort = 0 }, "--smtp-port"},
		{"unknown encryption", func(c *Config) { mail(c); c.SMTPTLS = "ssl" }, "--smtp-tls"},
		{"user without password", func(c *Config) { mail(c); c.SMTPUser = "u" }, "FARBAY_SMTP_PASSWORD"},
		{"password without user", func(c *Config) { mail(c); c.SMTPPassword = "p" }, "--smtp-user"},
		{"password unencrypted", func(c *Config) { mail(c); c.SMTPUser, c.SMTPPassword, c.SMTPTLS = "u", "p", TLSNone }, "unencrypted"},
		{"photos of 100 MB", func(c *Config) { c.MaxPhotoBytes = 100_000_000 }, ""},
		{"photos above 100 MB", func(c *Config) { c.MaxPhotoBytes = 100_000_001 }, "--max-photo-bytes"},
		{"no photos", func(c *Config) { c.MaxPhotoBytes = 0 }, "--max-photo-bytes"},
		{"videos of 4 GB", func(c *Config) { c.MaxVideoBytes = 4_000_000_000 }, ""},
		{"videos above 4 GB", func(c *Config) { c.MaxVideoBytes = 4_000_000_001 }, "--max-video-bytes"},
		{"uploads that last a minute", func(c *Config) { c.UploadLife = time.Minute }, "--upload-life"},
		{"no workers", func(c *Config) { c.Workers = 0 }, "--workers"},
		{"no session", func(c *Config) { c.SessionIdle = 0 }, "--session-idle"},
		{"a link for a week", func(c *Config) { c.LinkLife = 7 * 24 * time.Hour }, "--link-life"},
		{"unknown level", func(c *Config) { c.LogLevel = "loud" }, "--log-level"},
		{"unknown format", func(c *Config) { c.LogFormat = "xml" }, "--log-format"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			c := Default()
			test.change(&c)
			err := c.Validate()
			if (err == nil) != (test.says == "") || err != nil && !strings.Contains(err.Error(), test.says) {
				t.Errorf("Validate: %v, want %q", err, test.says)
			}
		})
	}
}

// Every field of Config has a flag or a variable, and each flag is in the help
// with its variable and its default.
func TestConfigIsDocumented(t *testing.T) {
	c := Default()
	f := flag.NewFlagSet("farbay", flag.ContinueOnError)
	c.Flags(f)
	flags := 0
	var help bytes.Buffer
	if err := PrintFlags(&help, f); err != nil {
		t.Fatal(err)
	}
	f.VisitAll(func(one *flag.Flag) {
		flags++
		entry := "--" + one.Name + " [A-Z:]+\\n +[^\\n]+\\n +" + EnvName(one.Name)
		if one.DefValue != "" {
			entry += ", default " + regexp.QuoteMeta(one.DefValue)
		}
		if !regexp.MustCompile(entry + "\\n").Match(help.Bytes()) {
			t.Errorf("the help lacks %s", entry)
		}
	})
	unflagged := 2 // SMTPPassword, Demo
	if fields := reflect.TypeFor[Config]().NumField(); fields != flags+unflagged {
		t.Errorf("Config has %d fields and %d flags; a field without a flag or a word on it", fields, flags)
	}
}
