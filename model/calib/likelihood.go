package calib

import (
	"math"

	"github.com/catchline/catchline/model/calib/internal/student"
)

// errorModel is the distribution of the tiles' errors.
type errorModel struct{ t student.T }

func newErrorModel(df float64) errorModel { return errorModel{student.New(df)} }

// support is what one reading says of the linear predictor: the log likelihood, its slope, its curvature (minus the
// second derivative, which is negative for an outlier) and the expected weight of the scale mixture, an upper bound on
// the curvature that expectation and maximisation use (per squared scale, as the curvature is).
type support struct {
	lnLikelihood, slope, curvature, emWeight float64
}

// measured: one number with residual y - η and scale.
func (e *errorModel) measured(residual, scale float64) support {
	z := residual / scale
	w := e.t.Weight(z)
	curvature := w
	if !e.t.Normal() {
		v := e.t.DF()
		curvature = w * (v - z*z) / (v + z*z)
	}
	return support{e.t.LnDensity(z) - math.Log(scale), w * z / scale, curvature / (scale * scale), w / (scale * scale)}
}

// within: the reading lies between low and high less η, in units of ln drive; either may be infinite. Moments of the
// truncated t distribution in closed form, with its density f and w = (ν+1)/(ν+z²): as f' = -z w f and z² w = ν+1 - ν w, the integral of
// w f over (a,b) is p + [z f]/ν, which gives E[w], and that of w z f is -[f].
func (e *errorModel) within(low, high, scale float64) support {
	a, b := low/scale, high/scale
	p := e.t.Between(a, b)
	da, dsa := e.density(a)
	db, dsb := e.density(b)
	if !(p > 1e-280) {
		// Too far out for the probability to be represented (only possible for nearly normal errors). The nearer
		// end stands for the interval: the limit of the truncated distribution.
		near := a
		if math.IsInf(a, -1) || (!math.IsInf(b, 1) && math.Abs(b) < math.Abs(a)) {
			near = b
		}
		return e.measured(near*scale, scale)
	}
	g := (da - db) / p                                                    // E[w z]
	emWeight := math.Max(0, 1+(moment(b, db)-moment(a, da))/(e.t.DF()*p)) // far out the two nearly cancel
	return support{
		lnLikelihood: math.Log(p),
		slope:        g / scale,
		curvature:    (g*g - (dsb-dsa)/p) / (scale * scale),
		emWeight:     emWeight / (scale * scale),
	}
}

// moment is z times the density there, zero at infinity.
func moment(z, density float64) float64 {
	if math.IsInf(z, 0) {
		return 0
	}
	return z * density
}

// density of the errors and its derivative at z; both are zero at infinity.
func (e *errorModel) density(z float64) (d, slope float64) {
	if math.IsInf(z, 0) {
		return 0, 0
	}
	d = math.Exp(e.t.LnDensity(z))
	return d, -z * e.t.Weight(z) * d
}

// of is the support of a reading at predicted correction η, both as corrections to the physics.
func (e *errorModel) of(r *Reading, lnPhysics, η, scale float64) support {
	if r.Outcome == Measured {
		return e.measured(r.Low-lnPhysics-η, scale)
	}
	return e.within(r.Low-lnPhysics-η, r.High-lnPhysics-η, scale)
}

// leastCurvature is the share of the expected weight below which a tile's curvature is not let fall, so that an outlier,
// where the t likelihood bends the wrong way, still gives a proper row.
const leastCurvature = 0.01

// weight is the weight h of the least-squares row that stands for this reading at η.
func (s *support) weight() float64 {
	return math.Max(s.curvature, leastCurvature*s.emWeight)
}
