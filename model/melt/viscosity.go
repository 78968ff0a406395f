package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// layers are the network.
var layers = network.Layers()

// Viscosity gives the viscosity curve of a melt (mole fractions that sum to 1). It says in its
// Domain when the melt lies outside the data, and widens its deviation there. Colourants that the data lacks are
// counted as their neighbours, see lump.
func Viscosity(x *chem.Melt) Curve {
	var n [chem.NumNetworkOxides]float64
	moved, lumped := lump(x, &n)
	var f [form.NumFeatures]float64
	var u [form.Outputs]float64
	form.Features(&n, &f)
	layers.Eval(&f, &u)
	k := newCurve(form.CurveOf(u[0], u[1], u[2]).VFT())
	redox := form.FerrousEffect(&n)
	k.shift(redox)

	signals := form.SignalsOf(&f, u[3])
	k.sd = deviation.SD(&signals)
	redox *= sdPerRedox
	lumping := sdPerLumped * moved
	beyond := sdPerBeyond * beyondData(&n)
	k.sd = math.Sqrt(k.sd*k.sd + redox*redox + lumping*lumping + beyond*beyond)
	k.sdCold = 0.1
	k.domain = domainOf(&n, lumped, form.Spread(u[3]))
	return k
}

// Deviations of log10 η per mole fraction, ours: of an oxide counted as another (the divalent oxides' first effects differ by about this
// among themselves), and of an oxide beyond the end of the data.
const (
	sdPerLumped = 5.0
	sdPerRedox  = 0.5 // of the redox effect, not per mole fraction
	sdPerBeyond = 5.0
)

// beyondData sums how far the oxides lie beyond their ends in the data.
func beyondData(n *[chem.NumNetworkOxides]float64) float64 {
	sum := max(0, lowestSilica-n[chem.SiO2])
	for i, v := range n {
		sum += max(0, v-highest[i])
	}
	return sum
}

func domainOf(n *[chem.NumNetworkOxides]float64, lumped uint32, spread float64) Domain {
	d := Domain{lumped: lumped, lowSilica: n[chem.SiO2] < lowestSilica}
	for i, v := range n {
		if v > highest[i] {
			d.over |= 1 << i
		}
	}
	d.Distance = spread / usualSpread
	return d
}
