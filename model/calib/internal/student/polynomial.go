package student

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/mat"
)

// polynomial is c[0] sⁿ⁻¹ + c[1] sⁿ⁻² + ... + c[n-1], n = 12, in a variable s that goes from -1 to 1.
type polynomial [12]float64

// at is the value at s.
func (p *polynomial) at(s float64) float64 { return horner(p[:], s) }

// horner is the polynomial with an even number of coefficients c, that of the highest power first, at s. Odd and even
// powers are summed apart: neither sum waits for the other.
func horner(c []float64, s float64) float64 {
	s2, odd, even := s*s, c[0], c[1]
	for k := 2; k+1 < len(c); k += 2 {
		odd, even = odd*s2+c[k], even*s2+c[k+1]
	}
	return odd*s + even
}

// nodes of Chebyshev, between -1 and 1: a polynomial through what a smooth function is there stays close to it in
// between.
var nodes = func() (s [len(polynomial{})]float64) {
	for i := range s {
		s[i] = -math.Cos((float64(i) + 0.5) * math.Pi / float64(len(s)))
	}
	return s
}()

// interpolated is the polynomial through these values at the nodes.
func interpolated(values *[len(nodes)]float64) (p polynomial) {
	inverse := inverseVandermonde()
	for i := range p {
		for k, v := range values {
			p[i] += inverse[i][k] * v
		}
	}
	return p
}

// inverseVandermonde turns values at the nodes into coefficients.
var inverseVandermonde = sync.OnceValue(func() *[len(nodes)][len(nodes)]float64 {
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
