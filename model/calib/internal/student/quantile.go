package student

import (
	"math"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/stat/distuv"
)

// Quantiles and tails go by way of the normal distribution. With x = 1/ν,
//
//	u = sqrt(ln(1 + x t²)/x)
//
// makes t nearly normal (Wallace 1959, Ann. Math. Statist. 30, 1121-1130, from memory), and the ratio of the normal
// deviate z of the same probability to u is a smooth function of x and u, close to 1. Polynomials stand for it, within
// a relative error of 1e-7 of deviates up to 5 and 1e-6 up to 8, which moves no run by more than a thousandth of a
// millimetre.

// Polynomials are for x from 0 (normal) to 1/2 (two degrees of freedom), and deviates up to mostDeviate, beyond which
// lie 6e-16. Quantiles by them are those of a probability with a normal deviate of at most mostQuantile, which leaves
// 2e-4.
const (
	mostX         = 0.5
	mostDeviate   = 8.0
	mostQuantile  = 3.5
	deviateStep   = 1. / 8
	quantileKnots = int(mostQuantile/deviateStep) + 1
)

// MaxDF is taken as normal beyond it.
const MaxDF = 1e5

// Quantile is the t with the probability p below it, 0 < p < 1, for df > 0 degrees of freedom; normal beyond MaxDF.
func Quantile(df, p float64) float64 {
	d := deviateOf(p)
	x := 1 / df
	switch {
	case df > MaxDF:
		return d.z
	case x > mostX || math.Abs(d.z) > mostQuantile:
		return exactQuantile(df, p)
	}
	u := d.z * d.ratio.at(2/mostX*x-1)
	t := math.Sqrt(math.Expm1(x*u*u) / x)
	if u < 0 {
		return -t
	}
	return t
}

func exactQuantile(df, p float64) float64 { return distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p) }

// deviate is the normal deviate z of a probability, and u/z over x.
type deviate struct {
	p, z  float64
	ratio polynomial // in 4x - 1
}

// deviates are some that were asked for, each at a place by its bits: studios ask for the same few probabilities again
// and again.
var deviates [64]atomic.Pointer[deviate]

func deviateOf(p float64) *deviate {
	at := &deviates[math.Float64bits(p)*0x9e3779b97f4a7c15>>58] // multiplicative hashing
	if known := at.Load(); known != nil && known.p == p {
		return known
	}
	made := newDeviate(p)
	at.Store(made)
	return made
}

func newDeviate(p float64) *deviate {
	z := distuv.UnitNormal.Quantile(p)
	var ratio [len(nodes)]float64
	if math.Abs(z) <= mostQuantile {
		table := ratios()
		for i := range ratio {
			ratio[i] = cubic(table[i][:], math.Abs(z)/deviateStep)
		}
	}
	return &deviate{p, z, interpolated(&ratio)}
}

// ratios holds u/z by x, at the nodes, and z.
var ratios = sync.OnceValue(func() *[len(nodes)][quantileKnots]float64 {
	var table [len(nodes)][quantileKnots]float64
	for i, s := range nodes {
		for k := range quantileKnots {
			table[i][k] = exactRatio((1+s)*mostX/2, max(float64(k)*deviateStep, 1e-3)) // even in z, and flat at 0
		}
	}
	return &table
})

// exactRatio is u/z for x = 1/ν and a normal deviate z, more than 0.
func exactRatio(x, z float64) float64 {
	t := -exactQuantile(1/x, 0.5*math.Erfc(z/math.Sqrt2))
	return math.Sqrt(math.Log1p(x*t*t)/x) / z
}

// cubic interpolates values at whole numbers from 0 on by the cubic through the four around a place (Lagrange's form).
func cubic(values []float64, at float64) float64 {
	first := min(max(int(at)-1, 0), len(values)-4)
	a := at - float64(first)
	b, c, d := a-1, a-2, a-3
	v := values[first : first+4]
	return -b*c*d/6*v[0] + a*c*d/2*v[1] - a*b*d/2*v[2] + a*b*c/6*v[3]
}
