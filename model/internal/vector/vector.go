package vector

import "math"

//go:generate sh -c "cd _asm && go run . -out ../kernels_amd64.s -stubs ../kernels_amd64.go -pkg vector"

// Exp writes e to the power of each x into dst, which is at least as long and may be the same. Powers below -708 count as -708 and those above
// 709 as 709, so that the result is a normal number.
func Exp(dst, x []float64) { exp(dst[:len(x)], x) }

// Log writes the natural logarithm of each x into dst, which is at least as long and may be the same. It is not a number where x is
// not a finite one of at least 2^-1022.
func Log(dst, x []float64) { log(dst[:len(x)], x) }

// Dot is Σ x[i] y[i]; y is at least as long as x.
func Dot(x, y []float64) float64 { return dot(x, y[:len(x)]) }

// Mix writes a·x + b·y into dst, which is at least as long as x and may be x or y, as y is. Which of the two is named first does not matter to the
// last bit.
func Mix(dst, x, y []float64, a, b float64) { mix(dst[:len(x)], x, y[:len(x)], a, b) }

// VFT is a viscosity over temperature, log10 η = A + B/(T - C), that goes on along a tangent below the temperature Knee: there
// log10 η = KneeLog + KneeSlope (T - Knee). Temperatures in K, Knee more than C.
type VFT struct{ A, B, C, Knee, KneeLog, KneeSlope float64 }

// Log10 is log10 η at a temperature.
func (k *VFT) Log10(kelvin float64) float64 {
	if kelvin < k.Knee {
		return k.KneeLog + k.KneeSlope*(kelvin-k.Knee)
	}
	return k.A + k.B/(kelvin-k.C)
}

// Shifted gives the viscosity with d added to log10 η at every temperature.
func (k VFT) Shifted(d float64) VFT {
	k.A += d
	k.KneeLog += d
	return k
}

// Fluidities writes 1/η at each temperature into dst, which is at least as long.
func (k *VFT) Fluidities(dst, kelvin []float64) { fluidities(dst[:len(kelvin)], kelvin, k) }

// Layer is a dense layer of a network: W x + b, each sum through Unit if it bends.
type Layer struct {
	bends           bool
	inputs, outputs int       // outputs with what fills them up to a multiple of Padding
	weights, biases []float64 // weights by input
}

// Padding is what the number of outputs is filled up to a multiple of.
const Padding = 8

// NewLayer makes a layer from the bias of each output and the weight of each input in each output.
func NewLayer(bends bool, biases []float64, inputs int, weight func(output, input int) float64) *Layer {
	l := &Layer{bends: bends, inputs: inputs, outputs: (len(biases) + Padding - 1) / Padding * Padding}
	l.weights, l.biases = make([]float64, inputs*l.outputs), make([]float64, l.outputs)
	for j, b := range biases {
		l.biases[j] = b
		for i := range inputs {
			l.weights[i*l.outputs+j] = weight(j, i)
		}
	}
	return l
}

// Outputs is the number of outputs, filled up: what Apply writes.
func (l *Layer) Outputs() int { return l.outputs }

// Apply writes the outputs for the inputs x into y, which is another slice, and gives what it wrote. What fills the outputs up is 0.
func (l *Layer) Apply(y, x []float64) []float64 { return l.ApplyTo(y, x, l.biases) }

// ApplyTo is Apply with other biases, as many as there are outputs: what other inputs have come to already.
func (l *Layer) ApplyTo(y, x, biases []float64) []float64 {
	y, x, biases = y[:l.outputs], x[:l.inputs], biases[:l.outputs]
	if l.bends {
		denseUnit(y, l.weights, biases, x)
	} else {
		dense(y, l.weights, biases, x)
	}
	return y
}

// Unit is z (1+|z|)/(1+|z|+z²): it runs from -1 to 1 like tanh, has three continuous derivatives, and costs one division.
func Unit(z float64) float64 {
	a := 1 + math.Abs(z)
	return z * a / (a + z*z)
}
