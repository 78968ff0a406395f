package chem

import (
	"cmp"
	"slices"
	"strings"

	"github.com/agnivade/levenshtein"
)

// nearest gives up to n of the known names, those most like name first: names that contain it,
// then by edit distance, then by the alphabet, so that the answer never depends on the order of known.
func nearest(name string, known []string, n int) []string {
	type scored struct {
		name  string
		score int
	}
	want := fold(name)
	all := make([]scored, 0, len(known))
	// The distance takes time in the product of the lengths; no name is this long.
	if len(want) > 100 {
		want = strings.ToValidUTF8(want[:100], "")
	}
	for _, k := range known {
		s := levenshtein.ComputeDistance(want, fold(k))
		if len(want) >= 3 && strings.Contains(fold(k), want) {
			s = 0
		}
		all = append(all, scored{k, s})
	}
	slices.SortFunc(all, func(a, b scored) int {
		return cmp.Or(cmp.Compare(a.score, b.score), cmp.Compare(a.name, b.name))
	})
	out := make([]string, 0, n)
	for _, s := range all[:min(n, len(all))] {
		out = append(out, s.name)
	}
	return out
}

// fold makes names comparable: lower case, runs of white space as one blank.
func fold(name string) string {
	return strings.ToLower(strings.Join(strings.Fields(name), " "))
}
