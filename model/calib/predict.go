package calib

import (
	"errors"
	"fmt"
	"math"

	"github.com/catchline/catchline/model/calib/internal/student"
)

// Prediction is a Student-t distribution of the correction y; ln of the drive is LnPhysics + y. As the run is a
// monotone function of the drive, its quantiles map exactly to those of the run in millimetres.
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
func (p *Prediction) Reach(prob float64) float64 { return p.Scale * student.Quantile(p.DF, prob) }

// Quantile of ln drive, 0 < p < 1.
func (p *Prediction) Quantile(prob float64) float64 { return p.Median() + p.Reach(prob) }

// Exceedance is the probability that ln drive is more than lnX.
func (p *Prediction) Exceedance(lnX float64) float64 {
	return student.UpperTail(p.DF, (lnX-p.LnPhysics-p.Mean)/p.Scale)
}

// Densities writes the density of ln drive at each of lnX into dst, which is as long.
func (p *Prediction) Densities(dst, lnX []float64) {
	df := p.DF
	if df >= student.MaxDF {
		df = math.Inf(1)
	}
	t := student.New(df)
	for i, x := range lnX {
		dst[i] = math.Exp(t.LnDensity((x-p.LnPhysics-p.Mean)/p.Scale)) / p.Scale
	}
}

// Predict says what the next tile of a subject will show (reading error apart).
// Errors: *fault.Error.
func (s *Subject) Predict() (Prediction, error) {
	if err := checkNumbers("conditions.", s.lnPhysics, s.physicsSD, &s.features); err != nil {
		return Prediction{}, err
	}
	c := s.calibration
	mean, variance := c.mean(&s.combination), c.variance(&s.combination)
	known2, piece2 := variance+s.unknown, c.components.piece2(s.physicsSD)
	p := Prediction{LnPhysics: s.lnPhysics, Mean: mean, KnownSD: math.Sqrt(known2)}
	p.Scale, p.DF = c.convolution.Of(known2, piece2)
	if len(c.rows) > 0 && s.prior > variance {
		p.EffectiveTiles = piece2 * (1/known2 - 1/(s.prior+s.unknown))
	}
	return p, p.check()
}

var errNotFinite = errors.New("the calibration gives no finite prediction")

// check refuses a prediction that is not a number.
func (p *Prediction) check() error {
	if !(math.Abs(p.Median()) <= math.MaxFloat64 && p.Scale > 0 && p.Scale <= math.MaxFloat64) {
		return fmt.Errorf("%w: %g ± %g", errNotFinite, p.Mean, p.Scale)
	}
	return nil
}

// priorVariance of the linear predictor, before any tile.
func (c *Calibration) priorVariance(r *designRow) float64 {
	s := 0.0
	for _, e := range r.entries {
		v := e.x * c.memo.scale[e.id]
		s += v * v
	}
	if r.pair >= 0 {
		v := r.pairWeight * c.pairs.levels[r.pair].scale(&c.components)
		s += v * v
	}
	return s
}
