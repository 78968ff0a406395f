package main

import (
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// Optical basicities of the oxides (Duffy & Ingram 1976, J. Non-Cryst. Solids 21, 373, and later lists of the same; from memory) and their
// oxygens.
var (
	basicity = [chem.NumNetworkOxides]float64{
		chem.SiO2: 0.48, chem.TiO2: 0.61, chem.ZrO2: 0.8, chem.Al2O3: 0.59, chem.B2O3: 0.42, chem.P2O5: 0.4, chem.Fe2O3: 0.77, chem.FeO: 1, chem.MnO: 0.9,
		chem.MgO: 0.78, chem.CaO: 1, chem.SrO: 1.1, chem.BaO: 1.15, chem.ZnO: 0.82, chem.Li2O: 1, chem.Na2O: 1.15, chem.K2O: 1.4, chem.PbO: 0.95,
	}
	oxygens = [chem.NumNetworkOxides]float64{
		chem.SiO2: 2, chem.TiO2: 2, chem.ZrO2: 2, chem.Al2O3: 3, chem.B2O3: 3, chem.P2O5: 5, chem.Fe2O3: 3, chem.FeO: 1, chem.MnO: 1,
		chem.MgO: 1, chem.CaO: 1, chem.SrO: 1, chem.BaO: 1, chem.ZnO: 1, chem.Li2O: 1, chem.Na2O: 1, chem.K2O: 1, chem.PbO: 1,
	}
)

// productFeatures are what the product's network is told.
func productFeatures(x *[chem.NumNetworkOxides]float64) []float64 {
	var f [form.NumFeatures]float64
	form.Features(x, &f)
	return f[:]
}

// teachingFeatures are what the teachers are told: productFeatures and the optical basicity and four logarithms of ratios, which would cost too much
// time in the product.
func teachingFeatures(x *[chem.NumNetworkOxides]float64) []float64 {
	f := productFeatures(x)
	basic, oxygen := 0.0, 0.0
	for i, n := range oxygens {
		basic += f[i] * n * basicity[i]
		oxygen += f[i] * n
	}
	alkali := f[chem.Li2O] + f[chem.Na2O] + f[chem.K2O]
	earth := f[chem.MgO] + f[chem.CaO] + f[chem.SrO] + f[chem.BaO] + f[chem.ZnO] + f[chem.PbO]
	ratio := func(a, b float64) float64 { return math.Log((a + 0.01) / (b + 0.01)) }
	// the factors bring them to the size of the mole fractions, whose least deviation is the scaling's 0.03
	return append(f, 2*(basic/oxygen-0.6), 0.1*ratio(alkali, f[chem.Al2O3]), 0.1*ratio(earth, alkali),
		0.1*ratio(f[chem.B2O3], f[chem.Al2O3]), math.Log(f[chem.SiO2]+0.05))
}

// isRatio tells the teaching features that are ratios of oxides rather than amounts.
func isRatio(i int) bool {
	return i >= chem.NumNetworkOxides+form.MixedAlkali && i <= chem.NumNetworkOxides+form.Magnesium || i > form.NumFeatures && i < form.NumFeatures+4
}
