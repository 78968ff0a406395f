// Package chem turns what a studio knows of a glaze, a recipe of raw materials, an oxide analysis or a Seger formula,
// into the composition of its melt: mole fractions over one fixed list of oxides. The viscosity data covers the first
// NumNetworkOxides of them; the others, colourants and opacifiers, are carried along and counted as their neighbours
// where a model lacks them.
//
//	composition.go  analyses and formulas; recipe.go: recipes of raw materials; seger.go: the Seger formula of a melt
//	material.go     raw materials, the built-in library (materials.csv) and a studio's own
//	component.go    what an analysis may list that a melt does not hold as such
//	oxide.go, mass.go, blend.go  the oxides, their molar masses, mixtures of melts
//
// Errors are fault.Error values that name a line (recipe[2].amount).
package chem

// Oxide is an index into the fixed list of oxides. Its order is that of the open viscosity
// data, followed by the oxides that the data does not cover.
type Oxide uint8

// The oxides of a melt.
const (
	SiO2 Oxide = iota
	TiO2
	ZrO2
	Al2O3
	B2O3
	P2O5
	Fe2O3
	FeO
	MnO
	MgO
	CaO
	SrO
	BaO
	ZnO
	Li2O
	Na2O
	K2O
	PbO

	CuO
	CoO
	NiO
	Cr2O3
	SnO2
	V2O5
	CeO2

	// NumOxides is the length of the list.
	NumOxides = 25
	// NumNetworkOxides counts the oxides, from the start of the list, that the viscosity data covers.
	NumNetworkOxides = 18
)

var names = [NumOxides]string{
	"SiO2", "TiO2", "ZrO2", "Al2O3", "B2O3", "P2O5", "Fe2O3", "FeO", "MnO", "MgO", "CaO", "SrO", "BaO",
	"ZnO", "Li2O", "Na2O", "K2O", "PbO", "CuO", "CoO", "NiO", "Cr2O3", "SnO2", "V2O5", "CeO2",
}

// String gives the formula as it is written on paper, such as "Al2O3".
func (o Oxide) String() string { return names[o] }

// ParseOxide finds an oxide by its formula; the spelling is exact, as formulas are.
func ParseOxide(formula string) (Oxide, bool) {
	for i, n := range names {
		if n == formula {
			return Oxide(i), true
		}
	}
	return 0, false
}

// Melt is the composition of a melt in mole fractions of oxides, indexed by Oxide; they sum to 1.
type Melt [NumOxides]float64
