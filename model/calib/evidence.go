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
	for _, i := range c.weighed(k, &p) {
		r := c.rows[i]
		moved := k.gain(r, with, p.pair, a.pairPart) * r.h * (r.z - r.offset)
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
func (k *compiled) gain(r *row, with []float64, pair int32, pairPart float64) float64 {
	cov := 0.0
	for _, e := range r.entries {
		cov += e.x * k.scale[e.id] * with[e.id]
	}
	if r.pair < 0 {
		return cov
	}
	t := &k.tops[r.pair]
	top := 0.0
	for e, x := range &t.fixed {
		top += x * with[e]
	}
	for _, e := range t.groups {
		top += e.x * with[e.id]
	}
	if r.pair == pair {
		top -= t.part * pairPart
	}
	return cov - r.pairWeight*top
}

// weighed gives the tiles to weigh for a pattern, in the order of time.
func (c *Calibration) weighed(k *compiled, p *pattern) []int32 {
	if len(c.rows) <= maxWeighed {
		return k.tiles
	}
	groups := 0
	for _, e := range p.entries {
		if k.tilesOf[e.id] != nil {
			groups++
		}
	}
	if groups == 0 {
		return k.tiles[len(k.tiles)-maxWeighed:]
	}
	var out []int32
	for _, e := range p.entries {
		of := k.tilesOf[e.id]
		out = append(out, of[max(0, len(of)-maxWeighed/groups):]...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// index lists the tiles in the order of time, all and those of every glaze and lot.
func (c *Calibration) index(k *compiled) {
	k.tiles, k.tilesOf = make([]int32, len(c.rows)), make([][]int32, c.tri.n)
	for i, r := range c.rows {
		k.tiles[i] = int32(i)
		for _, e := range r.entries {
			if e.id < int32(NumEffects) {
				continue
			}
			if f := c.core.levels[e.id-int32(NumEffects)].factor; f == Glaze || f == Lot {
				k.tilesOf[e.id] = append(k.tilesOf[e.id], int32(i))
			}
		}
	}
}
