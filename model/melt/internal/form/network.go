package form

import (
	"math"

	"github.com/catchline/catchline/model/internal/vector"
)

// Sizes of the network.
const (
	Hidden1 = 64
	Hidden2 = 24
	Outputs = 4
)

// Network is a small dense network of two hidden layers of vector.Unit that ends in the outputs of Curve and Spread.
type Network struct {
	W1 [NumFeatures][Hidden1]float64 // by input
	B1 [Hidden1]float64
	W2 [Hidden2][Hidden1]float64 // by output
	B2 [Hidden2]float64
	W3 [Outputs][Hidden2]float64
	B3 [Outputs]float64
}

// UnitSlope is the derivative of vector.Unit, (1+2|z|)/(1+|z|+z²)².
func UnitSlope(z float64) float64 {
	a := math.Abs(z)
	q := 1 / (1 + a + z*z)
	return (1 + 2*a) * q * q
}

// Layers are a network made ready to run.
type Layers struct{ one, two, three *vector.Layer }

// Layers makes the network ready.
func (n *Network) Layers() *Layers {
	return &Layers{
		vector.NewLayer(true, n.B1[:], NumFeatures, func(output, input int) float64 { return n.W1[input][output] }),
		vector.NewLayer(true, n.B2[:], Hidden1, func(output, input int) float64 { return n.W2[output][input] }),
		vector.NewLayer(false, n.B3[:], Hidden2, func(output, input int) float64 { return n.W3[output][input] }),
	}
}

// Eval runs the network.
func (l *Layers) Eval(f *[NumFeatures]float64, out *[Outputs]float64) {
	const fill = vector.Padding - 1 // what the outputs of a layer may be filled up with
	var h1 [Hidden1 + fill]float64
	var h2 [Hidden2 + fill]float64
	var y [Outputs + fill]float64
	copy(out[:], l.three.Apply(y[:], l.two.Apply(h2[:], l.one.Apply(h1[:], f[:]))))
}
