package melt

import (
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/reference"
)

// Viscosity gives the viscosity curve of a melt (mole fractions that sum to 1). It says in its
// Domain when the melt lies outside the data, and widens its deviation there.
//
// Fluegel 2007 by the isokoms at 1.5 and 6.6 with A = -2.9 for now.
func Viscosity(x *chem.Melt) Curve {
	var n [chem.NumNetworkOxides]float64
	moved, bits := lump(x, &n)
	m := make(map[string]float64, chem.NumNetworkOxides)
	var d Domain
	d.lumped = bits
	for i, v := range n {
		o := chem.Oxide(i)
		switch o {
		case chem.FeO:
			m["Fe2O3"] += 50 * v
		case chem.Fe2O3:
			m["Fe2O3"] += 100 * v
		case chem.MnO:
			m["MnO2"] += 100 * v
		default:
			m[o.String()] += 100 * v
		}
		if v > fluegelLimit[i] {
			d.over |= 1 << i
			d.Distance += (v - fluegelLimit[i]) / 0.1
		}
	}
	d.lowSilica = n[chem.SiO2] < 0.4262
	a, b, c := reference.FluegelVFT(m)
	if b < 500 {
		b = 500
	}
	k := newCurve(a, b, c)
	k.sd = 0.45 + 5*moved + 0.2*d.Distance
	k.sdCold = 0.1
	k.domain = d
	return k
}

// fluegelLimit is the highest mole fraction at both isokoms: Fluegel 2007, Table 3.
var fluegelLimit = [chem.NumNetworkOxides]float64{
	chem.SiO2: 0.871, chem.TiO2: 0.0329, chem.ZrO2: 0.0277, chem.Al2O3: 0.113, chem.B2O3: 0.1697, chem.P2O5: 0.0085,
	chem.Fe2O3: 0.0215, chem.FeO: 0.043, chem.MnO: 0.0018, chem.MgO: 0.169, chem.CaO: 0.331, chem.SrO: 0.0737, chem.BaO: 0.08,
	chem.ZnO: 0.0519, chem.Li2O: 0.333, chem.Na2O: 0.42, chem.K2O: 0.30, chem.PbO: 0.4996,
}
