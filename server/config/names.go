package config

import "strings"

// Names is a list of names: on the command line and in the environment with commas between, in the file an array.
type Names []string

// UnmarshalText takes the names.
func (n *Names) UnmarshalText(text []byte) error {
	*n = nil
	for name := range strings.SplitSeq(string(text), ",") {
		if name = strings.TrimSpace(name); name != "" {
			*n = append(*n, name)
		}
	}
	return nil
}
