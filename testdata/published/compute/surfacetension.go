package main

import "io/fs"

// surfaceTensions computes surface tensions in mN/m by three published sets of factors:
//
//	Kucuk 1999:   γ(1400 °C) = 271.2 + Σ factor·mol%
//	Dietzel 1942: γ(900 °C) = Σ factor·wt%, 4 mN/m less for each 100 °C above
//	Appen 1974:   γ(1300 °C) = Σ factor·x, x in mole fractions; K2O, PbO and B2O3 have no constant factor and are left out
//
// The factors of the two older sets are from memory.
func surfaceTensions(repository fs.FS) (*table, error) {
	const path = published + "surface_tension_factors.csv"
	m, err := readMelts(repository)
	if err != nil {
		return nil, err
	}
	var factors [3]map[string]float64
	for i, set := range []string{"Kucuk 1999", "Dietzel 1942", "Appen 1974"} {
		if factors[i], err = readNumbers(repository, path, set, "oxide", "factor"); err != nil {
			return nil, err
		}
	}
	kucuk, dietzel, appen := factors[0], factors[1], factors[2]
	t := &table{
		columns: []string{"melt", "Kucuk_1400C", "Dietzel_1400C", "Dietzel_1200C", "Appen_1300C_partial"},
		source:  "computed from surface_tension_factors.csv, check_melts.csv, standard_glass_compositions.csv and oxide_molar_masses.csv",
	}
	for _, melt := range []string{"DGG Standard Glass I", "NBS SRM 710", "NIST SRM 717a", "albite", "diopside", "anorthite", "Seger cone 4"} {
		x := m.fractions[melt]
		mass := 0.0
		for _, oxide := range names(x) {
			mass += x[oxide] * m.molarMass[oxide]
		}
		k, d, a := kucuk["const"], 0.0, 0.0
		for _, oxide := range names(x) {
			k += kucuk[oxide] * 100 * x[oxide]
			d += dietzel[oxide] * 100 * x[oxide] * m.molarMass[oxide] / mass
			a += appen[oxide] * x[oxide]
		}
		t.add(melt, rounded(k, 1), rounded(d-0.04*(1400-900), 1), rounded(d-0.04*(1200-900), 1), rounded(a, 1))
	}
	return t, nil
}
