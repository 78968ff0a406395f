package calib

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// A score asks for three quantiles and one tail of a Student-t distribution, and an exact one takes longer than the flow of the film.
// So they go by way of the normal distribution. With x = 1/ν,
//
//	u = sqrt(ln(1 + x t²)/x)
//
// makes t nearly normal (Wallace 1959, Ann. Math. Statist. 30, 1121-1130, from memory), and the ratio of the normal deviate z of the
// same probability to u is a smooth function of x and u, close to 1. It is worked out on a grid once and interpolated by cubics. Deviates
// come out within a relative error of 1e-7, which moves no run by more than a ten-thousandth of a millimetre.

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

// deviates holds z/u by x and u; stretches holds u/z by x and z.
var (
	deviates  = sync.OnceValue(tabulateDeviates)
	stretches = sync.OnceValue(tabulateStretches)
)

func tabulateDeviates() *[xKnots][deviateKnots]float64 {
	var table [xKnots][deviateKnots]float64
	for i := range xKnots {
		for k := range deviateKnots {
			if i == 0 {
				table[i][k] = 1
				continue
			}
			x, u := float64(i)*xPerKnot, math.Max(float64(k)*deviateStep, 1e-3) // the ratio is even in u, and flat at 0
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
			x, z := float64(i)*xPerKnot, math.Max(float64(k)*deviateStep, 1e-3)
			t := -exactQuantile(1/x, 0.5*math.Erfc(z/math.Sqrt2))
			table[i][k] = math.Sqrt(math.Log1p(x*t*t)/x) / z
		}
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

// deviate is the normal deviate of the upper tail beyond t, for x = 1/ν from 0 to mostX; ok is false beyond mostDeviate.
func deviate(x, t float64) (z float64, ok bool) {
	if x < 1/maxDF {
		return t, true
	}
	u := math.Sqrt(math.Log1p(x*t*t) / x)
	if !(u <= mostDeviate) {
		return 0, false
	}
	table, across, down := deviates(), cubic(u/deviateStep, deviateKnots), cubic(x/xPerKnot, xKnots)
	s := 0.0
	for i, w := range down.w {
		s += w * across.at(table[down.first+i][:])
	}
	return math.Copysign(s*u, t), true
}

// stretched is the t whose tail is that of the normal deviate z, for x = 1/ν from 0 to mostX and z up to mostQuantile: the inverse of deviate.
func stretched(x, z float64) float64 {
	if x < 1/maxDF {
		return z
	}
	table, across, down := stretches(), cubic(math.Abs(z)/deviateStep, quantileKnots), cubic(x/xPerKnot, xKnots)
	s := 0.0
	for i, w := range down.w {
		s += w * across.at(table[down.first+i][:])
	}
	return unstretched(x, s*z)
}

// unstretched is t of u.
func unstretched(x, u float64) float64 { return math.Copysign(math.Sqrt(math.Expm1(x*u*u)/x), u) }

// Level is a probability, more than 0 and less than 1, made ready for the quantiles of many predictions.
type Level struct {
	p, z float64
	u    *[xKnots]float64 // u/z by x; nil for a probability beyond the grid
}

// NewLevel makes a level.
func NewLevel(p float64) *Level {
	l := &Level{p: p, z: distuv.UnitNormal.Quantile(p)}
	if math.Abs(l.z) > mostQuantile {
		return l
	}
	l.u = new([xKnots]float64)
	table, across := stretches(), cubic(math.Abs(l.z)/deviateStep, quantileKnots)
	for i := range l.u {
		l.u[i] = across.at(table[i][:])
	}
	return l
}

// quantile at a level: to the last bit what quantile gives.
func (l *Level) quantile(df float64) float64 {
	x := 1 / df
	if x > mostX || l.u == nil {
		return exactQuantile(df, l.p)
	}
	if x < 1/maxDF {
		return l.z
	}
	s, down := 0.0, cubic(x/xPerKnot, xKnots)
	for i, w := range down.w {
		s += w * l.u[down.first+i]
	}
	return unstretched(x, s*l.z)
}

// quantile of the standard t distribution; normal from maxDF degrees of freedom.
func quantile(df, p float64) float64 {
	z := distuv.UnitNormal.Quantile(p)
	if x := 1 / df; x <= mostX && math.Abs(z) <= mostQuantile {
		return stretched(x, z)
	}
	return exactQuantile(df, p)
}

func exactQuantile(df, p float64) float64 { return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p) }

// upperTail is the probability beyond t; normal from maxDF degrees of freedom.
func upperTail(df, t float64) float64 {
	if x := 1 / df; x <= mostX {
		if z, ok := deviate(x, t); ok {
			return 0.5 * math.Erfc(z/math.Sqrt2)
		}
	}
	s := newStudent(df)
	return s.cdf(-t)
}
