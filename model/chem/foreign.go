package chem

import "slices"

// foreigner is a component that an analysis may name but a melt does not hold as such.
type foreigner struct {
	mass float64 // molar mass, kg/mol; 0 when it has none (LOI)
	fate fate
	as   Oxide   // for turns: the oxide that it becomes
	n    float64 // for turns: moles of that oxide from one mole
}

type fate uint8

const (
	leaves fate = iota // goes off in the fire
	turns              // becomes an oxide of the melt
	aside              // stays, but no model covers it
)

var foreigners = map[string]foreigner{
	"LOI": {fate: leaves},
	"H2O": {mass: (2*weightH + weightO) / 1000, fate: leaves},
	"CO2": {mass: (weightC + 2*weightO) / 1000, fate: leaves},
	"SO3": {mass: (weightS + 3*weightO) / 1000, fate: leaves},
	"F":   {mass: weightF / 1000, fate: leaves},
	"Cl":  {mass: weightCl / 1000, fate: leaves},

	"Fe3O4": {formula{weightFe, 3, 4}.mass(), turns, Fe2O3, 1.5},
	"MnO2":  {formula{weightMn, 1, 2}.mass(), turns, MnO, 1},
	"Mn2O3": {formula{weightMn, 2, 3}.mass(), turns, MnO, 2},
	"Mn3O4": {formula{weightMn, 3, 4}.mass(), turns, MnO, 3},
	"Co3O4": {formula{weightCo, 3, 4}.mass(), turns, CoO, 3},
	"Cu2O":  {formula{weightCu, 2, 1}.mass(), turns, CuO, 2},

	"Pr6O11": {mass: formula{weightPr, 6, 11}.mass(), fate: aside},
	"Nd2O3":  {mass: formula{weightNd, 2, 3}.mass(), fate: aside},
	"Er2O3":  {mass: formula{weightEr, 2, 3}.mass(), fate: aside},
	"La2O3":  {mass: formula{weightLa, 2, 3}.mass(), fate: aside},
	"Y2O3":   {mass: formula{weightY, 2, 3}.mass(), fate: aside},
	"Bi2O3":  {mass: formula{weightBi, 2, 3}.mass(), fate: aside},
	"Sb2O3":  {mass: formula{weightSb, 2, 3}.mass(), fate: aside},
	"CdO":    {mass: formula{weightCd, 1, 1}.mass(), fate: aside},
	"SeO2":   {mass: formula{weightSe, 1, 2}.mass(), fate: aside},
	"MoO3":   {mass: formula{weightMo, 1, 3}.mass(), fate: aside},
	"WO3":    {mass: formula{weightW, 1, 3}.mass(), fate: aside},
	"Nb2O5":  {mass: formula{weightNb, 2, 5}.mass(), fate: aside},
	"Rb2O":   {mass: formula{weightRb, 2, 1}.mass(), fate: aside},
	"Cs2O":   {mass: formula{weightCs, 2, 1}.mass(), fate: aside},
	"BeO":    {mass: formula{weightBe, 1, 1}.mass(), fate: aside},
	"Ag2O":   {mass: formula{weightAg, 2, 1}.mass(), fate: aside},
	"As2O3":  {mass: formula{weightAs, 2, 3}.mass(), fate: aside},
}

// addForeigner books a mass of f in t. Whatever oxygen f gives off or takes up while it turns into an oxide of the
// melt is loss or gain on firing.
func (t *tally) addForeigner(name string, f foreigner, mass float64) {
	switch f.fate {
	case leaves:
		t.lost += mass
		if name == "F" {
			t.fluorine += mass
		}
	case turns:
		became := mass / f.mass * f.n * f.as.MolarMass()
		t.mass[f.as] += became
		t.lost += mass - became
		if note := name + " is counted as " + f.as.String(); !slices.Contains(t.turned, note) {
			t.turned = append(t.turned, note)
		}
	case aside:
		t.left += mass
		if !slices.Contains(t.leftOut, name) {
			t.leftOut = append(t.leftOut, name)
		}
	}
}

// oxideNames lists every formula that an analysis may hold.
func oxideNames() []string {
	all := append([]string{}, names[:]...)
	for name := range foreigners {
		all = append(all, name)
	}
	return all
}
