package client

import "runtime/debug"

// Version is that of this module as it was built into the program, or the revision that it was built from: the client's and the server's, as
// they come together.
func Version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && v == "(devel)" {
			v = s.Value
		}
	}
	return v
}
