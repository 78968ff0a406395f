package calib

import (
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Joint is the posterior of the mean corrections of several conditions together: what is known of each layering itself,
// without the noise of tiles.
type Joint struct {
	Mean       []float64
	Covariance *mat.SymDense
	Noise2     []float64 // squared scale of the t error of one more tile of each
	DF         float64   // of that error
}

// Posterior of several conditions together. Groups that the calibration does not know, if shared between conditions,
// are shared in the covariance. A factor that no tile names counts only where these conditions differ in it.
// Errors: *fault.Error.
func (c *Calibration) Posterior(qs []Conditions) (*Joint, error) {
	// Unknown groups are given columns that hold their prior alone.
	known := *c
	var one [NumFactors]string
	for i := range qs {
		if err := qs[i].Check(); err != nil {
			return nil, err
		}
		qs[i].visit(func(f Factor, s Share) {
			if one[f] == "" {
				one[f] = s.Name
			}
			known.used[f] = known.used[f] || s.Name != one[f]
		})
	}
	for i := range qs {
		known.admit(&qs[i])
	}
	n := len(qs)
	j := &Joint{Mean: make([]float64, n), Covariance: mat.NewSymDense(max(n, 1), nil), Noise2: make([]float64, n), DF: c.components.DF}
	pairs, pairParts, halves := make([]int32, n), make([]float64, n), make([][]float64, n)
	for i := range qs {
		p := qs[i].designRow(&known.prior, &known.core, &known.pairs)
		a := make([]float64, known.r.n)
		j.Mean[i], pairParts[i] = known.project(a, &p)
		known.r.halfSolve(a)
		halves[i], pairs[i] = a, p.pair
		j.Noise2[i] = c.components.piece2(qs[i].PhysicsSD) + p.missingVariance(&c.used, &c.components)
	}
	for i := range qs {
		for k := i; k < n; k++ {
			v := floats.Dot(halves[i], halves[k])
			if pairs[i] >= 0 && pairs[i] == pairs[k] {
				v += pairParts[i] * pairParts[k]
			}
			j.Covariance.SetSym(i, k, v)
		}
	}
	return j, nil
}

// admit gives the groups of these conditions columns, if they are of a factor that is in use and have none.
func (c *Calibration) admit(q *Conditions) {
	q.visit(func(f Factor, s Share) {
		switch {
		case f == Pair:
			if _, ok := c.pairs.find(f, s.Name); !ok {
				c.pairs = c.pairs.with(level{f, s.Name, s.PriorSD})
				c.tops = append(c.tops[:len(c.tops):len(c.tops)], &pairTop{d: 1})
			}
		case c.used[f]:
			if _, ok := c.core.find(f, s.Name); !ok {
				c.core = c.core.with(level{f, s.Name, s.PriorSD})
				c.r = c.r.grow()
				c.θ = append([]float64{0}, c.θ...)
			}
		}
	})
}
