package calib

import (
	"cmp"
	"slices"
	"strings"
)

// index finds what belongs to the groups of a calibration. It does not change: a calibration with one tile more has an index of its own that shares most of
// this one, so that what a new tile costs does not grow with the log.
type index struct {
	pairsOf [][]pairOf // by id of a glaze, sorted
	tilesOf [][]int32  // by id of a glaze or lot, in the order of time: the newest maxWeighed
}

// pairOf is a pair of a glaze with another.
type pairOf struct {
	other Group
	pair  int32
}

// newIndex goes through all pairs and tiles.
func (c *Calibration) newIndex() *index {
	n := int(NumEffects) + len(c.core.levels)
	x := &index{make([][]pairOf, n), make([][]int32, n)}
	for i := range c.pairs.levels {
		if a, b := c.glazesOf(int32(i)); a > 0 {
			x.pairsOf[a] = append(x.pairsOf[a], pairOf{b, int32(i)})
			x.pairsOf[b] = append(x.pairsOf[b], pairOf{a, int32(i)})
		}
	}
	for _, of := range x.pairsOf {
		slices.SortFunc(of, func(a, b pairOf) int { return cmp.Compare(a.other, b.other) })
	}
	for i := len(c.rows) - 1; i >= 0; i-- {
		for id := range c.weighedBy(c.rows[i]) {
			if len(x.tilesOf[id]) < maxWeighed {
				x.tilesOf[id] = append(x.tilesOf[id], int32(i))
			}
		}
	}
	for _, of := range x.tilesOf {
		slices.Reverse(of)
	}
	return x
}

// with is the index of a calibration that has got one tile more, and with it perhaps groups and a pair.
func (x *index) with(c *Calibration) *index {
	n, last := int(NumEffects)+len(c.core.levels), len(c.rows)-1
	next := &index{make([][]pairOf, n), make([][]int32, n)}
	copy(next.pairsOf, x.pairsOf)
	copy(next.tilesOf, x.tilesOf)
	r := c.rows[last]
	if r.pair >= 0 {
		if a, b := c.glazesOf(r.pair); a > 0 {
			for _, glazes := range [][2]Group{{a, b}, {b, a}} {
				of := next.pairsOf[glazes[0]]
				if at, known := find(of, glazes[1]); !known {
					next.pairsOf[glazes[0]] = slices.Insert(slices.Clone(of), at, pairOf{glazes[1], r.pair})
				}
			}
		}
	}
	for id := range c.weighedBy(r) {
		of := append(slices.Clip(next.tilesOf[id]), int32(last))
		next.tilesOf[id] = of[max(0, len(of)-maxWeighed):]
	}
	return next
}

// weighedBy goes through the glazes and lots of a tile, by id.
func (c *Calibration) weighedBy(r *row) func(yield func(id int32) bool) {
	return func(yield func(id int32) bool) {
		for _, e := range r.entries {
			if e.id < int32(NumEffects) {
				continue
			}
			if f := c.core.levels[e.id-int32(NumEffects)].factor; (f == Glaze || f == Lot) && !yield(e.id) {
				return
			}
		}
	}
}

// pairJoint stands between the names of two glazes in the name of their pair.
const pairJoint = " + "

// PairName is the name under which two glazes are a pair, whichever is on top.
func PairName(a, b string) string {
	if a > b {
		a, b = b, a
	}
	return a + pairJoint + b
}

// glazesOf finds the glazes of a pair in its name; 0 where the calibration does not know both.
func (c *Calibration) glazesOf(pair int32) (a, b Group) {
	name := c.pairs.levels[pair].name
	for at := range name {
		if !strings.HasPrefix(name[at:], pairJoint) {
			continue
		}
		a, b := c.Group(Glaze, name[:at]), c.Group(Glaze, name[at+len(pairJoint):])
		if a > 0 && b > 0 {
			return a, b
		}
	}
	return 0, 0
}

// pair finds the pair of two glazes. Of many with one and the same glaze, that had better be the first: its pairs are at hand then.
func (x *index) pair(a, b Group) (pair int32, ok bool) {
	of := x.pairsOf[a]
	at, ok := find(of, b)
	if !ok {
		return 0, false
	}
	return of[at].pair, true
}

// find gives the place of a glaze among the pairs of another.
func find(of []pairOf, other Group) (at int, ok bool) {
	low, high := 0, len(of)
	for low < high {
		if middle := (low + high) / 2; of[middle].other < other {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low, low < len(of) && of[low].other == other
}
