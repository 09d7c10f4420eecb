package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"runtime"
	"runtime/debug"
)

// versionLine is what "version --json" prints.
type versionLine struct {
	Version  string `json:"version"`
	Revision string `json:"revision"` // of the source; "" when built outside a checkout
	Changed  bool   `json:"changed"`  // the source differed from the revision
	Go       string `json:"go"`
	Platform string `json:"platform"`
}

// version says which version this is, as the Go toolchain recorded it.
func version(_ context.Context, flags *flag.FlagSet, args []string, w streams) error {
	asJSON := flags.Bool("json", false, "one JSON object")
	if err := flags.Parse(args); err != nil {
		return err
	}
	line := versionLine{Version: "unknown", Go: runtime.Version(), Platform: runtime.GOOS + "/" + runtime.GOARCH}
	if info, ok := debug.ReadBuildInfo(); ok {
		line.Version = info.Main.Version
		for _, s := range info.Settings {
			switch s.Key {
			case "vcs.revision":
				line.Revision = s.Value
			case "vcs.modified":
				line.Changed = s.Value == "true"
			}
		}
	}
	if *asJSON {
		return json.NewEncoder(w.out).Encode(line)
	}
	text := "farbay " + line.Version
	if line.Revision != "" {
		text += " (" + line.Revision + ")"
	}
	_, err := fmt.Fprintf(w.out, "%s, %s, %s\n", text, line.Go, line.Platform)
	return err
}
