package chem

import "slices"

// component is what an analysis may list beside the oxides of a melt.
type component struct {
	mass float64 // molar mass, kg/mol; 0 for the loss on ignition, which has none
	fate fate
	as   Oxide   // the oxide of the melt that it becomes, if converted
	n    float64 // moles of that oxide from one mole, if converted
}

// fate is what becomes of a component in the firing.
type fate uint8

const (
	lost      fate = iota // leaves as a gas
	converted             // becomes an oxide of the melt
	excluded              // stays in the glass, but the melt models do not cover it
)

var components = map[string]component{
	"LOI": {fate: lost},
	"H2O": {mass: (2*weightH + weightO) / 1000, fate: lost},
	"CO2": {mass: (weightC + 2*weightO) / 1000, fate: lost},
	"SO3": {mass: (weightS + 3*weightO) / 1000, fate: lost},
	"F":   {mass: weightF / 1000, fate: lost},
	"Cl":  {mass: weightCl / 1000, fate: lost},

	"Fe3O4": {formula{weightFe, 3, 4}.mass(), converted, Fe2O3, 1.5},
	"MnO2":  {formula{weightMn, 1, 2}.mass(), converted, MnO, 1},
	"Mn2O3": {formula{weightMn, 2, 3}.mass(), converted, MnO, 2},
	"Mn3O4": {formula{weightMn, 3, 4}.mass(), converted, MnO, 3},
	"Co3O4": {formula{weightCo, 3, 4}.mass(), converted, CoO, 3},
	"Cu2O":  {formula{weightCu, 2, 1}.mass(), converted, CuO, 2},

	"Pr6O11": {mass: formula{weightPr, 6, 11}.mass(), fate: excluded},
	"Nd2O3":  {mass: formula{weightNd, 2, 3}.mass(), fate: excluded},
	"Er2O3":  {mass: formula{weightEr, 2, 3}.mass(), fate: excluded},
	"La2O3":  {mass: formula{weightLa, 2, 3}.mass(), fate: excluded},
	"Y2O3":   {mass: formula{weightY, 2, 3}.mass(), fate: excluded},
	"Bi2O3":  {mass: formula{weightBi, 2, 3}.mass(), fate: excluded},
	"Sb2O3":  {mass: formula{weightSb, 2, 3}.mass(), fate: excluded},
	"CdO":    {mass: formula{weightCd, 1, 1}.mass(), fate: excluded},
	"SeO2":   {mass: formula{weightSe, 1, 2}.mass(), fate: excluded},
	"MoO3":   {mass: formula{weightMo, 1, 3}.mass(), fate: excluded},
	"WO3":    {mass: formula{weightW, 1, 3}.mass(), fate: excluded},
	"Nb2O5":  {mass: formula{weightNb, 2, 5}.mass(), fate: excluded},
	"Rb2O":   {mass: formula{weightRb, 2, 1}.mass(), fate: excluded},
	"Cs2O":   {mass: formula{weightCs, 2, 1}.mass(), fate: excluded},
	"BeO":    {mass: formula{weightBe, 1, 1}.mass(), fate: excluded},
	"Ag2O":   {mass: formula{weightAg, 2, 1}.mass(), fate: excluded},
	"As2O3":  {mass: formula{weightAs, 2, 3}.mass(), fate: excluded},
}

// addComponent adds a mass of a component. The oxygen that it gives off or takes up when it is converted to an oxide of
// the melt counts as loss or gain on firing.
func (t *tally) addComponent(name string, c component, mass float64) {
	switch c.fate {
	case lost:
		t.lost += mass
		if name == "F" {
			t.fluorine += mass
		}
	case converted:
		became := mass / c.mass * c.n * c.as.MolarMass()
		t.mass[c.as] += became
		t.lost += mass - became
		if note := name + " is counted as " + c.as.String(); !slices.Contains(t.conversions, note) {
			t.conversions = append(t.conversions, note)
		}
	case excluded:
		t.excluded += mass
		if !slices.Contains(t.exclusions, name) {
			t.exclusions = append(t.exclusions, name)
		}
	}
}

// oxideNames lists every formula that an analysis may hold.
func oxideNames() []string {
	all := append([]string{}, names[:]...)
	for name := range components {
		all = append(all, name)
	}
	return all
}
