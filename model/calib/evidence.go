package calib

import (
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

// maxWeighed is how many tiles are weighed for one prediction. In a longer log it is the newest ones of each glaze and
// lot of the layering, so that a score does not take longer and longer as the log grows.
const maxWeighed = 200

// lever is a tile as something that moves predictions.
type lever struct {
	combination
	pull float64 // its weight times how far its reading is from the prior mean
}

// lever of a tile, worked out when it is first asked for.
func (c *Calibration) lever(tile int32) *lever {
	at := &c.remembered().levers()[tile]
	if known := at.Load(); known != nil {
		return known
	}
	r := c.rows[tile]
	at.CompareAndSwap(nil, &lever{c.combine(&r.designRow), r.h * (r.z - r.offset)})
	return at.Load()
}

// Evidence names the tiles that moved the prediction of a subject most, of those that are weighed and at most count of
// them.
func (s *Subject) Evidence(count int) []Influence {
	c, a := s.calibration, s.combination
	if s.bead != 0 {
		a.groups = append(slices.Clip(a.groups), entry{int32(s.bead), s.beadWeight * c.memo.scale[s.bead]})
	}
	with := c.covariances(&a)
	most := make([]Influence, 0, count+1) // from large to small; of equals the earlier comes first
	total := 0.0
	for _, tile := range c.weighed(s.groups[:s.own]) {
		l := c.lever(tile)
		moved := l.gain(&a, with) * l.pull
		total += math.Abs(moved)
		at := len(most)
		for at > 0 && math.Abs(most[at-1].Moved) < math.Abs(moved) {
			at--
		}
		if at < count {
			most = slices.Insert(most, at, Influence{Tile: c.rows[tile].name, Moved: moved})
			most = most[:min(len(most), count)]
		}
	}
	for i := range most {
		if total > 0 {
			most[i].Share = math.Abs(most[i].Moved) / total
		}
	}
	return most
}

// covariances of a combination with every coefficient by id, a pair's apart.
func (c *Calibration) covariances(a *combination) []float64 {
	with := make([]float64, c.r.n)
	for e, x := range a.fixed {
		floats.AddScaled(with, x, c.column(int32(e)))
	}
	for _, g := range a.groups {
		floats.AddScaled(with, g.x, c.column(g.id))
	}
	return with
}

// gain of a tile: the covariance of a prediction with the predictor of the tile.
func (l *lever) gain(a *combination, with []float64) float64 {
	cov := 0.0
	for e, x := range l.fixed {
		cov += x * with[e]
	}
	for _, g := range l.groups {
		cov += g.x * with[g.id]
	}
	if l.pair >= 0 && l.pair == a.pair {
		cov += l.pairSD * a.pairSD
	}
	return cov
}

// weighed gives the tiles to weigh for groups, in the order of time: all, or the newest of each of the glazes and lots.
func (c *Calibration) weighed(groups []entry) (all []int32) {
	var of []int32 // those with tiles, each once
	for _, g := range groups {
		if c.index.tilesOf[g.id] != nil && !slices.Contains(of, g.id) {
			of = append(of, g.id)
		}
	}
	if len(of) == 0 || len(c.rows) <= maxWeighed {
		for i := max(0, len(c.rows)-maxWeighed); i < len(c.rows); i++ {
			all = append(all, int32(i))
		}
		return all
	}
	for _, id := range of {
		tiles := c.index.tilesOf[id]
		all = append(all, tiles[max(0, len(tiles)-maxWeighed/len(of)):]...)
	}
	slices.Sort(all)
	return slices.Compact(all)
}
