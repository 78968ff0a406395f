package student

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// T is a standard Student-t distribution; with infinitely many degrees of freedom it is the normal. Its constants are
// kept, as every tile asks for them at every step of a fit.
type T struct {
	df       float64
	lnFactor float64 // ln of the density at 0
}

// New is the distribution with df degrees of freedom, more than 0; +Inf is the normal.
func New(df float64) T {
	if math.IsInf(df, 1) {
		return T{df, -0.5 * math.Log(2*math.Pi)}
	}
	return T{df, distuv.StudentsT{Sigma: 1, Nu: df}.LogProb(0)}
}

// DF is the degrees of freedom.
func (t *T) DF() float64 { return t.df }

// Normal says whether it is the normal distribution.
func (t *T) Normal() bool { return math.IsInf(t.df, 1) }

// LnDensity at z.
func (t *T) LnDensity(z float64) float64 {
	if t.Normal() {
		return t.lnFactor - 0.5*z*z
	}
	return t.lnFactor - 0.5*(t.df+1)*math.Log1p(z*z/t.df)
}

// Weight is -d ln(density)/dz / z, the weight of a residual z where the distribution is read as a mixture of normals of
// unlike scale: (ν+1)/(ν+z²).
func (t *T) Weight(z float64) float64 {
	if t.Normal() {
		return 1
	}
	return (t.df + 1) / (t.df + z*z)
}

// CDF is the lower tail, accurate in relative terms for negative z.
func (t *T) CDF(z float64) float64 {
	switch {
	case t.Normal():
		return 0.5 * math.Erfc(-z/math.Sqrt2)
	case z == 0:
		return 0.5
	case z > 0:
		return 1 - t.CDF(-z)
	}
	if t.df <= maxWhole && t.df == math.Trunc(t.df) {
		if p := 0.5 * (1 - within(-z, int(t.df))); p > leastWhole {
			return p
		}
	}
	return 0.5 * mathext.RegIncBeta(0.5*t.df, 0.5, t.df/(t.df+z*z))
}

const (
	maxWhole   = 64   // degrees of freedom up to which the finite series is the quicker way
	leastWhole = 1e-5 // tail below which it loses too many digits: here it keeps eleven
)

// within is P(-t < T < t) for t > 0 and a whole number ν of degrees of freedom, by the finite series in θ = atan(t/√ν)
// (Abramowitz & Stegun 1964, 26.7.3 and 26.7.4, from memory). A fit of a long log asks for it some hundred million
// times; the incomplete beta function takes twenty times as long.
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

// Between is the probability of (a, b), taken in the tail where it loses no digits.
func (t *T) Between(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	return t.CDF(b) - t.CDF(a)
}
