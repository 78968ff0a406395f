package student

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// UpperTail is the probability beyond t for df > 0 degrees of freedom; normal beyond MaxDF.
func UpperTail(df, t float64) float64 {
	x := 1 / df
	switch {
	case df > MaxDF:
		return 0.5 * math.Erfc(t/math.Sqrt2)
	case x > mostX || math.IsNaN(t):
		d := New(df)
		return d.CDF(-t)
	}
	const most = 1e30 // whose square is still a number
	t = max(-most, min(most, t))
	w := math.Log1p(x * t * t)
	u := math.Sqrt(w / x)
	z := u * (1 + x*deviation(x, w))
	if t < 0 {
		z = -z
	}
	return 0.5 * math.Erfc(z/math.Sqrt2)
}

// The ratio z/u is 1 + x P(x, v), v = w/(w + 8), w = x u² = ln(1 + x t²), P of these orders.
const (
	tailX, tailV = 6, 10
	middleW      = 8.0
	mostW        = mostX * mostDeviate * mostDeviate
)

// deviation is P.
func deviation(x, w float64) float64 {
	w = min(w, mostW)
	v, s := 2*w/(w+middleW)-1, 2/mostX*x-1
	p, c := 0.0, deviations()
	for i := range c {
		p = p*s + horner(c[i][:], v)
	}
	return p
}

// deviations holds P: by powers of 4x - 1, polynomials in 2v - 1, highest powers first, fitted to the exact tail.
var deviations = sync.OnceValue(func() *[tailX][tailV]float64 {
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
	out := new([tailX][tailV]float64)
	for i := range out {
		copy(out[i][:], c.RawVector().Data[i*tailV:])
	}
	return out
})
