package melt

import "github.com/catchline/catchline/model/chem"

// lumpedAs is the oxide of the viscosity data that a colourant or opacifier is counted as, mole for mole of cation, by
// charge and size: divalent Cu, Co and Ni (radii 0.073, 0.075, 0.069 nm; Shannon 1976, from memory) go with Zn (0.074)
// when Cu and Co, with Mg (0.072) when Ni; Cr(III) with Fe(III), as its size and sites are; tetravalent Sn and Ce with
// Zr; V(V) with P(V). Ours, and rough: a lumped oxide widens the deviation.
var lumpedAs = [chem.NumOxides - chem.NumNetworkOxides]chem.Oxide{
	chem.CuO - chem.NumNetworkOxides:   chem.ZnO,
	chem.CoO - chem.NumNetworkOxides:   chem.ZnO,
	chem.NiO - chem.NumNetworkOxides:   chem.MgO,
	chem.Cr2O3 - chem.NumNetworkOxides: chem.Fe2O3,
	chem.SnO2 - chem.NumNetworkOxides:  chem.ZrO2,
	chem.V2O5 - chem.NumNetworkOxides:  chem.P2O5,
	chem.CeO2 - chem.NumNetworkOxides:  chem.ZrO2,
}

// lump writes to dst the mole fractions of x with the oxides that the viscosity data lacks added to those that they are
// counted as. It returns the mole fraction moved and a bit for each oxide that was.
func lump(x *chem.Melt, dst *[chem.NumNetworkOxides]float64) (moved float64, bits uint32) {
	copy(dst[:], x[:chem.NumNetworkOxides])
	for i, to := range lumpedAs {
		v := x[chem.NumNetworkOxides+i]
		if v > 0 {
			dst[to] += v
			moved += v
			bits |= 1 << (chem.NumNetworkOxides + i)
		}
	}
	return moved, bits
}
