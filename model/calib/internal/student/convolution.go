package student

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// Convolution turns the sum of a normal error (of variance V, what is not known of the coefficients) and a Student-t
// error (of scale s and ν degrees of freedom, what no tile can tell) into one Student-t distribution with the same 80 %
// and 95 % intervals. It depends on ν and on u = V/(V+s²) alone, and smoothly, so two polynomials in 2u - 1 serve,
// within 0.1 %.
type Convolution struct {
	inverse polynomial // 1/degrees of freedom
	scale2  polynomial // squared scale over (V+s²)
}

// NewConvolution is for a t error of df degrees of freedom, more than 2; +Inf is normal.
func NewConvolution(df float64) *Convolution {
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
		q := q80 / Quantile(1/inverse[k], 0.9)
		scale2[k] = q * q
	}
	return &Convolution{interpolated(&inverse), interpolated(&scale2)}
}

// Of is the scale and the degrees of freedom, 2 to MaxDF, for a normal variance V and the squared scale s² of the t
// error.
func (c *Convolution) Of(V, s2 float64) (scale, df float64) {
	at := 2*V/(V+s2) - 1
	return math.Sqrt(c.scale2.at(at) * (V + s2)), 1 / min(max(c.inverse.at(at), 1/MaxDF), mostX)
}

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
	x := Quantile(math.Inf(1), p)
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

// inverseDF is 1/df of the t distribution whose 95 % interval is ratio times as wide as its 80 % interval, from 0 to
// top.
func inverseDF(ratio, top float64) float64 {
	miss := func(inverse float64) float64 { return Quantile(1/inverse, 0.975)/Quantile(1/inverse, 0.9) - ratio }
	// Regula falsi, Illinois variant: the ratio is nearly straight in 1/df.
	low, high := 1/MaxDF, top
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
