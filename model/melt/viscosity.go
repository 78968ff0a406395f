package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// layers are the network, see coefficients.go.
var layers = network.Layers()

// Viscosity gives the viscosity curve of a melt (mole fractions that sum to 1). Its Domain says when the melt lies
// outside the data, and its deviation is wider there. Colourants that the data lacks are counted as their neighbours,
// see lump.
func Viscosity(x *chem.Melt) Curve {
	var oxides [chem.NumNetworkOxides]float64
	var features [form.NumFeatures]float64
	var outputs [form.Outputs]float64
	moved, lumped := lump(x, &oxides)
	form.Features(&oxides, &features)
	layers.Eval(&features, &outputs)
	redox := RedoxEffect(x[chem.FeO], x[chem.Fe2O3])

	signals := form.SignalsOf(&features, outputs[3])
	return Curve{
		VFT:    curveOf(&outputs).Shifted(redox),
		sd:     viscositySD(deviation.SD(&signals), redox, moved, beyondData(&oxides)),
		sdCold: 0.1,
		domain: domainOf(&oxides, lumped, form.Spread(outputs[3])),
	}
}

// curveOf reads A, B and C off the network's outputs.
func curveOf(outputs *[form.Outputs]float64) VFT {
	return newVFT(form.CurveOf(outputs[0], outputs[1], outputs[2]).VFT())
}

// RedoxEffect is the part of log10 η that depends on how much of the iron is FeO, from the mole fractions of FeO and
// Fe2O3. Viscosity adds it to the viscosity of the Oxidised melt. See form.FerrousEffect.
func RedoxEffect(ferrous, ferric float64) float64 { return form.FerrousEffect(ferrous, ferric) }

// Standard deviations of log10 η that Viscosity adds, ours. The divalent oxides' first effects differ by about
// sdPerLumped among themselves.
const (
	sdPerRedox  = 0.5 // per unit of the redox effect
	sdPerLumped = 5.0 // per mole fraction of oxides that are counted as others
	sdPerBeyond = 5.0 // per mole fraction of an oxide beyond its end in the data
)

// viscositySD adds up, as independent, the standard deviation of log10 η that the network is fitted to have, and those
// of the redox effect (log10 η), of oxides counted as others and of oxides beyond the data (mole fractions).
func viscositySD(fitted, redox, lumped, beyond float64) float64 {
	r, l, b := sdPerRedox*redox, sdPerLumped*lumped, sdPerBeyond*beyond
	return math.Sqrt(fitted*fitted + r*r + l*l + b*b)
}

// beyondData sums how far (mole fraction) each oxide lies beyond its end in the data.
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
