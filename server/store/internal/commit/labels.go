package commit

import "strings"

// JoinLabels puts a line feed before, between and after the labels, so that the joined form of one can be
// searched for in that of several.
func JoinLabels(labels []string) string {
	if len(labels) == 0 {
		return ""
	}
	return "\n" + strings.Join(labels, "\n") + "\n"
}
