package melt

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// partialVolume is the partial molar volume of an oxide, V(T) = v + slope·(T - at).
type partialVolume struct {
	v     float64 // cm³/mol
	slope float64 // cm³/(mol K)
	at    float64 // K
	sd    float64 // relative standard deviation of v, ours
}

// partialVolumes holds the set of one compilation (Iacovino & Till 2019, Volcanica 2: Lange 1997 with TiO2, Fe2O3 and
// FeO of others), and for the oxides that it lacks the values of others with wider deviations. The tests compare them
// with testdata/published/partial_molar_volumes.csv.
var partialVolumes = [chem.NumOxides]partialVolume{
	// Lange 1997, Contrib. Mineral. Petrol. 130, 1; TiO2 Lange & Carmichael 1987; Fe2O3 Liu & Lange 2006; FeO Guo et
	// al. 2014.
	chem.SiO2:  {26.86, 0, 1773, 0.005},
	chem.TiO2:  {28.32, 7.24e-3, 1773, 0.01},
	chem.Al2O3: {37.42, 2.62e-3, 1773, 0.005},
	chem.Fe2O3: {41.50, 0, 1723, 0.01},
	chem.FeO:   {12.68, 3.69e-3, 1723, 0.02},
	chem.MgO:   {12.02, 3.27e-3, 1773, 0.01},
	chem.CaO:   {16.90, 3.74e-3, 1773, 0.01},
	chem.Na2O:  {29.65, 7.68e-3, 1773, 0.01},
	chem.K2O:   {47.28, 12.08e-3, 1773, 0.01},
	// Lange & Carmichael 1990, Rev. Mineral. 24, 25; its P2O5 is 1.1 times the solid's volume.
	chem.MnO:  {14.95, 2.92e-3, 1673, 0.03},
	chem.P2O5: {57.67, 0, 1673, 0.1},
	// Between 40.3 in a haplogranite melt at 1023 K (Knoche, Webb & Dingwell 1992, Can. Mineral. 30, 561) and 32.3 in
	// an alkali-rich one at 1573 K (Riebling 1966), as boron's coordination decides.
	chem.B2O3: {36.3, 0, 1573, 0.11},
	// Bottinga & Weill 1970, Am. J. Sci. 269, 169: from memory.
	chem.Li2O: {16.10, 5e-3, 1673, 0.05},
	chem.SrO:  {20.45, 4e-3, 1673, 0.05},
	chem.BaO:  {26.20, 5e-3, 1673, 0.05},
	chem.ZnO:  {13.60, 3e-3, 1673, 0.05},
	chem.PbO:  {25.80, 5e-3, 1673, 0.05},
	// No melt value found. From the solids' volumes, from memory, about 1.1 times larger: ZrO2 22, SnO2 21.7, CuO 12.6,
	// CoO 11.6, NiO 11.2, Cr2O3 29.1, V2O5 54, CeO2 24 cm³/mol.
	chem.ZrO2:  {27, 3e-3, 1673, 0.15},
	chem.SnO2:  {24, 2e-3, 1673, 0.15},
	chem.CuO:   {14, 3e-3, 1673, 0.15},
	chem.CoO:   {13, 3e-3, 1673, 0.15},
	chem.NiO:   {12.5, 3e-3, 1673, 0.15},
	chem.Cr2O3: {32, 3e-3, 1673, 0.15},
	chem.V2O5:  {59, 0, 1673, 0.15},
	chem.CeO2:  {26, 2e-3, 1673, 0.15},
}

// Density gives the density (kg/m³) of a melt at T (K, 1000 to 1900) and its standard deviation,
//
//	ρ = Σ xi Mi / Σ xi Vi(T)   (Lange & Carmichael 1990, Rev. Mineral. 24, 25)
//
// The relative deviations of the volumes are independent; 0.5 % for the form itself is added, ours.
func Density(x *chem.Melt, T float64) (density, sd float64) {
	mass, volume, variance := 0.0, 0.0, 0.0
	for i := range x {
		p := &partialVolumes[i]
		v := x[i] * (p.v + p.slope*(T-p.at))
		mass += x[i] * chem.Oxide(i).MolarMass()
		volume += v
		variance += v * v * p.sd * p.sd
	}
	density = 1e6 * mass / volume // kg/mol over cm³/mol
	return density, density * math.Sqrt(variance/(volume*volume)+0.005*0.005)
}
