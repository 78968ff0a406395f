package main

import (
	"fmt"
	"runtime/debug"
)

type versionCommand struct{}

// Run says the version of the module, and the revision that it was built from.
func (*versionCommand) Run(a *app) error {
	v := "unknown"
	if info, ok := debug.ReadBuildInfo(); ok {
		v = info.Main.Version
		for _, s := range info.Settings {
			if s.Key == "vcs.revision" && v == "(devel)" {
				v = s.Value
			}
		}
	}
	_, err := fmt.Fprintln(a.out, v)
	return err
}
