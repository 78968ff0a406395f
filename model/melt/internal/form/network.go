package form

import "math"

// Sizes of the network.
const (
	Hidden1 = 48
	Hidden2 = 24
	Outputs = 4
)

// Network is a small dense network of two hidden layers that ends in the outputs of Curve and Spread.
type Network struct {
	W1 [NumFeatures][Hidden1]float64 // by input, so that an absent oxide costs nothing
	B1 [Hidden1]float64
	W2 [Hidden2][Hidden1]float64 // by output
	B2 [Hidden2]float64
	W3 [Outputs][Hidden2]float64
	B3 [Outputs]float64
}

// Unit is the network's unit, z (1+|z|)/(1+|z|+z²): it runs from -1 to 1 like tanh, has three continuous derivatives, and
// costs one division.
func Unit(z float64) float64 {
	a := math.Abs(z)
	return z * (1 + a) / (1 + a + z*z)
}

// UnitSlope is the derivative of Unit, (1+2|z|)/(1+|z|+z²)².
func UnitSlope(z float64) float64 {
	a := math.Abs(z)
	q := 1 / (1 + a + z*z)
	return (1 + 2*a) * q * q
}

// Eval runs the network.
func (n *Network) Eval(f *[NumFeatures]float64, out *[Outputs]float64) {
	var xs [NumFeatures]float64
	var at [NumFeatures]uint8
	m := 0
	for i, v := range f {
		if v != 0 {
			xs[m], at[m] = v, uint8(i)
			m++
		}
	}
	// Eight sums at a time stay in registers.
	var h1 [Hidden1]float64
	for j := 0; j < Hidden1; j += 8 {
		b := n.B1[j : j+8 : j+8]
		a0, a1, a2, a3, a4, a5, a6, a7 := b[0], b[1], b[2], b[3], b[4], b[5], b[6], b[7]
		for k, x := range xs[:m] {
			w := n.W1[at[k]][j : j+8 : j+8]
			a0 += x * w[0]
			a1 += x * w[1]
			a2 += x * w[2]
			a3 += x * w[3]
			a4 += x * w[4]
			a5 += x * w[5]
			a6 += x * w[6]
			a7 += x * w[7]
		}
		h := h1[j : j+8 : j+8]
		h[0], h[1], h[2], h[3] = Unit(a0), Unit(a1), Unit(a2), Unit(a3)
		h[4], h[5], h[6], h[7] = Unit(a4), Unit(a5), Unit(a6), Unit(a7)
	}
	var h2 [Hidden2]float64
	for j := 0; j < Hidden2; j += 4 {
		w0, w1, w2, w3 := &n.W2[j], &n.W2[j+1], &n.W2[j+2], &n.W2[j+3]
		a0, a1, a2, a3 := n.B2[j], n.B2[j+1], n.B2[j+2], n.B2[j+3]
		for k, x := range &h1 {
			a0 += x * w0[k]
			a1 += x * w1[k]
			a2 += x * w2[k]
			a3 += x * w3[k]
		}
		h2[j], h2[j+1], h2[j+2], h2[j+3] = Unit(a0), Unit(a1), Unit(a2), Unit(a3)
	}
	for j := range out {
		a := n.B3[j]
		w := &n.W3[j]
		for k, x := range &h2 {
			a += x * w[k]
		}
		out[j] = a
	}
}
