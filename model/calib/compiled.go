package calib

import (
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"github.com/catchline/catchline/model/internal/vector"
)

// compiled is what a calibration works out for predictions. A prediction asks for the mean and variance of a sparse combination of
// coefficients. From R alone that is a solve of the whole triangle, in a time that grows with the square of the number of groups. Here the
// columns of the covariance (RᵀR)⁻¹ are worked out when first asked for, and kept: then a prediction is a few products, however many
// groups and tiles there are. Memory goes with the number of groups that are asked for.
type compiled struct {
	once    sync.Once
	θ       []float64 // by id
	scale   []float64 // by id
	columns []atomic.Pointer[[]float64]
	fixed   [NumEffects][]float64
	rows    [NumEffects]*vector.Row        // of the fixed effects
	slope   vector.Row                     // θ of the fixed effects, with the means of their priors
	tops    []atomic.Pointer[denseTop]     // by pair, worked out when first asked for
	levers  func() []atomic.Pointer[lever] // by tile, likewise; most calibrations of a growing log explain nothing
	missing [NumFactors]float64            // variance of a factor's effect where its group is not named, by unit of squared weight

	settings    sync.Map // of Circumstances: *Setting
	numSettings atomic.Int32
}

// ready gives the calibration's compiled form.
func (c *Calibration) ready() *compiled {
	k := c.compiled
	k.once.Do(func() {
		n := c.tri.n
		k.θ, k.columns = make([]float64, n), make([]atomic.Pointer[[]float64], n)
		k.scale = scales(&c.prior, &c.core, &c.widths)
		for i, v := range c.θ {
			k.θ[c.id(i)] = v
		}
		for e := range k.fixed {
			k.fixed[e] = c.column(k, int32(e))
			k.rows[e] = rowOf(k.fixed[e])
			k.slope[e] = k.θ[e] + c.prior.Effects[e].Mean/k.scale[e]
		}
		k.tops = make([]atomic.Pointer[denseTop], len(c.tops))
		k.levers = sync.OnceValue(func() []atomic.Pointer[lever] { return make([]atomic.Pointer[lever], len(c.rows)) })
		for f, used := range c.used {
			if used {
				k.missing[f] = c.widths.spread[f] * c.widths.spread[f]
			}
		}
	})
	return k
}

// column of the covariance of the standardised coefficients, by id.
func (c *Calibration) column(k *compiled, id int32) []float64 {
	if known := k.columns[id].Load(); known != nil {
		return *known
	}
	a := make([]float64, c.tri.n)
	a[c.position(id)] = 1
	c.tri.halfSolve(a)
	c.tri.backSolve(a)
	byID := make([]float64, len(a), max(len(a), len(vector.Row{})))
	for i, v := range a {
		byID[c.id(i)] = v
	}
	k.columns[id].CompareAndSwap(nil, &byID)
	return *k.columns[id].Load()
}

// rowOf is the start of a column: what concerns the fixed effects, and some more.
func rowOf(column []float64) *vector.Row { return (*vector.Row)(column[:len(vector.Row{})]) }

// fewGroups is how many groups a prediction has room for without allocating.
const fewGroups = 24

// bench is what predictions need room for, one after the other.
type bench struct {
	weights [int(NumEffects) + fewGroups]float64
	rows    [int(NumEffects) + fewGroups]*vector.Row
}

// combination is a sparse combination of the standardised coefficients: all fixed effects, and groups sorted by id; a pair's own
// coefficient is eliminated, so that it leaves a mean and a standard deviation and what it takes from the others.
type combination struct {
	fixed          vector.Row
	groups         []entry
	mean, pairPart float64
}

// effects are the coefficients of the fixed effects.
func (a *combination) effects() []float64 { return a.fixed[:NumEffects] }

// combine lays a pattern out.
func (c *Calibration) combine(k *compiled, p *pattern) combination {
	out := combination{mean: p.offset}
	var b []entry
	if p.pair >= 0 {
		t := c.tops[p.pair]
		out.pairPart = p.pairWeight * c.part(p.pair)
		out.mean += out.pairPart * t.y
		b = t.b
	}
	a := p.entries
	out.groups = make([]entry, 0, len(a)+len(b))
	for len(a) > 0 || len(b) > 0 { // both are sorted by id
		var e entry
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].id < b[0].id:
			e, a = entry{a[0].id, a[0].x * k.scale[a[0].id]}, a[1:]
		case len(a) == 0 || b[0].id < a[0].id:
			e, b = entry{b[0].id, -out.pairPart * b[0].x}, b[1:]
		default:
			e, a, b = entry{a[0].id, a[0].x*k.scale[a[0].id] - out.pairPart*b[0].x}, a[1:], b[1:]
		}
		if e.id < int32(NumEffects) {
			out.fixed[e.id] = e.x
		} else {
			out.groups = append(out.groups, e)
		}
		out.mean += e.x * k.θ[e.id]
	}
	return out
}

// variance of a combination. Of two groups the column of the earlier one is read: what many predictions have in common comes first and is at hand.
func (c *Calibration) variance(k *compiled, a *combination, room *bench) float64 {
	weights, rows := room.weights[:NumEffects], room.rows[:NumEffects]
	for e, x := range a.effects() {
		weights[e], rows[e] = 0.5*x, k.rows[e]
	}
	among := 0.0
	for i, e := range a.groups {
		column := c.column(k, e.id)
		cross := 0.5 * e.x * column[e.id]
		for _, other := range a.groups[i+1:] {
			cross += other.x * column[other.id]
		}
		among += e.x * cross
		weights, rows = append(weights, e.x), append(rows, rowOf(column))
	}
	return a.pairPart*a.pairPart + 2*(among+vector.Bilinear(weights, rows, &a.fixed))
}

// covariance of a combination with one coefficient.
func (c *Calibration) covariance(k *compiled, a *combination, id int32) float64 {
	row, sum := c.column(k, id), 0.0
	for j, x := range a.effects() {
		sum += x * row[j]
	}
	for _, e := range a.groups {
		sum += e.x * row[e.id]
	}
	return sum
}

// Group is a group as one calibration knows it: to find it once by its name saves looking it up for every prediction. The zero
// Group is one that the calibration does not know. Not for pairs.
type Group int32

// Group finds a group by its name.
func (c *Calibration) Group(f Factor, name string) Group {
	if i, ok := c.core.find(f, name); ok {
		return Group(int(NumEffects) + i)
	}
	return 0
}

// MaxShares is how many glazes Predictions have room for.
const MaxShares = 8

// denseTop is what a pair of weight 1 adds to a combination: a mean, a standard deviation, and what it takes from the others.
type denseTop struct {
	mean, part float64
	fixed      [NumEffects]float64
	groups     []entry
	row        vector.Row // covariance of what it takes with the fixed effects
	variance   float64    // of that
}

// part is what of a pair of weight 1 its own row of R leaves: its standard deviation.
func (c *Calibration) part(pair int32) float64 {
	return c.pairs.levels[pair].scale(&c.widths) / c.tops[pair].d
}

// top is what predictions ask of a pair.
func (c *Calibration) top(k *compiled, pair int32) *denseTop {
	if known := k.tops[pair].Load(); known != nil {
		return known
	}
	of, t := c.tops[pair], &denseTop{part: c.part(pair)}
	t.mean = t.part * of.y
	for _, e := range of.b {
		x := t.part * e.x
		t.mean -= x * k.θ[e.id]
		if e.id < int32(NumEffects) {
			t.fixed[e.id] = x
		} else {
			t.groups = append(t.groups, entry{e.id, x})
		}
	}
	for e := range NumEffects {
		t.row[e] = t.covariance(c, k, int32(e))
	}
	for e, x := range &t.fixed {
		t.variance += x * t.row[e]
	}
	for _, e := range t.groups {
		t.variance += e.x * t.covariance(c, k, e.id)
	}
	k.tops[pair].CompareAndSwap(nil, t)
	return k.tops[pair].Load()
}

// covariance of what a pair takes from the others with one coefficient.
func (t *denseTop) covariance(c *Calibration, k *compiled, id int32) float64 {
	row, sum := c.column(k, id), 0.0
	for e, x := range &t.fixed {
		sum += x * row[e]
	}
	for _, e := range t.groups {
		sum += e.x * row[e.id]
	}
	return sum
}

// Linear is the posterior mean and covariance of all coefficients, in the order of Coefficients; with Tail, all that a prediction is made
// from, for programs that check it.
func (c *Calibration) Linear() (mean []float64, covariance *mat.SymDense) {
	core, n := c.tri.n, c.tri.n+len(c.tops)
	halves, parts := make([][]float64, n), make([]float64, n)
	mean = make([]float64, n)
	for i := range n {
		p := pattern{pair: -1}
		switch {
		case i < int(NumEffects):
			p.entries = []entry{{int32(i), 1}}
			p.offset = c.prior.Effects[i].Mean
		case i < core:
			p.entries = []entry{{int32(i), 1}}
		default:
			p.pair, p.pairWeight = int32(i-core), 1
		}
		halves[i] = make([]float64, core)
		mean[i], parts[i] = c.project(halves[i], &p)
		c.tri.halfSolve(halves[i])
	}
	covariance = mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v := floats.Dot(halves[i], halves[k])
			if i == k {
				v += parts[i] * parts[i]
			}
			covariance.SetSym(i, k, v)
		}
	}
	return mean, covariance
}

// Tail is the scale and degrees of freedom of a prediction whose linear predictor has a variance, for a tile whose physics has a standard deviation.
func (c *Calibration) Tail(variance, physicsSD float64) (scale, df float64) {
	return c.blend.of(variance, c.widths.piece2(physicsSD))
}
