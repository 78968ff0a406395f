package calib

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/internal/vector"
)

// A score asks for three quantiles and one tail of a Student-t distribution, and an exact one takes longer than the flow of the film.
// So they go by way of the normal distribution. With x = 1/ν,
//
//	u = sqrt(ln(1 + x t²)/x)
//
// makes t nearly normal (Wallace 1959, Ann. Math. Statist. 30, 1121-1130, from memory), and the ratio of the normal deviate z of the
// same probability to u is a smooth function of x and u, close to 1. It is worked out on a grid once and interpolated by cubics. Deviates
// come out within a relative error of 1e-7, which moves no run by more than a ten-thousandth of a millimetre. All is done for several
// distributions at a time, so that their exponentials and logarithms are taken together.

// The grid covers x from 0 (normal) to 1/2 (two degrees of freedom) and deviates up to mostDeviate, beyond which lie 6e-16.
const (
	xKnots, xPerKnot = 33, 1. / 64
	mostDeviate      = 8.0
	deviateStep      = 1. / 8
	deviateKnots     = int(mostDeviate/deviateStep) + 1
	mostQuantile     = 3.5 // normal deviate of a probability of 2e-4
	quantileKnots    = int(mostQuantile/deviateStep) + 1
	mostX            = (xKnots - 1) * xPerKnot
)

// deviates holds z/u by x and u; stretches holds u/z by x and z; mills holds exp(z²/2) times the upper tail of the normal distribution by z.
var (
	deviates  = sync.OnceValue(tabulateDeviates)
	stretches = sync.OnceValue(tabulateStretches)
	mills     = sync.OnceValue(tabulateMills)
)

func tabulateDeviates() *[xKnots][deviateKnots]float64 {
	var table [xKnots][deviateKnots]float64
	for i := range xKnots {
		for k := range deviateKnots {
			if i == 0 {
				table[i][k] = 1
				continue
			}
			x, u := float64(i)*xPerKnot, max(float64(k)*deviateStep, 1e-3) // the ratio is even in u, and flat at 0
			t2 := math.Expm1(x*u*u) / x
			p := 0.5 * mathext.RegIncBeta(0.5/x, 0.5, 1/(1+x*t2))
			table[i][k] = -distuv.UnitNormal.Quantile(p) / u
		}
	}
	return &table
}

func tabulateStretches() *[xKnots][quantileKnots]float64 {
	var table [xKnots][quantileKnots]float64
	for i := range xKnots {
		for k := range quantileKnots {
			if i == 0 {
				table[i][k] = 1
				continue
			}
			x, z := float64(i)*xPerKnot, max(float64(k)*deviateStep, 1e-3)
			t := -exactQuantile(1/x, 0.5*math.Erfc(z/math.Sqrt2))
			table[i][k] = math.Sqrt(math.Log1p(x*t*t)/x) / z
		}
	}
	return &table
}

const (
	millsStep  = 1. / 64
	millsKnots = int(mostDeviate/millsStep) + 1
)

func tabulateMills() *[millsKnots]float64 {
	var table [millsKnots]float64
	for k := range table {
		z := float64(k) * millsStep
		table[k] = 0.5 * math.Erfc(z/math.Sqrt2) * math.Exp(z*z/2)
	}
	return &table
}

// weights are those of four neighbouring knots, from the first on.
type weights struct {
	first int
	w     [4]float64
}

// cubic weighs the four knots around a place on a grid of n knots, 1 apart, for the cubic through them (Lagrange's form).
func cubic(at float64, n int) weights {
	first := min(max(int(at)-1, 0), n-4)
	a := at - float64(first)
	b, c, d := a-1, a-2, a-3
	return weights{first, [4]float64{b * c * d * (-1. / 6), a * c * d * 0.5, a * b * d * -0.5, a * b * c * (1. / 6)}}
}

// at interpolates a row of a table.
func (w *weights) at(row []float64) float64 {
	row = row[w.first : w.first+4 : w.first+4]
	return w.w[0]*row[0] + w.w[1]*row[1] + w.w[2]*row[2] + w.w[3]*row[3]
}

// Level is a probability, more than 0 and less than 1, for quantiles.
type Level struct {
	p, z   float64          // with its normal deviate
	across weights          // of |z| on the grid
	u      *[xKnots]float64 // u/z by x, made ready for many predictions; nil: not made ready
}

// NewLevel makes a level.
func NewLevel(p float64) Level {
	z := distuv.UnitNormal.Quantile(p)
	return Level{p: p, z: z, across: cubic(min(math.Abs(z), mostQuantile)/deviateStep, quantileKnots)}
}

// Ready makes the level ready for many predictions; it changes no number.
func (l Level) Ready() Level {
	l.u = new([xKnots]float64)
	table := stretches()
	for i := range l.u {
		l.u[i] = l.across.at(table[i][:])
	}
	return l
}

// known says whether the grid serves.
func (l *Level) known(x float64) bool { return x <= mostX && math.Abs(l.z) <= mostQuantile }

// stretched is u at x, which is weighed by down.
func (l *Level) stretched(down *weights) float64 {
	s := 0.0
	if l.u != nil {
		for i, w := range down.w {
			s += w * l.u[down.first+i]
		}
		return s * l.z
	}
	table := stretches()
	for i, w := range down.w {
		s += w * l.across.at(table[down.first+i][:])
	}
	return s * l.z
}

// quantiles writes those of t distributions with df degrees of freedom into dst, a row for each level; normal from maxDF.
func quantiles(dst, df []float64, levels ...*Level) {
	n := len(df)
	for i, v := range df {
		x := 1 / v
		down := cubic(x/xPerKnot, xKnots)
		for k, l := range levels {
			at := &dst[k*n+i]
			if *at = 0; l.known(x) {
				u := l.stretched(&down)
				*at = x * u * u
			}
		}
	}
	vector.Exp(dst[:len(levels)*n], dst)
	for i, v := range df {
		x := 1 / v
		for k, l := range levels {
			at := &dst[k*n+i]
			switch {
			case !l.known(x):
				*at = exactQuantile(v, l.p)
			case x < 1/maxDF:
				*at = l.z
			default: // less than 1e-10 of it is lost where the power is near 1
				*at = math.Copysign(math.Sqrt((*at-1)*v), l.z)
			}
		}
	}
}

// quantile of one t distribution.
func quantile(df, p float64) float64 {
	l := NewLevel(p)
	var one [1]float64
	quantiles(one[:], []float64{df}, &l)
	return one[0]
}

func exactQuantile(df, p float64) float64 { return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p) }

// few is how many distributions are worked on at a time.
const few = 16

// upperTails writes the probabilities beyond t of t distributions with df degrees of freedom, at most few, into dst; normal from maxDF.
func upperTails(dst, df, t []float64) {
	var deviate [few]float64 // NaN where the grid does not serve
	z := deviate[:len(df)]
	for i, v := range df {
		dst[i] = 1 + t[i]*t[i]/v
	}
	vector.Log(dst[:len(df)], dst)
	table, ratios := deviates(), mills()
	for i, v := range df {
		x := 1 / v
		if z[i] = t[i]; x >= 1/maxDF {
			z[i] = normalDeviate(table, x, v, t[i], dst[i])
		}
		if !(x <= mostX && math.Abs(z[i]) <= mostDeviate) {
			z[i] = math.NaN()
		}
		dst[i] = -0.5 * z[i] * z[i]
	}
	vector.Exp(dst[:len(df)], dst)
	for i, v := range df {
		if math.IsNaN(z[i]) {
			s := newStudent(v)
			dst[i] = s.cdf(-t[i])
			continue
		}
		at := cubic(math.Abs(z[i])/millsStep, millsKnots)
		dst[i] *= at.at(ratios[:])
		if z[i] < 0 {
			dst[i] = 1 - dst[i]
		}
	}
}

// normalDeviate is the normal deviate of the upper tail beyond t, for x = 1/ν; logarithm is that of 1 + x t² as it was rounded. Beyond
// mostDeviate it is not a number.
func normalDeviate(table *[xKnots][deviateKnots]float64, x, ν, t, logarithm float64) float64 {
	y := t * t / ν
	u := math.Sqrt((logarithm + (y - (1 + y - 1))) * ν) // with what the rounding left out, which matters where y is small
	if !(u <= mostDeviate) {
		return math.NaN()
	}
	across, down := cubic(u/deviateStep, deviateKnots), cubic(x/xPerKnot, xKnots)
	s := 0.0
	for i, w := range down.w {
		s += w * across.at(table[down.first+i][:])
	}
	return math.Copysign(s*u, t)
}

// upperTail of one t distribution.
func upperTail(df, t float64) float64 {
	var one [1]float64
	upperTails(one[:], []float64{df}, []float64{t})
	return one[0]
}
