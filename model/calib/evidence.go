package calib

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
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

// lever of a tile, worked out when it is first asked for.
func (c *Calibration) lever(tile int32) *lever {
	at := &c.remembered().levers()[tile]
	if known := at.Load(); known != nil {
		return known
	}
	r := c.rows[tile]
	a := c.combine(&r.designRow, make([]entry, 0, len(r.entries)))
	a.entries = slices.Clip(a.entries)
	at.CompareAndSwap(nil, &lever{a, r.pair, r.h * (r.z - r.offset)})
	return at.Load()
}

// Evidence names the tiles that moved the prediction of a subject most, of those that are weighed and at most count of them.
func (c *Calibration) Evidence(s *Subject, count int) []Influence {
	r := &s.row
	a := c.combine(r, nil)
	with := c.covariances(&a)
	all := make([]Influence, 0, maxWeighed)
	total := 0.0
	for _, tile := range c.weighed(r) {
		l := c.lever(tile)
		moved := l.gain(&a, r.pair, with) * l.pull
		total += math.Abs(moved)
		all = append(all, Influence{Tile: c.rows[tile].name, Moved: moved})
	}
	// From large to small; of equals the earlier comes first.
	slices.SortStableFunc(all, func(a, b Influence) int { return cmp.Compare(math.Abs(b.Moved), math.Abs(a.Moved)) })
	all = slices.Clone(all[:min(len(all), max(count, 0))])
	for i := range all {
		if total > 0 {
			all[i].Share = math.Abs(all[i].Moved) / total
		}
	}
	return all
}

// covariances of a combination with every coefficient by id, a pair's apart.
func (c *Calibration) covariances(a *combination) []float64 {
	with := make([]float64, c.r.n)
	for _, e := range a.entries {
		floats.AddScaled(with, e.x, c.column(e.id))
	}
	return with
}

// gain of a tile: the covariance of a prediction with the predictor of the tile.
func (l *lever) gain(a *combination, pair int32, with []float64) float64 {
	cov := 0.0
	for _, e := range l.entries {
		cov += e.x * with[e.id]
	}
	if l.pair >= 0 && l.pair == pair {
		cov += l.pairSD * a.pairSD
	}
	return cov
}

// weighed gives the tiles to weigh for a subject, in the order of time: all, or the newest of each of its glazes and lots.
func (c *Calibration) weighed(r *designRow) (all []int32) {
	groups := 0
	for _, e := range r.entries {
		if c.index.tilesOf[e.id] != nil {
			groups++
		}
	}
	if groups == 0 || len(c.rows) <= maxWeighed {
		for i := max(0, len(c.rows)-maxWeighed); i < len(c.rows); i++ {
			all = append(all, int32(i))
		}
		return all
	}
	for _, e := range r.entries {
		tiles := c.index.tilesOf[e.id]
		all = append(all, tiles[max(0, len(tiles)-maxWeighed/groups):]...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}
