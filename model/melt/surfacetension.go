package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// kucuk is the change of surface tension at 1400 °C, mN/m per mol%: A. Kucuk, A.G. Clare, L. Jones, Glass Technol. 40
// (1999) 149-153. Oxides not named there have none (SiO2, Na2O, ZnO, TiO2, ZrO2 among them).
var kucuk = [chem.NumOxides]float64{
	chem.Li2O: 1.48, chem.K2O: -2.22, chem.MgO: 1.96, chem.CaO: 3.34, chem.BaO: 1.28, chem.SrO: 3.32, chem.FeO: 2.68,
	chem.MnO: 2.92, chem.PbO: -1.38, chem.B2O3: -2.86, chem.Al2O3: 3.47,
}

// SurfaceTension gives the surface tension (N/m) of a melt at T (K) and its standard deviation.
//
// Kucuk 1999 at 1400 °C, 271.2 mN/m + Σ factor·mol%, with -0.02 mN/m per kelvin (soda-lime glass from 1100 to 1400 °C:
// Babcock 1940, J. Am. Ceram. Soc. 23). The deviation is ours: 15 mN/m, as three published sets of factors differ from
// one another for seven melts (standard deviation of Kucuk 1999 against Dietzel 1942 and Appen 1974, up to 37 mN/m
// apart), and the whole of the slope's effect away from 1400 °C. The result is at least 100 mN/m.
func SurfaceTension(x *chem.Melt, T float64) (tension, sd float64) {
	t := 271.2
	for i, f := range kucuk {
		t += f * 100 * x[i]
	}
	away := T - 1673.15
	t -= 0.02 * away
	return math.Max(t, 100) * 1e-3, math.Hypot(15, 0.02*away) * 1e-3
}
