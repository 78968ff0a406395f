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

	bead beadDoubt
}

// beadDoubt is how a prediction depends on the bead at the edge: what At needs.
type beadDoubt struct {
	mean, known2, piece2 float64 // of the prediction without it: mean, variance of that, and squared scale of a piece
	effect               float64 // mean of the body's effect, by which the bead is smaller than it was taken for
	covariance, variance float64 // of the effect with the prediction without it, and its own
	convolution          *student.Convolution
}

// At gives the prediction where the drive depends on the bead at the edge by so much: ∂ln X/∂ln A at the run that is
// asked about, see Conditions.Bead.
func (p *Prediction) At(beadElasticity float64) Prediction {
	out, b, x := *p, &p.bead, beadElasticity
	known2 := b.known2 + x*(2*b.covariance+x*b.variance)
	out.Mean, out.KnownSD = b.mean+x*b.effect, math.Sqrt(known2)
	out.Scale, out.DF = b.convolution.Of(known2, b.piece2)
	return out
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
	p := Prediction{LnPhysics: s.lnPhysics}
	p.bead = beadDoubt{mean: mean, known2: known2, piece2: piece2, convolution: c.convolution}
	c.doubtBead(&p.bead, s.bead, &s.combination)
	p = p.At(s.beadWeight)
	if len(c.rows) > 0 && s.prior > variance {
		p.EffectiveTiles = piece2 * (1/known2 - 1/(s.prior+s.unknown))
	}
	return p, p.check()
}

// doubtBead works out what is known of the bead of a body, beside a combination.
func (c *Calibration) doubtBead(b *beadDoubt, body Group, a *combination) {
	if body == 0 {
		b.variance = c.memo.spread2[Bead]
		return
	}
	scale, column := c.memo.scale[body], c.column(int32(body))
	b.effect, b.variance = scale*c.memo.θ[body], scale*scale*column[body]
	for e, x := range a.fixed {
		b.covariance += scale * x * column[e]
	}
	for _, g := range a.groups {
		b.covariance += scale * g.x * column[g.id]
	}
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
