package form

import (
	"math"

	"github.com/catchline/catchline/model/internal/vector"
)

// Curve is log10 η = A + B/(T - C) written by what the network can give without constraint: A, the temperature T3 at
// which log10 η is 3, and r = C/T3 between 0 and 0.8. So B = (3-A)(T3-C) is positive and C below T3 whatever comes out.
type Curve struct{ A, T3, R float64 }

// Knee is the log10 η above which the curve goes on along its tangent: near the glass transition, where nothing flows.
const Knee = 12.0

const (
	centreA, spanA   = -2.8, 0.8
	centreT3, spanT3 = 1400.0, 0.2
	topR, spanR      = 0.8, 0.6
)

// CurveOf reads the first three outputs of the network. A fit calls it too, and a fit ends elsewhere when its last bits
// differ: so it takes its exponentials from package math, whose bits do not depend on what the processor can do.
func CurveOf(u0, u1, u2 float64) Curve {
	return Curve{
		A:  centreA + spanA*2.2*vector.Unit(u2/2.2), // from -4.56 to -1.04
		T3: centreT3 * math.Exp(spanT3*u0),
		R:  topR / (1 + math.Exp(-spanR*u1)),
	}
}

// VFT gives A, B and C.
func (c Curve) VFT() (a, b, cc float64) {
	cc = c.R * c.T3
	return c.A, (3 - c.A) * (c.T3 - cc), cc
}

// Log10 gives log10 η at T, and its derivatives to the three outputs that CurveOf read.
func (c Curve) Log10(T float64, u2 float64, slope *[3]float64) float64 {
	tau := T / c.T3
	b := (3 - c.A) * (1 - c.R)
	d := tau - c.R
	dR := topR * spanR * (c.R / topR) * (1 - c.R/topR)
	dA := spanA * UnitSlope(u2/2.2)
	if knee := b / (Knee - c.A); d < knee {
		s := b / (knee * knee)
		// held at the knee: the derivative to A is left out there
		slope[0], slope[1], slope[2] = s*tau*spanT3, s*dR, 0
		return Knee - s*(d-knee)
	}
	slope[0] = b / (d * d) * tau * spanT3
	slope[1] = (b/(d*d) - (3-c.A)/d) * dR
	slope[2] = (1 - (1-c.R)/d) * dA
	return c.A + b/d
}

// Spread reads the fourth output: how far several fits on the same data, from other starts and of another kind, differ
// over the melt (standard deviation of log10 η). It is small among the data and grows away from it.
func Spread(u3 float64) float64 { return 0.1 * math.Exp(0.7*u3) }

// SpreadOutput is what the fourth output should be for a spread.
func SpreadOutput(spread float64) float64 { return math.Log(math.Max(spread, 0.005)/0.1) / 0.7 }
