package form

import (
	"math"

	"github.com/catchline/catchline/model/chem"
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

// Layers are a network made ready to run. The first is in two: what it makes of the oxides is a sum, so that of a mixture is the mixture of
// its melts' and need not be worked out anew for each mixture.
type Layers struct{ oxides, one, two, three *vector.Layer }

// Layers makes the network ready.
func (n *Network) Layers() *Layers {
	const oxides = chem.NumNetworkOxides
	return &Layers{
		vector.NewLayer(false, n.B1[:], oxides, func(output, input int) float64 { return n.W1[input][output] }),
		vector.NewLayer(true, make([]float64, Hidden1), NumStructure, func(output, input int) float64 { return n.W1[oxides+input][output] }),
		vector.NewLayer(true, n.B2[:], Hidden1, func(output, input int) float64 { return n.W2[output][input] }),
		vector.NewLayer(false, n.B3[:], Hidden2, func(output, input int) float64 { return n.W3[output][input] }),
	}
}

// fill is what the outputs of a layer may be filled up with.
const fill = vector.Padding - 1

// Begun is what the first layer makes of a melt's mole fractions. That of a mixture is the mean of those of its melts, by moles.
type Begun [Hidden1 + fill]float64

// Begin works it out from the first of the features.
func (l *Layers) Begin(oxides *[chem.NumNetworkOxides]float64, b *Begun) {
	l.oxides.Apply(b[:], oxides[:])
}

// End runs the rest of the network, on what Features has found of the structure.
func (l *Layers) End(b *Begun, structure *[NumStructure]float64, out *[Outputs]float64) {
	var h1 [Hidden1 + fill]float64
	var h2 [Hidden2 + fill]float64
	var y [Outputs + fill]float64
	copy(out[:], l.three.Apply(y[:], l.two.Apply(h2[:], l.one.ApplyTo(h1[:], structure[:], b[:]))))
}

// Eval runs the network on features.
func (l *Layers) Eval(f *[NumFeatures]float64, out *[Outputs]float64) {
	var b Begun
	l.Begin((*[chem.NumNetworkOxides]float64)(f[:]), &b)
	l.End(&b, (*[NumStructure]float64)(f[chem.NumNetworkOxides:]), out)
}
