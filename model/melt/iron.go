package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// SplitIron divides the iron of a melt between Fe2O3 and FeO as in equilibrium with an oxygen fugacity (log10 of bar)
// at T (K, 1100 to 1900), and scales the melt to sum to 1 again. Iron may be given as either oxide or both. A melt
// without iron is returned unchanged.
//
// V.C. Kress, I.S.E. Carmichael, Contrib. Mineral. Petrol. 108 (1991) 82-92, eq. 7 and Table 7, at 1 bar (its pressure
// terms are 5e-5 there and left out):
//
//	ln(XFe2O3/XFeO) = a ln fO2 + b/T + c + Σ di Xi + e [1 - T0/T - ln(T/T0)],   X with all iron as FeO
//
// The kiln's atmosphere reaches a glaze only while the raw layer is porous, so equilibrium is a limit.
func SplitIron(x *chem.Melt, T, log10FO2 float64) chem.Melt {
	iron := x[chem.FeO] + 2*x[chem.Fe2O3] // moles of iron per mole of oxides as given
	if iron == 0 {
		return *x
	}
	const (
		a, b, c = 0.196, 11492.0, -6.675
		dAl2O3  = -2.243
		dFeO    = -1.828
		dCaO    = 3.201
		dNa2O   = 5.854
		dK2O    = 6.215
		e       = -3.36
		t0      = 1673.0
	)
	n := x[chem.Fe2O3] // moles of oxides with all iron as FeO, per mole as given
	for _, v := range x {
		n += v
	}
	sum := (dAl2O3*x[chem.Al2O3] + dFeO*iron + dCaO*x[chem.CaO] + dNa2O*x[chem.Na2O] + dK2O*x[chem.K2O]) / n
	ratio := math.Exp(a*math.Ln10*log10FO2 + b/T + c + sum + e*(1-t0/T-math.Log(T/t0)))
	y := *x
	y[chem.FeO] = iron / (1 + 2*ratio)
	y[chem.Fe2O3] = iron * ratio / (1 + 2*ratio)
	total := n - iron + y[chem.FeO] + y[chem.Fe2O3]
	for i := range y {
		y[i] /= total
	}
	return y
}

// Oxidised gives a melt with all its iron as Fe2O3, scaled to sum to 1.
func Oxidised(x *chem.Melt) chem.Melt {
	y := *x
	ferrous := y[chem.FeO]
	if ferrous == 0 {
		return y
	}
	y[chem.Fe2O3] += ferrous / 2
	y[chem.FeO] = 0
	for i := range y {
		y[i] /= 1 - ferrous/2
	}
	return y
}
