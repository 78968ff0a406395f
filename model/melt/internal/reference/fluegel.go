// Package reference holds published viscosity formulas that the model of package melt is
// measured against. Nothing that the product runs imports it: only the fit program and tests.
package reference

// fluegelTerm is one term of an isokom: coefficient (°C per mol% to the number of factors)
// times the product of its factors' mol%.
type fluegelTerm struct {
	coefficient float64
	factors     []string
}

// Fluegel gives the temperatures in °C at which log10(η/(Pa·s)) is 1.5, 6.6 and 12 for a glass
// in mol% of oxides (SO3, F and Cl count too; SiO2 is the balance and needs no entry).
//
// A. Fluegel, Glass Technol.: Eur. J. Glass Sci. Technol. A 48 (2007) 13-30, Tables 4 to 6. Read
// in a transcription in which eight interaction signs were lost and the ZrO2 term at 1.5 lost a digit; those are
// restored from the t-values and from the paper's own predictions.
func Fluegel(molPercent map[string]float64) (t15, t66, t12 float64) {
	return isokom(fluegel15, molPercent), isokom(fluegel66, molPercent), isokom(fluegel120, molPercent)
}

func isokom(terms []fluegelTerm, molPercent map[string]float64) float64 {
	t := 0.0
	for _, term := range terms {
		p := term.coefficient
		for _, f := range term.factors {
			p *= molPercent[f]
		}
		t += p
	}
	return t
}

// FluegelVFT draws log10 η = A + B/(T - C), T in kelvin, through the isokoms at 1.5 and 6.6 with A fixed
// at -2.9. The third isokom is left out: with it the curve fails for many glaze melts.
func FluegelVFT(molPercent map[string]float64) (a, b, c float64) {
	t15, t66, _ := Fluegel(molPercent)
	t15 += 273.15
	t66 += 273.15
	a = -2.9
	c = ((6.6-a)*t66 - (1.5-a)*t15) / (6.6 - 1.5)
	return a, (1.5 - a) * (t15 - c), c
}

// fluegel15 gives the isokom at log10(eta/(Pa s)) = 1.5: Fluegel 2007, Table 4.
var fluegel15 = []fluegelTerm{
	{1824.497, nil},
	{19.341, []string{"Al2O3"}},
	{-22.347, []string{"B2O3"}},
	{0.60376, []string{"B2O3", "B2O3"}},
	{-18.931, []string{"BaO"}},
	{-42.416, []string{"Bi2O3"}},
	{-17.453, []string{"CaO"}},
	{0.12038, []string{"CaO", "CaO"}},
	{-22.418, []string{"CeO2"}},
	{-8.563, []string{"Cl"}},
	{-30.913, []string{"CuO"}},
	{-11.739, []string{"F"}},
	{-13.611, []string{"Fe2O3"}},
	{-31.907, []string{"K2O"}},
	{0.61234, []string{"K2O", "K2O"}},
	{-0.006662, []string{"K2O", "K2O", "K2O"}},
	{-30.336, []string{"Li2O"}},
	{0.22499, []string{"Li2O", "Li2O"}},
	{-5.038, []string{"MgO"}},
	{-17.05, []string{"MnO2"}},
	{0.59449, []string{"K2O", "MgO"}},
	{-30.61, []string{"Na2O"}},
	{0.27887, []string{"Na2O", "Na2O"}},
	{-39.662, []string{"Nd2O3"}},
	{-21.349, []string{"PbO"}},
	{-13.908, []string{"SO3"}},
	{-17.292, []string{"SrO"}},
	{-17.185, []string{"ThO2"}},
	{-10.323, []string{"TiO2"}},
	{-17.672, []string{"UO2"}},
	{-21.727, []string{"V2O5"}},
	{-6.28, []string{"ZnO"}},
	{10.173, []string{"ZrO2"}},
	{-0.28237, []string{"B2O3", "Na2O"}},
	{-0.2789, []string{"B2O3", "K2O"}},
	{-0.16843, []string{"B2O3", "Li2O"}},
	{-0.23085, []string{"Al2O3", "Na2O"}},
	{-0.38421, []string{"Al2O3", "Li2O"}},
	{-0.44589, []string{"Al2O3", "MgO"}},
	{-0.93909, []string{"Al2O3", "CaO"}},
	{0.58773, []string{"Na2O", "K2O"}},
	{0.20691, []string{"Na2O", "Li2O"}},
	{0.19254, []string{"Na2O", "CaO"}},
	{0.24924, []string{"K2O", "Li2O"}},
	{0.29628, []string{"K2O", "CaO"}},
	{-0.17394, []string{"MgO", "CaO"}},
	{0.03362, []string{"Al2O3", "Na2O", "CaO"}},
}

// fluegel66 gives the isokom at log10(eta/(Pa s)) = 6.6: Fluegel 2007, Table 5.
var fluegel66 = []fluegelTerm{
	{939.479, nil},
	{5.812, []string{"Al2O3"}},
	{-4.366, []string{"B2O3"}},
	{-0.17367, []string{"B2O3", "B2O3"}},
	{-3.385, []string{"BaO"}},
	{-1.791, []string{"CaO"}},
	{-9.328, []string{"F"}},
	{-11.013, []string{"Fe2O3"}},
	{-20.659, []string{"K2O"}},
	{0.58116, []string{"K2O", "K2O"}},
	{-0.00937, []string{"K2O", "K2O", "K2O"}},
	{-25.075, []string{"Li2O"}},
	{0.46012, []string{"Li2O", "Li2O"}},
	{0.93, []string{"MgO"}},
	{-19.051, []string{"Na2O"}},
	{0.32209, []string{"Na2O", "Na2O"}},
	{-0.00208, []string{"Na2O", "Na2O", "Na2O"}},
	{14.857, []string{"P2O5"}},
	{-8.871, []string{"PbO"}},
	{-2.191, []string{"SrO"}},
	{-2.862, []string{"TiO2"}},
	{-1.065, []string{"ZnO"}},
	{12.425, []string{"ZrO2"}},
	{0.32005, []string{"B2O3", "Na2O"}},
	{0.42514, []string{"B2O3", "K2O"}},
	{0.39626, []string{"B2O3", "Li2O"}},
	{-0.24066, []string{"B2O3", "CaO"}},
	{0.08442, []string{"Al2O3", "Na2O"}},
	{0.48055, []string{"Al2O3", "K2O"}},
	{0.15519, []string{"Na2O", "K2O"}},
	{0.20781, []string{"Na2O", "Li2O"}},
	{0.09392, []string{"Na2O", "CaO"}},
	{0.46938, []string{"K2O", "Li2O"}},
	{0.26354, []string{"K2O", "MgO"}},
	{0.47564, []string{"K2O", "CaO"}},
	{-0.15553, []string{"MgO", "CaO"}},
	{-0.033573, []string{"B2O3", "Al2O3", "Na2O"}},
	{-0.00678, []string{"Al2O3", "Na2O", "CaO"}},
	{-0.012589, []string{"Na2O", "MgO", "CaO"}},
}

// fluegel120 gives the isokom at log10(eta/(Pa s)) = 12.0: Fluegel 2007, Table 6.
var fluegel120 = []fluegelTerm{
	{624.829, nil},
	{4.929, []string{"Al2O3"}},
	{-1.121, []string{"B2O3"}},
	{-1.11, []string{"BaO"}},
	{6.84, []string{"CaO"}},
	{-0.08269, []string{"CaO", "CaO"}},
	{-8.123, []string{"F"}},
	{-8.453, []string{"Fe2O3"}},
	{-12.46, []string{"K2O"}},
	{0.39706, []string{"K2O", "K2O"}},
	{-0.005382, []string{"K2O", "K2O", "K2O"}},
	{-11.571, []string{"Li2O"}},
	{0.27802, []string{"Li2O", "Li2O"}},
	{-0.002576, []string{"Li2O", "Li2O", "Li2O"}},
	{1.141, []string{"MgO"}},
	{-12.854, []string{"Na2O"}},
	{0.35785, []string{"Na2O", "Na2O"}},
	{-0.004179, []string{"Na2O", "Na2O", "Na2O"}},
	{-4.349, []string{"PbO"}},
	{1.388, []string{"SrO"}},
	{3.864, []string{"TiO2"}},
	{8.927, []string{"ZrO2"}},
	{0.38413, []string{"B2O3", "Na2O"}},
	{-0.20958, []string{"B2O3", "CaO"}},
	{-0.3338, []string{"B2O3", "Al2O3"}},
	{-0.13741, []string{"Al2O3", "CaO"}},
	{0.06169, []string{"Na2O", "K2O"}},
	{0.08558, []string{"Na2O", "Li2O"}},
	{-0.10283, []string{"Na2O", "CaO"}},
	{0.17538, []string{"K2O", "Li2O"}},
	{0.27425, []string{"K2O", "MgO"}},
	{0.2247, []string{"K2O", "CaO"}},
	{-0.21563, []string{"MgO", "CaO"}},
	{-0.8817, []string{"CaO", "Li2O"}},
	{0.013868, []string{"Al2O3", "Na2O", "CaO"}},
}
