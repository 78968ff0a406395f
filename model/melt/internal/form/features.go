// Package form is the one form of the viscosity model, shared by the model that runs and by the
// program that fits it: what is read off a composition, the network, and the curve that it ends in.
package form

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// NumFeatures counts what Features gives: the mole fractions and NumStructure numbers of structure.
const (
	NumStructure = 12
	NumFeatures  = chem.NumNetworkOxides + NumStructure
)

// Features describes a melt (mole fractions that sum to 1) to the network: first its mole fractions, then its Structure.
//
// All iron counts as Fe2O3 here; what it does as FeO is FerrousEffect.
func Features(x *[chem.NumNetworkOxides]float64, f *[NumFeatures]float64) {
	copy(f[:chem.NumNetworkOxides], x[:])
	if ferrous := x[chem.FeO]; ferrous > 0 {
		f[chem.Fe2O3] += ferrous / 2
		f[chem.FeO] = 0
		scale := 1 / (1 - ferrous/2)
		for i := range chem.NumNetworkOxides {
			f[i] *= scale
		}
	}
	Structure((*[chem.NumNetworkOxides]float64)(f[:]), (*[NumStructure]float64)(f[chem.NumNetworkOxides:]))
}

// Structure is what the mole fractions of a melt, all its iron as Fe2O3, say of how it is built. Every number is smooth in the composition.
func Structure(x *[chem.NumNetworkOxides]float64, s *[NumStructure]float64) {
	si, al, b := x[chem.SiO2], x[chem.Al2O3], x[chem.B2O3]
	li, na, k := x[chem.Li2O], x[chem.Na2O], x[chem.K2O]
	alkali := li + na + k
	earth := x[chem.MgO] + x[chem.CaO] + x[chem.SrO] + x[chem.BaO] + x[chem.ZnO] + x[chem.PbO] + x[chem.MnO]

	// Alkali balances the charge of four-coordinated aluminium first, the earths what is left of it.
	freeAlkali := positive(alkali - al)
	openAl := positive(al - alkali)
	freeEarth := positive(earth - openAl)
	// Boron turns four-coordinated as far as free modifier goes round; an earth does less for it than an alkali.
	modifier := freeAlkali + 0.4*freeEarth
	fourB := b * modifier / (b + modifier + 0.01)
	nonBridging := 2 * positive(freeAlkali+freeEarth-fourB)
	// The 0.02 keeps the ratios below finite for a melt without any former.
	tetrahedra := 0.02 + si + x[chem.TiO2] + x[chem.ZrO2] + 2*(al+b+x[chem.P2O5]) + x[chem.Fe2O3]

	s[0] = freeAlkali
	s[1] = openAl
	s[2] = positive(openAl - earth) // aluminium that nothing balances
	s[3] = fourB
	s[4] = nonBridging / (tetrahedra + nonBridging)
	s[5] = b - fourB
	s[6] = (na*k + li*(na+k)) / (alkali + 0.02) // mixed alkali
	s[7] = k / (alkali + 0.05)
	s[8] = li / (alkali + 0.05)
	s[9] = alkali / (alkali + earth + 0.05)
	s[10] = x[chem.MgO] / (earth + 0.05) // field strength of the earths
	s[11] = si / tetrahedra
}

// FerrousEffect gives the change of log10 η (0 or less mostly) by how much of the iron is FeO, against a melt in air; from the mole fractions of FeO and Fe2O3.
//
// The data mostly says how an analyst wrote iron down, as all FeO or all Fe2O3, seldom what it was; most were melted in air, where about a fifth
// of iron is FeO at these temperatures. So a melt with iron in one column alone counts as melted in air, and one with both, as
// a redox calculation gives it, by its share s of FeO: -3 t (s - 0.2), t being all iron as mole fraction of FeO, faded out smoothly within about
// 1 % of either end. The 3 is ours: melts lose 0.2 to 0.5 on reduction at some 10 mol% of iron (Dingwell & Virgo 1987 and 1988, Geochim.
// Cosmochim. Acta 51, 195 and 52, 395; from memory).
func FerrousEffect(ferrous, ferricOxide float64) float64 {
	ferric := 2 * ferricOxide
	if ferrous == 0 || ferric == 0 {
		return 0
	}
	const inAir, fade, perIron = 0.2, 0.01, -3.0
	iron := ferrous + ferric
	s := ferrous / iron
	return perIron * iron * (s - inAir) * s / (s + fade) * (1 - s) / (1 - s + fade)
}

// positive is a smooth positive part of z, rounded over 0.02 mole fraction.
func positive(z float64) float64 {
	const w = 0.02
	return 0.5 * (z + math.Sqrt(z*z+w*w))
}
