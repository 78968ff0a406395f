package chem

// Standard atomic weights in g/mol: IUPAC/CIAAW abridged standard atomic weights 2021 (Prohaska
// et al. 2022, Pure Appl. Chem. 94, 573).
const (
	weightH  = 1.008
	weightLi = 6.94
	weightBe = 9.0122
	weightB  = 10.81
	weightC  = 12.011
	weightO  = 15.999
	weightF  = 18.998
	weightNa = 22.990
	weightMg = 24.305
	weightAl = 26.982
	weightSi = 28.085
	weightP  = 30.974
	weightS  = 32.06
	weightCl = 35.45
	weightK  = 39.098
	weightCa = 40.078
	weightTi = 47.867
	weightV  = 50.942
	weightCr = 51.996
	weightMn = 54.938
	weightFe = 55.845
	weightCo = 58.933
	weightNi = 58.693
	weightCu = 63.546
	weightZn = 65.38
	weightAs = 74.922
	weightSe = 78.971
	weightRb = 85.468
	weightSr = 87.62
	weightY  = 88.906
	weightZr = 91.224
	weightNb = 92.906
	weightMo = 95.95
	weightAg = 107.87
	weightCd = 112.41
	weightSn = 118.71
	weightSb = 121.76
	weightCs = 132.91
	weightBa = 137.33
	weightLa = 138.91
	weightCe = 140.12
	weightPr = 140.91
	weightNd = 144.24
	weightEr = 167.26
	weightW  = 183.84
	weightPb = 207.2
	weightBi = 208.98
)

// formula is an oxide as so many atoms of one cation and so many of oxygen.
type formula struct {
	weight  float64 // atomic weight of the cation, g/mol
	cations float64
	oxygens float64
}

// mass gives the molar mass in kg/mol.
func (f formula) mass() float64 {
	return (f.cations*f.weight + f.oxygens*weightO) / 1000
}

var formulas = [NumOxides]formula{
	SiO2:  {weightSi, 1, 2},
	TiO2:  {weightTi, 1, 2},
	ZrO2:  {weightZr, 1, 2},
	Al2O3: {weightAl, 2, 3},
	B2O3:  {weightB, 2, 3},
	P2O5:  {weightP, 2, 5},
	Fe2O3: {weightFe, 2, 3},
	FeO:   {weightFe, 1, 1},
	MnO:   {weightMn, 1, 1},
	MgO:   {weightMg, 1, 1},
	CaO:   {weightCa, 1, 1},
	SrO:   {weightSr, 1, 1},
	BaO:   {weightBa, 1, 1},
	ZnO:   {weightZn, 1, 1},
	Li2O:  {weightLi, 2, 1},
	Na2O:  {weightNa, 2, 1},
	K2O:   {weightK, 2, 1},
	PbO:   {weightPb, 1, 1},
	CuO:   {weightCu, 1, 1},
	CoO:   {weightCo, 1, 1},
	NiO:   {weightNi, 1, 1},
	Cr2O3: {weightCr, 2, 3},
	SnO2:  {weightSn, 1, 2},
	V2O5:  {weightV, 2, 5},
	CeO2:  {weightCe, 1, 2},
}

var molarMasses = func() (m [NumOxides]float64) {
	for o, f := range formulas {
		m[o] = f.mass()
	}
	return m
}()

// MolarMass gives the mass of one mole of the oxide in kg/mol.
func (o Oxide) MolarMass() float64 { return molarMasses[o] }

// Cations gives the number of cations in the oxide's formula, such as 2 for Al2O3.
func (o Oxide) Cations() float64 { return formulas[o].cations }

// Oxygens gives the number of oxygens in the oxide's formula, such as 3 for Al2O3.
func (o Oxide) Oxygens() float64 { return formulas[o].oxygens }

// MolarMass gives the mass of one mole of oxides of the melt in kg/mol: Σ x_i M_i.
func (m *Melt) MolarMass() float64 {
	sum := 0.0
	for o, x := range m {
		sum += x * molarMasses[o]
	}
	return sum
}

// MassFractions writes to dst the mass fractions of the oxides: x_i M_i / Σ x_j M_j.
func (m *Melt) MassFractions(dst *[NumOxides]float64) {
	total := m.MolarMass()
	for o, x := range m {
		dst[o] = x * molarMasses[o] / total
	}
}

// FromMassFractions writes to m the mole fractions of a melt with the given masses of oxides, in any
// unit: (w_i/M_i) / Σ (w_j/M_j). The masses are not negative and not all zero.
func (m *Melt) FromMassFractions(w *[NumOxides]float64) {
	moles := 0.0
	for o := range w {
		m[o] = w[o] / molarMasses[o]
		moles += m[o]
	}
	for o := range m {
		m[o] /= moles
	}
}
