package calib

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/internal/vector"
)

// student is a standard Student-t distribution; df = +Inf is the normal. Its constants are kept, as every tile asks for
// them at every step.
type student struct {
	df       float64
	lnFactor float64 // ln of the density at 0
	factor   float64
}

func newStudent(df float64) student {
	if math.IsInf(df, 1) {
		l := -0.5 * math.Log(2*math.Pi)
		return student{df, l, math.Exp(l)}
	}
	l := distuv.StudentsT{Sigma: 1, Nu: df}.LogProb(0)
	return student{df, l, math.Exp(l)}
}

// lnDensity at z.
func (s *student) lnDensity(z float64) float64 {
	if math.IsInf(s.df, 1) {
		return s.lnFactor - 0.5*z*z
	}
	return s.lnFactor - 0.5*(s.df+1)*math.Log1p(z*z/s.df)
}

// densities writes the density of centre + scale·z at each x into dst, as lnDensity has it.
func (s *student) densities(dst, x []float64, centre, scale float64) {
	for i, v := range x {
		z := (v - centre) / scale
		dst[i] = z * z
	}
	power, lnFactor := -0.5, s.lnFactor-math.Log(scale)
	if !math.IsInf(s.df, 1) {
		for i, square := range dst {
			dst[i] = 1 + square/s.df
		}
		vector.Log(dst, dst)
		power *= s.df + 1
	}
	for i := range dst {
		dst[i] = power*dst[i] + lnFactor
	}
	vector.Exp(dst, dst)
}

// slope is d ln(density)/dz at z, and weight = -slope/z, the weight of a residual z in the scale-mixture reading of the
// t distribution: (ν+1)/(ν+z²).
func (s *student) weight(z float64) float64 {
	if math.IsInf(s.df, 1) {
		return 1
	}
	return (s.df + 1) / (s.df + z*z)
}

// cdf is the lower tail, accurate in relative terms for negative z.
func (s *student) cdf(z float64) float64 {
	switch {
	case math.IsInf(s.df, 1):
		return 0.5 * math.Erfc(-z/math.Sqrt2)
	case z == 0:
		return 0.5
	case z > 0:
		return 1 - s.cdf(-z)
	}
	if s.df <= maxWhole && s.df == math.Trunc(s.df) {
		if p := 0.5 * (1 - within(-z, int(s.df))); p > leastWhole {
			return p
		}
	}
	return 0.5 * mathext.RegIncBeta(0.5*s.df, 0.5, s.df/(s.df+z*z))
}

const (
	maxWhole   = 64   // degrees of freedom up to which the finite series is the quicker way
	leastWhole = 1e-5 // tail below which it loses too many digits: here it keeps eleven
)

// within is P(-t < T < t) for t > 0 and a whole number ν of degrees of freedom, by the finite series in θ = atan(t/√ν)
// (Abramowitz & Stegun 1964, 26.7.3 and 26.7.4, from memory). A fit of a long log asks for it some hundred million times; the
// incomplete beta function takes twenty times as long.
func within(t float64, ν int) float64 {
	n := float64(ν)
	sin, cos := t/math.Sqrt(n+t*t), math.Sqrt(n/(n+t*t))
	sum, term := 0.0, 1.0
	if ν%2 == 0 {
		for k := 0; k <= ν-2; k += 2 {
			sum += term
			term *= cos * cos * float64(k+1) / float64(k+2)
		}
		return sin * sum
	}
	term = cos
	for k := 1; k <= ν-2; k += 2 {
		sum += term
		term *= cos * cos * float64(k+1) / float64(k+2)
	}
	return 2 / math.Pi * (math.Atan2(t, math.Sqrt(n)) + sin*sum)
}

// between is the probability of (a, b), taken in the tail where it loses no digits.
func (s *student) between(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	return s.cdf(b) - s.cdf(a)
}

// errorModel is the distribution of the tiles' errors.
type errorModel struct{ t student }

func newErrorModel(df float64) errorModel { return errorModel{newStudent(df)} }

// support is what one reading says of the linear predictor: the log likelihood, its slope, its curvature (minus the
// second derivative, which is negative for an outlier) and the expected weight of the scale mixture, an upper bound on
// the curvature that expectation and maximisation use (per squared scale, as the curvature is).
type support struct {
	lnLikelihood, slope, curvature, emWeight float64
}

// measured: one number with residual y - η and scale.
func (e *errorModel) measured(residual, scale float64) support {
	z := residual / scale
	w := e.t.weight(z)
	curvature := w
	if !math.IsInf(e.t.df, 1) {
		v := e.t.df
		curvature = w * (v - z*z) / (v + z*z)
	}
	return support{e.t.lnDensity(z) - math.Log(scale), w * z / scale, curvature / (scale * scale), w / (scale * scale)}
}

// within: the reading lies between low and high less η, in units of ln drive; either may be infinite. Moments of the
// truncated t distribution in closed form, with its density f and w = (ν+1)/(ν+z²): as f' = -z w f and z² w = ν+1 - ν w, the integral of
// w f over (a,b) is p + [z f]/ν, which gives E[w], and that of w z f is -[f].
func (e *errorModel) within(low, high, scale float64) support {
	a, b := low/scale, high/scale
	p := e.t.between(a, b)
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
	g := (da - db) / p                                                  // E[w z]
	emWeight := math.Max(0, 1+(moment(b, db)-moment(a, da))/(e.t.df*p)) // far out the two nearly cancel
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
	d = math.Exp(e.t.lnDensity(z))
	return d, -z * e.t.weight(z) * d
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
