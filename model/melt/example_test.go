package melt_test

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt"
)

// The DGG standard glass I, whose certificate has log10 η = 1.5 at 1301 °C (standard_glass_isokoms.csv).
func ExampleViscosity() {
	glass := scaled(chem.Melt{
		chem.SiO2: 70.94, chem.Al2O3: 0.72, chem.Na2O: 14.34, chem.K2O: 0.21, chem.MgO: 6.16, chem.CaO: 7.13, chem.Fe2O3: 0.07, chem.TiO2: 0.10,
	})
	k := melt.Viscosity(&glass)
	T := 1301 + 273.15
	fmt.Println("within 0.15 of the certificate:", math.Abs(k.Log10(T)-1.5) < 0.15)
	fmt.Println("composition among the data:", !k.Domain().Outside())
	// Output:
	// within 0.15 of the certificate: true
	// composition among the data: true
}

// Albite at 1200 °C: 2.33 g/cm³ by the volumes of Lange 1997 and by those of Lange & Carmichael 1990
// (melt_density_check.csv).
func ExampleDensity() {
	albite := scaled(chem.Melt{chem.Na2O: 0.5, chem.Al2O3: 0.5, chem.SiO2: 3})
	density, _ := melt.Density(&albite, 1473)
	fmt.Printf("%.2f g/cm³\n", density/1000)
	// Output: 2.33 g/cm³
}

// An invented iron glaze at 1250 °C, in air and in reduction: Kress & Carmichael 1991 have 0.83 and 0.15 of the iron as
// Fe3+ (iron_redox_check.csv, "iron-rich stoneware glaze").
func ExampleSplitIron() {
	var moles chem.Melt
	for oxide, grams := range map[chem.Oxide]float64{
		chem.SiO2: 65, chem.TiO2: 0.1, chem.Al2O3: 12, chem.FeO: 7.2, chem.MgO: 1.5, chem.CaO: 9.5, chem.Na2O: 1.5, chem.K2O: 3.2,
	} {
		moles[oxide] = grams / oxide.MolarMass()
	}
	glaze := scaled(moles)
	for _, log10FO2 := range []float64{-0.678, -8} {
		m := melt.SplitIron(&glaze, 1250+273.15, log10FO2)
		fmt.Printf("log10 fO2 = %g: %.2f of the iron is Fe3+\n", log10FO2, 2*m[chem.Fe2O3]/(2*m[chem.Fe2O3]+m[chem.FeO]))
	}
	// Output:
	// log10 fO2 = -0.678: 0.83 of the iron is Fe3+
	// log10 fO2 = -8: 0.15 of the iron is Fe3+
}

// scaled makes amounts into mole fractions.
func scaled(m chem.Melt) chem.Melt {
	sum := 0.0
	for _, v := range m {
		sum += v
	}
	for i := range m {
		m[i] /= sum
	}
	return m
}
