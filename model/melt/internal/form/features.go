// Package form is the one form of the viscosity model, shared by the model that runs and by the
// program that fits it: what is read off a composition, the network, and the curve that it ends in.
package form

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// The numbers that Structure reads off a composition. All but the ratios are mole fractions.
const (
	FreeAlkali    = iota // alkali left over from charging aluminium
	OpenAluminium        // aluminium that alkali does not charge
	BareAluminium        // aluminium that neither alkali nor earths charge
	FourBoron            // boron with four neighbours
	NonBridging          // ratio: non-bridging oxygen per tetrahedron, as y/(1+y)
	ThreeBoron           // boron with three neighbours
	MixedAlkali          // pairs of different alkalis over all alkali
	Potassium            // ratio: K2O of alkali
	Lithium              // ratio: Li2O of alkali
	AlkaliShare          // ratio: alkali of alkali and earths
	Magnesium            // ratio: MgO of the earths, whose field strength it stands for
	Silica               // ratio: silicon of tetrahedra
	NumStructure
)

// NumFeatures counts what Features gives: the mole fractions, then the structure.
const NumFeatures = chem.NumNetworkOxides + NumStructure

// Features gives the inputs of the network for a melt (mole fractions that sum to 1): its mole fractions with all iron
// as Fe2O3, then its Structure. FerrousEffect stands for the rest of what iron does.
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

// Structure reads off the mole fractions of a melt, all its iron as Fe2O3, how its network is built. Every number is
// smooth in the composition.
func Structure(x *[chem.NumNetworkOxides]float64, s *[NumStructure]float64) {
	si, al, b := x[chem.SiO2], x[chem.Al2O3], x[chem.B2O3]
	li, na, k := x[chem.Li2O], x[chem.Na2O], x[chem.K2O]
	alkali := li + na + k
	earth := x[chem.MgO] + x[chem.CaO] + x[chem.SrO] + x[chem.BaO] + x[chem.ZnO] + x[chem.PbO] + x[chem.MnO]

	// Alkali charges four-coordinated aluminium first; the earths charge the rest.
	freeAlkali := positive(alkali - al)
	openAl := positive(al - alkali)
	freeEarth := positive(earth - openAl)
	// Boron takes a fourth neighbour as far as free modifier goes round; an earth does less for it than an alkali.
	modifier := freeAlkali + 0.4*freeEarth
	fourB := b * modifier / (b + modifier + 0.01)
	nonBridging := 2 * positive(freeAlkali+freeEarth-fourB)
	// The 0.02 keeps the ratios below finite for a melt without any former.
	tetrahedra := 0.02 + si + x[chem.TiO2] + x[chem.ZrO2] + 2*(al+b+x[chem.P2O5]) + x[chem.Fe2O3]

	s[FreeAlkali] = freeAlkali
	s[OpenAluminium] = openAl
	s[BareAluminium] = positive(openAl - earth)
	s[FourBoron] = fourB
	s[NonBridging] = nonBridging / (tetrahedra + nonBridging)
	s[ThreeBoron] = b - fourB
	s[MixedAlkali] = (na*k + li*(na+k)) / (alkali + 0.02)
	s[Potassium] = k / (alkali + 0.05)
	s[Lithium] = li / (alkali + 0.05)
	s[AlkaliShare] = alkali / (alkali + earth + 0.05)
	s[Magnesium] = x[chem.MgO] / (earth + 0.05)
	s[Silica] = si / tetrahedra
}

// FerrousEffect gives the change of log10 η, against a melt in air, by the share s of the iron that is FeO, mostly 0 or
// less. Arguments are mole fractions of FeO and Fe2O3; t is all iron as FeO:
//
//	-3 t (s - 0.2),   faded out smoothly within about 1 % of s = 0 and s = 1
//
// The data mostly says how an analyst wrote iron down, as all FeO or all Fe2O3, and seldom what it was. Most melts were
// made in air, where about a fifth of the iron is FeO at these temperatures; so a melt with iron in one column alone
// counts as made in air. The 3 is ours: melts lose 0.2 to 0.5 on reduction at some 10 mol% of iron (Dingwell & Virgo
// 1987 and 1988, Geochim. Cosmochim. Acta 51, 195 and 52, 395; from memory).
func FerrousEffect(ferrous, ferricOxide float64) float64 {
	ferric := 2 * ferricOxide
	if ferrous == 0 || ferric == 0 {
		return 0
	}
	const inAir, fade, perIron = 0.2, 0.01, -3.0
	t := ferrous + ferric
	s := ferrous / t
	return perIron * t * (s - inAir) * s / (s + fade) * (1 - s) / (1 - s + fade)
}

// positive is the positive part of z, made smooth over about 0.02 of mole fraction: (z + √(z² + 0.02²))/2.
func positive(z float64) float64 {
	const w = 0.02
	return 0.5 * (z + math.Sqrt(z*z+w*w))
}
