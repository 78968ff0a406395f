package calib

import (
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// memo is what a calibration works out when it is first asked for, and keeps. A prediction asks for the mean and
// variance of a sparse combination of coefficients. From R alone that is a solve of the whole triangle, in a time that
// grows with the square of the number of groups. Here the columns of the covariance (RᵀR)⁻¹ are kept: then a prediction
// is a few products, however many groups and tiles there are. Memory goes with the number of groups that are asked for.
type memo struct {
	once    sync.Once
	θ       []float64                      // by id
	scale   []float64                      // by id
	columns []atomic.Pointer[[]float64]    // of the covariance, by id
	fixed   [NumEffects]*effectsRow        // its part among the fixed effects
	spread2 [NumFactors]float64            // variance of an effect of a factor whose group is not known
	levers  func() []atomic.Pointer[lever] // by tile; most calibrations of a growing log explain nothing
}

// effectsRow is the beginning of a column of the covariance: those with the fixed effects.
type effectsRow = [NumEffects]float64

// remembered gives the memo.
func (c *Calibration) remembered() *memo {
	k := c.memo
	k.once.Do(func() {
		k.θ, k.columns = make([]float64, c.r.n), make([]atomic.Pointer[[]float64], c.r.n)
		k.scale = scales(&c.prior, &c.core, &c.components)
		for i, v := range c.θ {
			k.θ[c.id(i)] = v
		}
		for e := range k.fixed {
			k.fixed[e] = (*effectsRow)(c.column(int32(e)))
		}
		for f, used := range c.used {
			if used {
				k.spread2[f] = c.components.Spread[f] * c.components.Spread[f]
			}
		}
		k.levers = sync.OnceValue(func() []atomic.Pointer[lever] { return make([]atomic.Pointer[lever], len(c.rows)) })
	})
	return k
}

// column of the covariance of the standardised coefficients, by id.
func (c *Calibration) column(id int32) []float64 {
	if known := c.memo.columns[id].Load(); known != nil {
		return *known
	}
	return c.solveColumn(id)
}

// solveColumn works a column out and keeps it.
func (c *Calibration) solveColumn(id int32) []float64 {
	a := make([]float64, c.r.n)
	a[c.position(id)] = 1
	c.r.halfSolve(a)
	c.r.backSolve(a)
	byID := make([]float64, len(a))
	for i, v := range a {
		byID[c.id(i)] = v
	}
	at := &c.memo.columns[id]
	at.CompareAndSwap(nil, &byID)
	return *at.Load()
}

// combination is a combination of the standardised coefficients: of all fixed effects, and of some groups, which may
// come more than once. A pair's own coefficient is eliminated: it leaves a mean and a standard deviation, and takes
// something from the others.
type combination struct {
	fixed            [NumEffects]float64
	groups           []entry
	own              int     // how many of them are not what the pair takes
	pair             int32   // -1: none
	constant, pairSD float64 // what comes to the mean and the standard deviation besides
}

// combine standardises a design row.
func (c *Calibration) combine(r *designRow) combination {
	k := c.remembered()
	a := combination{constant: r.offset, pair: -1}
	for _, e := range r.entries {
		x := e.x * k.scale[e.id]
		if e.id < int32(NumEffects) {
			a.fixed[e.id] = x
		} else {
			a.groups = append(a.groups, entry{e.id, x})
		}
	}
	if a.own = len(a.groups); r.pair >= 0 {
		c.combinePair(&a, r.pair, r.pairWeight)
	}
	return a
}

// combinePair adds a pair.
func (c *Calibration) combinePair(a *combination, pair int32, weight float64) {
	t := c.tops[pair]
	a.pair, a.pairSD = pair, weight*c.pairSD(pair)
	a.constant += a.pairSD * t.y
	for _, e := range t.b {
		if x := a.pairSD * e.x; e.id < int32(NumEffects) {
			a.fixed[e.id] -= x
		} else {
			a.groups = append(a.groups, entry{e.id, -x})
		}
	}
}

// pairSD is the standard deviation that a pair of weight 1 has left after its own row of R.
func (c *Calibration) pairSD(pair int32) float64 {
	return c.pairs.levels[pair].scale(&c.components) / c.tops[pair].d
}

// mean of a combination.
func (c *Calibration) mean(a *combination) float64 {
	mean := a.constant
	for e, x := range a.fixed {
		mean += x * c.memo.θ[e]
	}
	for _, g := range a.groups {
		mean += g.x * c.memo.θ[g.id]
	}
	return mean
}

// variance of a combination: Σ x(i) x(k) cov(i,k), each two once.
func (c *Calibration) variance(a *combination) float64 {
	sum := 0.0
	for e, x := range a.fixed {
		row := c.memo.fixed[e]
		half := x * row[e] / 2
		for f, other := range a.fixed[:e] {
			half += other * row[f]
		}
		sum += x * half
	}
	for i, g := range a.groups {
		column := c.column(g.id)
		half := g.x * column[g.id] / 2
		for e, x := range (*effectsRow)(column) {
			half += x * a.fixed[e]
		}
		for _, other := range a.groups[:i] {
			half += other.x * column[other.id]
		}
		sum += g.x * half
	}
	return 2*sum + a.pairSD*a.pairSD
}

// Linear is the posterior mean and covariance of all coefficients, in the order of Coefficients; with Tail, all that a
// prediction is made from, for programs that check it.
func (c *Calibration) Linear() (mean []float64, covariance *mat.SymDense) {
	core, n := c.r.n, c.r.n+len(c.tops)
	halves, parts := make([][]float64, n), make([]float64, n)
	mean = make([]float64, n)
	for i := range n {
		p := designRow{pair: -1}
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
		c.r.halfSolve(halves[i])
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

// Tail is the scale and degrees of freedom of a prediction whose linear predictor has a variance, for a tile whose
// physics has a standard deviation.
func (c *Calibration) Tail(variance, physicsSD float64) (scale, df float64) {
	return c.convolution.Of(variance, c.components.piece2(physicsSD))
}
