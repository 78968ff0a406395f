package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// layers are the network.
var layers = network.Layers()

// reading is what the model makes of a melt.
type reading struct {
	oxides   [chem.NumNetworkOxides]float64
	moved    float64 // mole fraction counted as another oxide
	lumped   uint32  // bit per oxide that was
	features [form.NumFeatures]float64
	outputs  [form.Outputs]float64
	redox    float64 // log10 η
}

// read runs the model and gives the viscosity.
func (r *reading) read(x *chem.Melt) VFT {
	r.moved, r.lumped = lump(x, &r.oxides)
	form.Features(&r.oxides, &r.features)
	layers.Eval(&r.features, &r.outputs)
	r.redox = RedoxEffect(x[chem.FeO], x[chem.Fe2O3])
	return curveOf(&r.outputs).Shifted(r.redox)
}

// curveOf reads the network's outputs.
func curveOf(u *[form.Outputs]float64) VFT { return newVFT(form.CurveOf(u[0], u[1], u[2]).VFT()) }

// RedoxEffect is the part of log10 η that hangs on how much of the iron is FeO, from the mole fractions of FeO and Fe2O3: what Viscosity adds
// to the viscosity of the Oxidised melt. See form.FerrousEffect.
func RedoxEffect(ferrous, ferric float64) float64 { return form.FerrousEffect(ferrous, ferric) }

// Viscosity gives the viscosity curve of a melt (mole fractions that sum to 1). It says in its
// Domain when the melt lies outside the data, and widens its deviation there. Colourants that the data lacks are
// counted as their neighbours, see lump.
func Viscosity(x *chem.Melt) Curve {
	var r reading
	k := Curve{VFT: r.read(x)}
	signals := form.SignalsOf(&r.features, r.outputs[3])
	k.sd = deviation.SD(&signals)
	redox := r.redox * sdPerRedox
	lumping := sdPerLumped * r.moved
	beyond := sdPerBeyond * beyondData(&r.oxides)
	k.sd = math.Sqrt(k.sd*k.sd + redox*redox + lumping*lumping + beyond*beyond)
	k.sdCold = 0.1
	k.domain = domainOf(&r.oxides, r.lumped, form.Spread(r.outputs[3]))
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
