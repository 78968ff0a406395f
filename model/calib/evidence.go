package calib

import (
	"math"
	"slices"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"

	"github.com/catchline/catchline/model/internal/vector"
)

// Influence is how far one tile moved a prediction.
type Influence struct {
	Tile string
	// Moved is by how much ln drive would change if the tile were as the prior expects it: its weight on this
	// prediction times how far its reading is from the prior mean.
	Moved float64
	// Share is the tile's part of all the movement by the tiles that were weighed, 0 to 1; see maxWeighed.
	Share float64
}

// maxWeighed is how many tiles are weighed for one prediction. In a longer log it is the newest ones of each glaze and lot of the
// layering, so that a score does not take longer and longer as the log grows.
const maxWeighed = 200

// lever is a tile as something that moves predictions.
type lever struct {
	combination
	pair int32
	pull float64 // its weight times how far its reading is from the prior mean
}

// lever of a tile, worked out when it is first asked for and kept at.
func (c *Calibration) lever(k *compiled, at *atomic.Pointer[lever], tile int32) *lever {
	if known := at.Load(); known != nil {
		return known
	}
	r := c.rows[tile]
	l := &lever{c.combine(k, &r.pattern), r.pair, r.h * (r.z - r.offset)}
	l.groups = slices.Clone(l.groups) // which had room for more
	at.CompareAndSwap(nil, l)
	return at.Load()
}

// evidence names the tiles that moved a prediction most, of those that are weighed and at most count of them. pair is that of the prediction, -1 for none.
// with is its covariance with every coefficient.
func (c *Calibration) evidence(a *combination, pair int32, with []float64, weighed []int32, count int) []Influence {
	k := c.compiled
	levers := k.levers()
	most := make([]Influence, 0, max(count, 0))
	total := 0.0
	for _, tile := range weighed {
		l := c.lever(k, &levers[tile], tile)
		moved := l.gain(a, pair, with) * l.pull
		total += math.Abs(moved)
		if len(most) == count && (count == 0 || math.Abs(moved) <= math.Abs(most[count-1].Moved)) {
			continue
		}
		// Kept from large to small; of equals the earlier comes first.
		if len(most) < count {
			most = append(most, Influence{})
		}
		at := len(most) - 1
		for ; at > 0 && math.Abs(most[at-1].Moved) < math.Abs(moved); at-- {
			most[at] = most[at-1]
		}
		most[at] = Influence{Tile: c.rows[tile].name, Moved: moved}
	}
	for i := range most {
		if total > 0 {
			most[i].Share = math.Abs(most[i].Moved) / total
		}
	}
	return most
}

// with is the covariance of a combination with every coefficient, a pair's apart, and at least as long as a vector.Row. It goes into room, or into more.
func (c *Calibration) with(a *combination, room []float64) []float64 {
	n, k := c.tri.n, c.compiled
	out := slices.Grow(room[:0], max(n, len(vector.Row{})))[:max(n, len(vector.Row{}))]
	clear(out)
	for i, x := range a.effects() {
		if x != 0 { // most layerings have nothing of some
			floats.AddScaled(out[:n], x, k.fixed[i])
		}
	}
	for _, e := range a.groups {
		floats.AddScaled(out[:n], e.x, c.column(k, e.id))
	}
	return out
}

// gain of a tile: the covariance of a prediction with the predictor of the tile.
func (l *lever) gain(a *combination, pair int32, with []float64) float64 {
	cov := vector.Dot(l.fixed[:], with)
	for _, e := range l.groups {
		cov += e.x * with[e.id]
	}
	if l.pair >= 0 && l.pair == pair {
		cov += l.pairPart * a.pairPart
	}
	return cov
}

// weighed gives the tiles to weigh for a prediction of groups, in the order of time: all, or the newest. They go into room.
func (c *Calibration) weighed(room []int32, of []entry) []int32 {
	groups := 0
	for _, e := range of {
		if c.index.tilesOf[e.id] != nil {
			groups++
		}
	}
	if groups == 0 || len(c.rows) <= maxWeighed {
		for i := max(0, len(c.rows)-maxWeighed); i < len(c.rows); i++ {
			room = append(room, int32(i))
		}
		return room
	}
	for _, e := range of {
		tiles := c.index.tilesOf[e.id]
		room = append(room, tiles[max(0, len(tiles)-maxWeighed/groups):]...)
	}
	slices.Sort(room)
	return slices.Compact(room)
}
