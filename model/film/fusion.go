package film

import (
	"github.com/catchline/catchline/model/internal/vector"
	"github.com/catchline/catchline/model/melt"
)

// Fusion is how a raw glaze becomes a melt as it nears its own cone: until then it is grains that sinter, and hardly
// flows.
type Fusion struct {
	Below float64 // K below the own cone's temperature where half of the melt's fluidity is there
	Width float64 // K over which it comes
}

// EarlyFusion is by how much earlier (K) a melt with a mole fraction of boron oxide fuses than one with the usual
// 0.03. Frits and borates melt first (common practice, no source); the 150 K for each unit of the mole fraction are
// ours.
func EarlyFusion(boron float64) float64 { return 150 * (boron - 0.03) }

// Maturity is what a glaze is on its way to being a melt.
type Maturity struct {
	Own      float64 // K, where its own cone goes down
	Early    float64 // K, see EarlyFusion
	Crystals float64 // volume fraction at its own cone
}

// Fluid writes the parts of its melt's fluidity that a glaze has at each T (K), at most maxFluid of them. What it has
// melted so far,
//
//	melted = 1 / (1 + exp(-(T - Own + Below + Early)/Width))
//
// is what two glazes mix with. Common practice (no source): visible flow begins 40 to 60 °C below the peak of a glaze
// that is fired to its own cone. The form is ours. It is read by temperature alone, not by the way there: what has
// fused and cools again stiffens a little too early, which takes off a few per cent, as a kiln cools faster than it
// heats.
//
//	flowing = melted / (1 + (Stiffening - 1) exp(-(T - T6)/Fining)) / RelativeViscosity(FadedCrystals)
//
// has bubbles, grains and crystals in it too; T6 is cone 6. That bubbles and grains go as it gets hotter is ours:
// practice at cone 10 runs, and at cone 04 stands, more than viscosity explains.
func (p *Practice) Fluid(flowing, melted, T []float64, m *Maturity) {
	var stiff [maxFluid]float64
	fusion, perWidth := m.Own-p.Fusion.Below-m.Early, 1/p.Fusion.Width
	for i, t := range T {
		melted[i], stiff[i] = (fusion-t)*perWidth, (cone6Kelvin-t)/p.Fining
	}
	vector.Exp(melted[:len(T)], melted[:len(T)])
	vector.Exp(stiff[:len(T)], stiff[:len(T)])
	for i, t := range T {
		melted[i] = 1 / (1 + melted[i])
		flowing[i] = melted[i] / (1 + (p.Stiffening-1)*stiff[i])
		if m.Crystals > 0 {
			flowing[i] /= melt.RelativeViscosity(melt.FadedCrystals(m.Crystals, t, m.Own))
		}
	}
}

// maxFluid is how many temperatures Fluid takes at once.
const maxFluid = 32
