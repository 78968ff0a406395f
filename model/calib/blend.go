package calib

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/floats"

	"github.com/catchline/catchline/model/internal/vector"
)

// blend turns the sum of a normal error (of variance V, what is not known of the coefficients) and a Student-t error (of
// scale s and ν degrees of freedom, what no tile can tell) into one Student-t distribution with the same 80 % and 95 %
// intervals. It depends on ν and on u = V/(V+s²) alone, and smoothly, so two polynomials in 2u - 1 serve, within 0.1 %.
type blend struct {
	df      float64
	inverse polynomial // 1/degrees of freedom
	scale2  polynomial // squared scale over (V+s²)
}

func newBlend(df float64) *blend {
	b := &blend{df: df}
	var inverse, scale2 [len(nodes)]float64
	for k, s := range nodes {
		scale2[k] = 1
		if math.IsInf(df, 1) {
			continue
		}
		u := (1 + s) / 2
		s := newSum(df, u, 1-u)
		q80, q95 := s.quantile(0.9), s.quantile(0.975)
		inverse[k] = inverseDF(q95/q80, 1/df)
		q := q80 / quantile(1/inverse[k], 0.9)
		scale2[k] = q * q
	}
	b.inverse, b.scale2 = interpolated(&inverse), interpolated(&scale2)
	return b
}

// blendValues are a blend in a program.
type blendValues struct{ inverse, scale2 []vector.Value }

func writeBlend(w *vector.Writer) blendValues {
	return blendValues{w.Parameters(len(polynomial{})), w.Parameters(len(polynomial{}))}
}

func (b *blendValues) set(f *vector.Frame, to *blend) {
	setAll(f, b.inverse, to.inverse[:])
	setAll(f, b.scale2, to.scale2[:])
}

// of gives the scale and the inverse of the degrees of freedom for a normal variance V and a squared t scale.
func (b *blendValues) of(w *vector.Writer, V, scale2 vector.Value) (scale, x vector.Value) {
	sum := V.Plus(scale2)
	at := V.Over(sum).By(2).Minus(w.Number(1))
	return at.Polynomial(b.scale2).Times(sum).Sqrt(), at.Polynomial(b.inverse).AtLeast(w.Number(1 / maxDF)).AtMost(w.Number(mostX))
}

// blendProgram is one blend.
type blendProgram struct {
	*vector.Program
	V, scale2, scale, x vector.Value
	blend               blendValues
}

var blendOne = sync.OnceValue(func() *blendProgram {
	w := vector.NewWriter()
	p := &blendProgram{V: w.Input(), scale2: w.Input(), blend: writeBlend(w)}
	p.scale, p.x = p.blend.of(w, p.V, p.scale2)
	w.Output(p.scale, p.x)
	p.Program = w.Program()
	return p
})

var blendRoom = sync.Pool{New: func() any { return blendOne().Frame(1) }}

// of returns the scale and degrees of freedom for a normal variance V and a squared t scale.
func (b *blend) of(V, scale2 float64) (scale, df float64) {
	p, f := blendOne(), blendRoom.Get().(*vector.Frame)
	defer blendRoom.Put(f)
	p.blend.set(f, b)
	f.Row(p.V)[0], f.Row(p.scale2)[0] = V, scale2
	f.Run(1)
	return f.Row(p.scale)[0], 1 / f.Row(p.x)[0]
}

// maxDF is taken as normal.
const maxDF = 1e5

// sum is the distribution of N(0, V) + s·t(ν), as a scale mixture of normals over ln w, w ~ Gamma(ν/2, ν/2), by the
// trapezoid rule, which converges exponentially for such bell shapes.
type sum struct{ weight, sd []float64 }

func newSum(df, V, scale2 float64) sum {
	var s sum
	// The density of x = ln w is proportional to exp(ν/2 (x - eˣ)), a bell of standard deviation √(2/ν) with a longer
	// tail to the left; it is cut where it is below e⁻³⁵.
	step := min(0.125, 0.5*math.Sqrt(2/df))
	reach := math.Sqrt(140 / df)
	for x := -reach - 70/df; x < reach; x += step {
		s.weight = append(s.weight, math.Exp(df/2*(x-math.Exp(x)+1)))
		s.sd = append(s.sd, math.Sqrt(V+scale2/math.Exp(x)))
	}
	floats.Scale(1/floats.Sum(s.weight), s.weight)
	return s
}

// quantile above one half, by Newton's method guarded by bisection.
func (s *sum) quantile(p float64) float64 {
	low, high := 0.0, 100*s.sd[0]
	x := quantile(maxDF, p)
	for range 100 {
		upper, density := 0.0, 0.0
		for i, w := range s.weight {
			z := x / s.sd[i]
			upper += w * 0.5 * math.Erfc(z/math.Sqrt2)
			density += w * math.Exp(-0.5*z*z) / (s.sd[i] * math.Sqrt(2*math.Pi))
		}
		miss := upper - (1 - p)
		if miss > 0 {
			low = x
		} else {
			high = x
		}
		next := x + miss/density
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if math.Abs(next-x) < 1e-10*next {
			return next
		}
		x = next
	}
	return x
}

// inverseDF is 1/df of the t distribution whose 95 % interval is ratio times as wide as its 80 % interval, from 0 to top.
func inverseDF(ratio, top float64) float64 {
	miss := func(inverse float64) float64 { return quantile(1/inverse, 0.975)/quantile(1/inverse, 0.9) - ratio }
	// Regula falsi, Illinois variant: the ratio is nearly straight in 1/df.
	low, high := 1/maxDF, top
	atLow, atHigh := miss(low), miss(high)
	if atLow >= 0 {
		return 0
	}
	if atHigh <= 0 {
		return top
	}
	x := low
	for range 20 {
		next := low + (high-low)*atLow/(atLow-atHigh)
		if math.Abs(next-x) < 1e-5 {
			return next
		}
		x = next
		if at := miss(x); at < 0 {
			low, atLow, atHigh = x, at, atHigh/2
		} else {
			high, atHigh, atLow = x, at, atLow/2
		}
	}
	return x
}
