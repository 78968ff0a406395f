package calib

import (
	"math"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/mat"
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
// same probability to u is a smooth function of x and u, close to 1. Polynomials stand for it, and for the tail of the normal distribution; they
// are fitted once to gonum's exact functions, within a relative error of 1e-7 of deviates up to 5 and 1e-6 up to 8, which moves no run by
// more than a thousandth of a millimetre. They are written for many distributions at a time.

// Polynomials are for x from 0 (normal) to 1/2 (two degrees of freedom), and deviates up to mostDeviate, beyond which lie 6e-16. Quantiles by them
// are those of a level with a normal deviate of at most mostQuantile, which is a probability of 2e-4.
const (
	mostX         = 0.5
	mostDeviate   = 8.0
	mostQuantile  = 3.5
	deviateStep   = 1. / 8
	quantileKnots = int(mostQuantile/deviateStep) + 1
)

// polynomial is one of 12 coefficients, that of the highest power first, in a variable that goes from -1 to 1.
type polynomial [12]float64

// nodes of Chebyshev, between -1 and 1: a polynomial through what a smooth function is there stays close to it in between.
var nodes = func() (s [len(polynomial{})]float64) {
	for i := range s {
		s[i] = -math.Cos((float64(i) + 0.5) * math.Pi / float64(len(s)))
	}
	return s
}()

// through turns values at the nodes into coefficients, as the inverse of Vandermonde's matrix.
var through = sync.OnceValue(func() *[len(nodes)][len(nodes)]float64 {
	n := len(nodes)
	v := mat.NewDense(n, n, nil)
	for i, s := range nodes {
		power := 1.0
		for k := n - 1; k >= 0; k-- {
			v.Set(i, k, power)
			power *= s
		}
	}
	var inverse mat.Dense
	if err := inverse.Inverse(v); err != nil {
		panic(err) // the nodes are what they are
	}
	var out [len(nodes)][len(nodes)]float64
	for i := range out {
		copy(out[i][:], inverse.RawRowView(i))
	}
	return &out
})

// interpolated is the polynomial through these values at the nodes.
func interpolated(values *[len(nodes)]float64) (p polynomial) {
	inverse := through()
	for i := range p {
		for k, v := range values {
			p[i] += inverse[i][k] * v
		}
	}
	return p
}

// Level is a probability, more than 0 and less than 1, for quantiles.
type Level struct {
	p, z    float64    // the probability, and its normal deviate
	stretch polynomial // u/z in 4x - 1
}

// levels are some that were asked for, each at a place by its bits: studios ask for the same few again and again.
var levels [64]atomic.Pointer[Level]

// NewLevel makes a level, or gives one that was made.
func NewLevel(p float64) *Level {
	at := &levels[math.Float64bits(p)*0x9e3779b97f4a7c15>>58] // multiplicative hashing
	if known := at.Load(); known != nil && known.p == p {
		return known
	}
	made := newLevel(p)
	at.Store(made)
	return made
}

func newLevel(p float64) *Level {
	z := distuv.UnitNormal.Quantile(p)
	var at [len(nodes)]float64
	if math.Abs(z) > mostQuantile {
		for i, s := range nodes {
			at[i] = stretch((1+s)*mostX/2, math.Abs(z))
		}
	} else {
		across, table := cubic(math.Abs(z)/deviateStep, quantileKnots), stretches()
		for i := range at {
			at[i] = across.at(table[i][:])
		}
	}
	return &Level{p, z, interpolated(&at)}
}

// stretches holds u/z by x, at the nodes, and z.
var stretches = sync.OnceValue(func() *[len(nodes)][quantileKnots]float64 {
	var table [len(nodes)][quantileKnots]float64
	for i, s := range nodes {
		for k := range quantileKnots {
			table[i][k] = stretch((1+s)*mostX/2, max(float64(k)*deviateStep, 1e-3)) // even in z, and flat at 0
		}
	}
	return &table
})

// stretch is u/z for x = 1/ν and a normal deviate z, more than 0.
func stretch(x, z float64) float64 {
	t := -exactQuantile(1/x, 0.5*math.Erfc(z/math.Sqrt2))
	return math.Sqrt(math.Log1p(x*t*t)/x) / z
}

func exactQuantile(df, p float64) float64 { return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p) }

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

// levelValues are a Level in a program.
type levelValues struct {
	z, z2   vector.Value // and its square
	stretch []vector.Value
}

func writeLevel(w *vector.Writer) levelValues {
	return levelValues{w.Parameter(), w.Parameter(), w.Parameters(len(polynomial{}))}
}

func (l *levelValues) set(f *vector.Frame, to *Level) {
	f.Set(l.z, to.z)
	f.Set(l.z2, to.z*to.z)
	setAll(f, l.stretch, to.stretch[:])
}

func setAll(f *vector.Frame, values []vector.Value, to []float64) {
	for i, v := range values {
		f.Set(v, to[i])
	}
}

// writeQuantile is that of a t distribution, x = 1/ν from 1/maxDF on.
func writeQuantile(w *vector.Writer, x vector.Value, level *levelValues) vector.Value {
	one := w.Number(1)
	stretch := x.By(2 / mostX).Minus(one).Polynomial(level.stretch)
	power := x.Times(level.z2).Times(stretch.Times(stretch))
	t := power.Exp().Minus(one).Over(x).Sqrt() // less than 1e-10 of it is lost where the power is near 0
	zero := w.Number(0)
	return level.z.Below(zero, zero.Minus(t), t)
}

// The ratio z/u is 1 + x P(x, v), v = w/(w + 8), w = x u² = ln(1 + x t²), P of these orders.
const (
	tailX, tailV = 6, 10
	middleW      = 8.0
	mostW        = mostX * mostDeviate * mostDeviate
)

// tail holds P: by powers of 4x - 1, polynomials in 2v - 1, highest powers first.
var tail = sync.OnceValue(func() [][tailV]float64 {
	const xs, us = 14, 30
	a, y := mat.NewDense(xs*us, tailX*tailV, nil), mat.NewVecDense(xs*us, nil)
	at := func(i, n int) float64 { return (1 - math.Cos((float64(i)+0.5)*math.Pi/float64(n))) / 2 }
	for i := range xs {
		for k := range us {
			x, u := mostX*at(i, xs), mostDeviate*at(k, us)
			weight := 1.0
			if u > 5 {
				weight = 0.1 // what lies there is too improbable to matter
			}
			row, w := i*us+k, x*u*u
			byX := x * weight
			for px := tailX - 1; px >= 0; px-- {
				term := byX
				for pv := tailV - 1; pv >= 0; pv-- {
					a.Set(row, px*tailV+pv, term)
					term *= 2*w/(w+middleW) - 1
				}
				byX *= 2/mostX*x - 1
			}
			p := 0.5 * mathext.RegIncBeta(0.5/x, 0.5, math.Exp(-w))
			y.SetVec(row, weight*(-distuv.UnitNormal.Quantile(p)/u-1))
		}
	}
	var c mat.VecDense
	if err := c.SolveVec(a, y); err != nil {
		panic(err) // the numbers are what they are
	}
	out := make([][tailV]float64, tailX)
	for i := range out {
		copy(out[i][:], c.RawVector().Data[i*tailV:])
	}
	return out
})

// The tail of the normal distribution beyond z, but for exp(-z²/2), is a polynomial in (z - middleZ)/(z + middleZ), which reaches from -1 to endZ
// (the variable is that of Shepherd & Laframboise 1981, Math. Comp. 36, 249-253, from memory).
const (
	middleZ = 4.0
	endZ    = (mostDeviate - middleZ) / (mostDeviate + middleZ)
)

var mills = sync.OnceValue(func() *polynomial {
	var at [len(nodes)]float64
	for i, s := range nodes {
		v := (endZ-1)/2 + (endZ+1)/2*s
		z := middleZ * (1 + v) / (1 - v)
		at[i] = 0.5 * math.Erfc(z/math.Sqrt2) * math.Exp(z*z/2)
	}
	p := interpolated(&at)
	return &p
})

// writeTail is the probability beyond t, x = 1/ν not 0; t is a number.
func writeTail(w *vector.Writer, x, t vector.Value) vector.Value {
	const most = 1e30 // whose square is still a number
	one, zero := w.Number(1), w.Number(0)
	t = t.AtMost(w.Number(most)).AtLeast(w.Number(-most))
	y := t.Times(t, x)
	sum := y.Plus(one)
	log := sum.Log().Plus(y.Minus(sum.Minus(one))) // with what the rounding left out, which matters where y is small
	u := log.Over(x).Sqrt()

	held := log.AtMost(w.Number(mostW))
	v := held.Over(held.Plus(w.Number(middleW))).By(2).Minus(one)
	s := x.By(2 / mostX).Minus(one)
	p, s2 := w.Number(0), s.Times(s)
	for rows := tail(); len(rows) > 0; rows = rows[2:] { // two by two
		of := func(row int) vector.Value { return v.Polynomial(w.Numbers(rows[row][:])) }
		p = p.Times(s2).Plus(of(0).Times(s).Plus(of(1)))
	}
	z := u.Plus(u.Times(x).Times(p))

	held = z.AtMost(w.Number(mostDeviate))
	at := held.Minus(w.Number(middleZ)).Over(held.Plus(w.Number(middleZ)))
	at = at.By(2 / (endZ + 1)).Minus(w.Number((endZ - 1) / (endZ + 1)))
	beyond := z.Times(z).By(-0.5).Exp().Times(at.Polynomial(w.Numbers(mills()[:])))
	return t.Below(zero, one.Minus(beyond), beyond)
}

// studentProgram is the quantile and the tail of one distribution.
type studentProgram struct {
	*vector.Program
	x, t, quantile, tail vector.Value
	level                levelValues
}

var studentOne = sync.OnceValue(func() *studentProgram {
	w := vector.NewWriter()
	p := &studentProgram{x: w.Input(), t: w.Input(), level: writeLevel(w)}
	p.quantile, p.tail = writeQuantile(w, p.x, &p.level), writeTail(w, p.x, p.t)
	w.Output(p.quantile, p.tail)
	p.Program = w.Program()
	return p
})

var studentRoom = sync.Pool{New: func() any { return studentOne().Frame(1) }}

// quantile of one t distribution; normal from maxDF.
func quantile(df, p float64) float64 {
	l := NewLevel(p)
	switch {
	case df >= maxDF:
		return l.z
	case 1/df > mostX || math.Abs(l.z) > mostQuantile:
		return exactQuantile(df, p)
	}
	s, f := studentOne(), studentRoom.Get().(*vector.Frame)
	defer studentRoom.Put(f)
	f.Row(s.x)[0] = 1 / df
	s.level.set(f, l)
	f.Run(1)
	return f.Row(s.quantile)[0]
}

// upperTail is the probability beyond t of one t distribution; normal beyond maxDF.
func upperTail(df, t float64) float64 {
	switch {
	case df > maxDF:
		return 0.5 * math.Erfc(t/math.Sqrt2)
	case 1/df > mostX || math.IsNaN(t):
		s := newStudent(df)
		return s.cdf(-t)
	}
	s, f := studentOne(), studentRoom.Get().(*vector.Frame)
	defer studentRoom.Put(f)
	f.Row(s.x)[0], f.Row(s.t)[0] = 1/df, t
	f.Run(1)
	return f.Row(s.tail)[0]
}
