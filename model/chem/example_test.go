package chem_test

import (
	"fmt"

	"github.com/catchline/catchline/model/chem"
)

// Seger's own batch for cone 4 (Collected Writings, 1902), whose formula is
// 0.3 K2O, 0.7 CaO, 0.5 Al2O3, 4 SiO2.
func ExampleFromRecipe() {
	c, err := chem.FromRecipe([]chem.Part{
		{Name: "orthoclase", Amount: 83.55},
		{Name: "calcite", Amount: 35.00},
		{Name: "kaolinite", Amount: 25.90},
		{Name: "quartz", Amount: 54.00},
	}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	u, err := chem.Seger(&c.Melt)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(u)
	fmt.Printf("loss on ignition %.1f %%\n", 100*c.LOI)
	fmt.Println(c.Notes[0])
	// Output:
	// 0.300 K2O 0.700 CaO 0.501 Al2O3 4.002 SiO2
	// loss on ignition 9.6 %
	// the amounts sum to 198.4; normalised to 100
}

func ExampleFromRecipe_unknownMaterial() {
	_, err := chem.FromRecipe([]chem.Part{{Name: "whiting", Amount: 20}, {Name: "nephelin syenite", Amount: 30}}, nil)
	fmt.Println(err)
	// Output: recipe[1].material is "nephelin syenite"; allowed: a material of the library or the studio's own; nearest: nepheline syenite; nepheline; nepheline (ideal)
}

// A material of the studio's own, by the analysis that came with it (invented). By hand: half of the batch brings 20 g
// of CaO and, with kaolinite losing 13.96 %, 37.5 + 43.0 g of melt, of which that is 24.8 %.
func ExampleNewMaterial() {
	ash, _, err := chem.NewMaterial("orchard ash", []chem.Part{
		{Name: "CaO", Amount: 40}, {Name: "SiO2", Amount: 18}, {Name: "K2O", Amount: 8}, {Name: "MgO", Amount: 5}, {Name: "P2O5", Amount: 4},
	}, 25)
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := chem.FromRecipe([]chem.Part{{Name: "Orchard Ash", Amount: 50}, {Name: "kaolinite", Amount: 50}}, []chem.Material{ash})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f %% CaO by weight\n", 100*c.MassFractions[chem.CaO])
	// Output: 24.8 % CaO by weight
}

// Half and half by weight, of molar masses 58.88 and 60.65 g/mol. By hand: 60.65/(58.88 + 60.65) of the moles are the
// lime melt's, 0.152 of CaO.
func ExampleBlend() {
	lime := chem.Melt{chem.SiO2: 0.7, chem.CaO: 0.3}
	soda := chem.Melt{chem.SiO2: 0.7, chem.Na2O: 0.3}
	var half chem.Melt
	chem.Blend(&half, &lime, &soda, 0.5/lime.MolarMass(), 0.5/soda.MolarMass()) // half by weight
	fmt.Printf("%.3f CaO, %.3f Na2O\n", half[chem.CaO], half[chem.Na2O])
	// Output: 0.152 CaO, 0.148 Na2O
}
