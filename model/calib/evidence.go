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

// maxWeighed is how many tiles are weighed for one prediction. In a longer log it is the newest ones of each glaze and lot of the
// layering, so that a score does not take longer and longer as the log grows.
const maxWeighed = 200

// Evidence names the tiles that moved the prediction for these conditions most, at most count of them.
// Errors: *chem.FieldError.
func (c *Calibration) Evidence(q *Conditions, count int) ([]Influence, error) {
	if err := q.Check(); err != nil {
		return nil, err
	}
	k := c.ready()
	p := q.pattern(&c.prior, &c.core, &c.pairs)
	a := c.combine(k, &p)
	with := make([]float64, c.tri.n) // covariance of the prediction with every coefficient
	for i, x := range a.effects() {
		floats.AddScaled(with, x, k.fixed[i])
	}
	for _, e := range a.groups {
		floats.AddScaled(with, e.x, c.column(k, e.id))
	}
	most := make([]Influence, 0, max(count, 0)+1)
	total := 0.0
	for _, i := range c.weighed(&p) {
		r := c.rows[i]
		moved := c.gain(k, r, with, p.pair, a.pairPart) * r.h * (r.z - r.offset)
		total += math.Abs(moved)
		// Kept from large to small; of equals the earlier comes first.
		at := len(most)
		for at > 0 && math.Abs(most[at-1].Moved) < math.Abs(moved) {
			at--
		}
		if at < count {
			most = slices.Insert(most, at, Influence{Tile: r.name, Moved: moved})
			most = most[:min(len(most), count)]
		}
	}
	for i := range most {
		if total > 0 {
			most[i].Share = math.Abs(most[i].Moved) / total
		}
	}
	return most, nil
}

// gain of a tile: the covariance of a prediction with the predictor of the tile.
func (c *Calibration) gain(k *compiled, r *row, with []float64, pair int32, pairPart float64) float64 {
	cov := 0.0
	for _, e := range r.entries {
		cov += e.x * k.scale[e.id] * with[e.id]
	}
	if r.pair < 0 {
		return cov
	}
	top := 0.0 // what the pair takes from the others, less what it has of its own
	for _, e := range c.tops[r.pair].b {
		top += e.x * with[e.id]
	}
	if r.pair == pair {
		top -= pairPart
	}
	return cov - r.pairWeight*c.part(r.pair)*top
}

// weighed gives the tiles to weigh for a pattern, in the order of time: all, or the newest.
func (c *Calibration) weighed(p *pattern) (tiles []int32) {
	groups := 0
	for _, e := range p.entries {
		if c.index.tilesOf[e.id] != nil {
			groups++
		}
	}
	if groups == 0 || len(c.rows) <= maxWeighed {
		for i := max(0, len(c.rows)-maxWeighed); i < len(c.rows); i++ {
			tiles = append(tiles, int32(i))
		}
		return tiles
	}
	for _, e := range p.entries {
		of := c.index.tilesOf[e.id]
		tiles = append(tiles, of[max(0, len(of)-maxWeighed/groups):]...)
	}
	slices.Sort(tiles)
	return slices.Compact(tiles)
}
