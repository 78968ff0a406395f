package calib

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// Prediction is a Student-t distribution of the correction y; ln of the drive is LnPhysics + y. As the run is a monotone
// function of the drive, its quantiles map exactly to those of the run in millimetres.
type Prediction struct {
	LnPhysics float64
	Mean      float64 // of y, and its median
	Scale     float64 // of y; its standard deviation is Scale·sqrt(DF/(DF-2))
	DF        float64 // at most 1e5, which is normal
	// KnownSD is the standard deviation of the layering's own mean correction: what more tiles could still take away.
	KnownSD float64
	// EffectiveTiles is how many tiles of this very layering would teach a blank calibration as much as is known of it.
	EffectiveTiles float64
}

// Median of ln drive.
func (p *Prediction) Median() float64 { return p.LnPhysics + p.Mean }

// Reach is how far the quantile of ln drive lies above the median, 0 < p < 1.
func (p *Prediction) Reach(prob float64) float64 { return p.Scale * quantile(p.DF, prob) }

// Quantile of ln drive, 0 < p < 1.
func (p *Prediction) Quantile(prob float64) float64 { return p.Median() + p.Reach(prob) }

// Exceeds is the probability that ln drive is more than lnX.
func (p *Prediction) Exceeds(lnX float64) float64 {
	return upperTail(p.DF, (lnX-p.LnPhysics-p.Mean)/p.Scale)
}

// Densities writes the density of ln drive at each of lnX into dst, which is as long.
func (p *Prediction) Densities(dst, lnX []float64) {
	df := p.DF
	if df >= maxDF {
		df = math.Inf(1)
	}
	t := newStudent(df)
	t.densities(dst, lnX, p.LnPhysics+p.Mean, p.Scale)
}

// Predict says what the next tile of these conditions will show (reading error apart).
// Errors: *fault.Error.
func (c *Calibration) Predict(q *Conditions) (Prediction, error) {
	if err := q.Check(); err != nil {
		return Prediction{}, err
	}
	p := c.predict(q)
	return p, checkFinite(p.Mean, p.Scale)
}

var errNotFinite = errors.New("the calibration gives no finite prediction")

// checkFinite refuses a prediction that is not a number.
func checkFinite(mean, scale float64) error {
	if !(math.Abs(mean) <= math.MaxFloat64 && scale > 0 && scale <= math.MaxFloat64) {
		return fmt.Errorf("%w: %g ± %g", errNotFinite, mean, scale)
	}
	return nil
}

// spread makes a prediction, EffectiveTiles apart, where the linear predictor has the mean and variance, that of groups not named included.
func (c *Calibration) spread(p *Prediction, lnPhysics, physicsSD, mean, variance float64) {
	p.LnPhysics, p.Mean, p.KnownSD = lnPhysics, mean, math.Sqrt(variance)
	p.Scale, p.DF = c.blend.of(variance, c.widths.piece2(physicsSD))
}

func (c *Calibration) predict(q *Conditions) Prediction {
	k := c.ready()
	p := q.pattern(&c.prior, &c.core, &c.pairs)
	a := c.combine(k, &p)
	var room bench
	variance, missing := c.variance(k, &a, &room), p.missingVariance(&c.used, &c.widths)
	var out Prediction
	c.spread(&out, q.LnPhysics, q.PhysicsSD, a.mean, variance+missing)
	if prior := c.priorVariance(&p); prior > variance {
		out.EffectiveTiles = c.widths.piece2(q.PhysicsSD) * (1/(variance+missing) - 1/(prior+missing))
	}
	return out
}

// priorVariance of the linear predictor, before any tile.
func (c *Calibration) priorVariance(p *pattern) float64 {
	s := 0.0
	for _, e := range p.entries {
		v := e.x * c.scale(e.id)
		s += v * v
	}
	if p.pair >= 0 {
		v := p.pairWeight * c.pairs.levels[p.pair].scale(&c.widths)
		s += v * v
	}
	return s
}

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
	j := &Joint{Mean: make([]float64, n), Covariance: mat.NewSymDense(max(n, 1), nil), Noise2: make([]float64, n), DF: c.widths.df}
	pairs, pairParts, halves := make([]int32, n), make([]float64, n), make([][]float64, n)
	for i := range qs {
		p := qs[i].pattern(&known.prior, &known.core, &known.pairs)
		a := make([]float64, known.tri.n)
		j.Mean[i], pairParts[i] = known.project(a, &p)
		known.tri.halfSolve(a)
		halves[i], pairs[i] = a, p.pair
		j.Noise2[i] = c.widths.piece2(qs[i].PhysicsSD) + p.missingVariance(&c.used, &c.widths)
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
				c.tri = c.tri.grow()
				c.θ = append([]float64{0}, c.θ...)
			}
		}
	})
}
