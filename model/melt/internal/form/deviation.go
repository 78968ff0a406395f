package form

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// Signals are what the standard deviation of a prediction depends on: the network's fourth output (the log of an
// ensemble's spread), and what tells one kind of melt from another (Al2O3, B2O3, non-bridging oxygen).
type Signals [4]float64

// SignalsOf gathers the signals of a melt from its features and the network's fourth output.
func SignalsOf(f *[NumFeatures]float64, u3 float64) Signals {
	return Signals{u3, 10 * f[chem.Al2O3], 10 * f[chem.B2O3], f[chem.NumNetworkOxides+NonBridging]}
}

// Deviation holds the coefficients of ln(standard deviation of log10 η): a constant and one for each signal.
type Deviation [5]float64

// SD gives the standard deviation of log10 η, exp(d0 + Σ di si), held within 0.05 to 2.
func (d *Deviation) SD(s *Signals) float64 {
	l := d[0]
	for i, v := range s {
		l += d[i+1] * v
	}
	return math.Min(math.Max(math.Exp(l), 0.05), 2)
}
