// Command farbay is the build portal of a restoration shop: one binary that
// serves it, fills a demo, and looks after its data folder.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"farbay/media"
	"farbay/server"
)

// command is one sub-command.
type command struct {
	name    string
	args    string // as shown in its help, after the name
	summary string // one line
	// run does it. It binds its own flags to flags and parses args with them.
	run func(ctx context.Context, flags *flag.FlagSet, args []string, w streams) error
}

// streams are what a command reads its settings from and writes to.
type streams struct {
	out io.Writer
	err io.Writer
	env server.Env
}

// commands are all of them, in the order of the help.
func commands() []command {
	return []command{
		{"serve", "", "serve a shop from its data folder", serve},
		{"demo", "", "fill an empty folder with an invented shop and serve it", demo},
		{"import", "FOLDER-OR-ZIP", "take a folder or ZIP of photos into a build", importPhotos},
		{"check", "", "look for anything that breaks a promise", check},
		{"person", "add|list|end|link", "look after accounts", person},
		{"books", "FILE.zip", "write the books of a period for the accountant", books},
		{"verify", "RECEIPT [PAPER]", "check a receipt, and the paper it is about, without any server", verify},
		{"key", "show|new", "show the proof log's public keys, or make a new one", key},
		{"version", "", "say which version this is", version},
	}
}

// errUsage ends a command whose mistake has been explained already.
var errUsage = errors.New("usage")

func main() {
	media.RunChild() // or this is the process that decodes one HEIC
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], streams{out: os.Stdout, err: os.Stderr, env: os.LookupEnv})
	stop()
	os.Exit(code)
}

// run finds the command and does it. It returns the exit code: 0 when done, 2
// for a wrong use, 1 for any other failure.
func run(ctx context.Context, args []string, w streams) int {
	if len(args) == 0 {
		usage(w.err)
		return 2
	}
	switch args[0] {
	case "help", "-h", "-help", "--help":
		usage(w.out)
		return 0
	}
	for _, c := range commands() {
		if c.name == args[0] {
			return c.do(ctx, args[1:], w)
		}
	}
	fmt.Fprintf(w.err, "farbay: there is no command %q. \"farbay help\" lists them.\n", args[0])
	return 2
}

func (c command) do(ctx context.Context, args []string, w streams) int {
	flags := flag.NewFlagSet("farbay "+c.name, flag.ContinueOnError)
	flags.SetOutput(io.Discard) // what is wrong is said once, below
	err := c.run(ctx, flags, args, w)
	if errors.Is(err, flag.ErrHelp) {
		err = c.help(flags, w.out)
	}
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errUsage):
		return 2
	}
	fmt.Fprintf(w.err, "farbay %s: %v\n", c.name, err)
	return 1
}

func (c command) help(flags *flag.FlagSet, w io.Writer) error {
	fmt.Fprintf(w, "Usage: farbay %s %s\n\n%s.\n\nFlags, the variable that sets each, and its default:\n", c.name, strings.TrimSpace(c.args+" [flags]"), c.summary)
	err := server.PrintFlags(w, flags)
	if flags.Lookup("smtp-host") != nil {
		fmt.Fprint(w, server.SecretsHelp)
	}
	return err
}

func usage(w io.Writer) {
	fmt.Fprint(w, "Farbay is the build portal of a restoration shop.\n\nUsage: farbay COMMAND [flags]\n\nCommands:\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n", c.name, c.summary)
	}
	fmt.Fprint(w, "\n\"farbay COMMAND --help\" lists the flags of one.\n")
}
