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

// Network is a dense network with two hidden layers of the activation vector.Unit. Its outputs are read by CurveOf
// (three) and Spread (one).
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

// Layers are a network laid out to run fast. The first layer is split in two, since its sum over the oxides is linear
// in the composition: the sum of a mixture is the mean of the sums of its melts, by moles, and is not computed anew for
// each mixture.
type Layers struct{ oxides, one, two, three *vector.Layer }

// Layers lays the network out.
func (n *Network) Layers() *Layers {
	const oxides = chem.NumNetworkOxides
	return &Layers{
		vector.NewLayer(false, n.B1[:], oxides, func(output, input int) float64 { return n.W1[input][output] }),
		vector.NewLayer(true, make([]float64, Hidden1), NumStructure, func(output, input int) float64 { return n.W1[oxides+input][output] }),
		vector.NewLayer(true, n.B2[:], Hidden1, func(output, input int) float64 { return n.W2[output][input] }),
		vector.NewLayer(false, n.B3[:], Hidden2, func(output, input int) float64 { return n.W3[output][input] }),
	}
}

// padding is how many further outputs a layer may write.
const padding = vector.Padding - 1

// OxideSum is the first layer's sum over the mole fractions of the oxides, without that over the structure: Σ xi W1i +
// B1.
type OxideSum [Hidden1 + padding]float64

// SumOxides works out the first layer's sum over the oxides.
func (l *Layers) SumOxides(oxides *[chem.NumNetworkOxides]float64, sum *OxideSum) {
	l.oxides.Apply(sum[:], oxides[:])
}

// Finish adds the sum over the structure to that over the oxides and runs the rest of the network.
func (l *Layers) Finish(sum *OxideSum, structure *[NumStructure]float64, out *[Outputs]float64) {
	var h1 [Hidden1 + padding]float64
	var h2 [Hidden2 + padding]float64
	var y [Outputs + padding]float64
	copy(out[:], l.three.Apply(y[:], l.two.Apply(h2[:], l.one.ApplyTo(h1[:], structure[:], sum[:]))))
}

// Eval runs the whole network on features.
func (l *Layers) Eval(f *[NumFeatures]float64, out *[Outputs]float64) {
	var sum OxideSum
	l.SumOxides((*[chem.NumNetworkOxides]float64)(f[:]), &sum)
	l.Finish(&sum, (*[NumStructure]float64)(f[chem.NumNetworkOxides:]), out)
}
