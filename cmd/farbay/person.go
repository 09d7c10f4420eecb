package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
)

// commandLine is who acts when the office works on the server itself: whoever
// can write to the data folder.
var commandLine = flow.Actor{Person: journal.Person{Name: "command line", Role: journal.Office}}

func setUpPath(token string) string { return flow.LinkPath(journal.LinkSetPassword, token) }

// personFlags are what "farbay person" understands besides the settings.
type personFlags struct {
	role, name, email, phone string
	asJSON                   bool
}

// person looks after accounts: add, list, end, link. It may run beside a
// server on the same folder.
func person(ctx context.Context, flags *flag.FlagSet, args []string, w streams) (err error) {
	acts := map[string]func(context.Context, *server.App, server.Config, personFlags, streams) error{
		"add": personAdd, "list": personList, "end": personEnd, "link": personLink,
	}
	act := acts["list"]
	known := false
	if len(args) > 0 && args[0][:min(1, len(args[0]))] != "-" {
		act, known = acts[args[0]]
		if !known {
			fmt.Fprintf(w.err, "farbay person: %q is none of add, list, end, link.\n", args[0])
			return errUsage
		}
		args = args[1:]
	}
	cfg := server.Default()
	cfg.LogLevel = "warn"
	var p personFlags
	flags.StringVar(&cfg.DataDir, "data", cfg.DataDir, "`folder` with the database and the photos")
	flags.StringVar(&cfg.BaseURL, "base-url", "http://"+cfg.Addr, "`address` people use, for links")
	flags.StringVar(&p.role, "role", "", "add: `role`, one of office, floor, owner")
	flags.StringVar(&p.name, "name", "", "add: the person's `name`")
	flags.StringVar(&p.email, "email", "", "add, end, link: the person's e-mail `address`")
	flags.StringVar(&p.phone, "phone", "", "add: the person's phone `number`")
	flags.BoolVar(&p.asJSON, "json", false, "list: one JSON object a line")
	rest, err := cfg.Load(flags, args, w.env)
	if err != nil {
		return err
	}
	if len(rest) > 0 || (!known && flags.NFlag() > 0 && !p.asJSON && p.email != "") {
		fmt.Fprintln(w.err, "farbay person: say add, list, end or link first, then the flags.")
		return errUsage
	}
	app, err := server.Open(cfg)
	if err != nil {
		return err
	}
	defer func() {
		if closeErr := app.Close(); err == nil {
			err = closeErr
		}
	}()
	return act(ctx, app, cfg, p, w)
}

func personAdd(ctx context.Context, app *server.App, cfg server.Config, f personFlags, w streams) error {
	p, err := app.Steps().AddPerson(ctx, commandLine, journal.Person{
		Name: f.name, Email: f.email, Phone: f.phone, Role: journal.Role(f.role),
	})
	if err != nil {
		return explained(err)
	}
	fmt.Fprintf(w.out, "Added %s (%s, %s).\n", p.Name, p.Role, p.Email)
	return printLink(ctx, app, cfg, p, w)
}

func personLink(ctx context.Context, app *server.App, cfg server.Config, f personFlags, w streams) error {
	p, err := byEmail(ctx, app, f.email)
	if err != nil {
		return err
	}
	return printLink(ctx, app, cfg, p, w)
}

// printLink makes a link and prints it, for whoever runs the command to hand
// over: people of the shop set a password with it, owners sign in.
func printLink(ctx context.Context, app *server.App, cfg server.Config, p journal.Person, w streams) error {
	token, err := newToken()
	if err != nil {
		return err
	}
	life, use := cfg.InviteLife, "sets a password"
	if p.Role == journal.Owner {
		life, use = cfg.LinkLife, "signs in"
	}
	path, err := app.Steps().MakeLink(ctx, commandLine, p.ID, flow.NewLink{Token: token, Life: life})
	if err != nil {
		return explained(err)
	}
	until := time.Now().Add(life).Format("2006-01-02 15:04 MST")
	_, err = fmt.Fprintf(w.out, "This link %s, once, until %s:\n\n  %s%s\n\n", use, until, app.URL(), path)
	return err
}

func personEnd(ctx context.Context, app *server.App, _ server.Config, f personFlags, w streams) error {
	p, err := byEmail(ctx, app, f.email)
	if err != nil {
		return err
	}
	if err := app.Steps().EndPerson(ctx, commandLine, p.ID); err != nil {
		return explained(err)
	}
	_, err = fmt.Fprintf(w.out, "The account of %s is closed, and signed out everywhere.\n", p.Name)
	return err
}

// personLine is one account as "list --json" prints it.
type personLine struct {
	ID       string     `json:"id"`
	Name     string     `json:"name"`
	Email    string     `json:"email"`
	Phone    string     `json:"phone"`
	Role     string     `json:"role"`
	Created  time.Time  `json:"created_at"`
	Ended    *time.Time `json:"ended_at"`
	Password bool       `json:"has_password"`
}

func personList(ctx context.Context, app *server.App, _ server.Config, f personFlags, w streams) error {
	all, err := app.Steps().PeopleShow(ctx, commandLine)
	if err != nil {
		return err
	}
	lines := json.NewEncoder(w.out)
	for _, v := range all {
		p := v.Person
		if f.asJSON {
			line := personLine{
				ID: string(p.ID), Name: p.Name, Email: p.Email, Phone: p.Phone, Role: string(p.Role),
				Created: p.CreatedAt, Password: p.PasswordHash != "",
			}
			if !p.Active() {
				line.Ended = &p.EndedAt
			}
			err = lines.Encode(line)
		} else {
			state := ""
			if !p.Active() {
				state = "  closed"
			}
			_, err = fmt.Fprintf(w.out, "%-7s %-30s %s%s\n", p.Role, p.Name, p.Email, state)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func byEmail(ctx context.Context, app *server.App, email string) (p journal.Person, err error) {
	if email == "" {
		return p, errors.New("please say whose account, with --email")
	}
	err = app.Steps().Store.Read(ctx, func(r flow.Reads) error {
		p, err = r.PersonByEmail(journal.NormalEmail(email))
		return err
	})
	if journal.CodeOf(err) == journal.NotFound {
		return p, fmt.Errorf("there is no account with the address %s", email)
	}
	return p, err
}

// explained puts the sentences beside the fields of an error into one line.
func explained(err error) error {
	var ours *journal.Error
	if !errors.As(err, &ours) || len(ours.Fields) == 0 {
		return err
	}
	text := ""
	for field, sentence := range ours.Fields {
		text += fmt.Sprintf("\n  --%s: %s", field, sentence)
	}
	return errors.New("this does not fit:" + text)
}
