package main

import "io/fs"

// melts holds compositions in mole fractions of the whole melt, by name.
type melts struct {
	fractions map[string]map[string]float64
	molarMass map[string]float64 // g/mol
}

// readMelts reads the standard glasses and the check melts. Amounts in grams become moles; oxides that a formula has no
// coefficient for keep their place in the whole.
func readMelts(repository fs.FS) (*melts, error) {
	m := &melts{fractions: map[string]map[string]float64{}}
	var err error
	if m.molarMass, err = readNumbers(repository, published+"oxide_molar_masses.csv", "", "oxide", "molar_mass_g_mol"); err != nil {
		return nil, err
	}
	glasses, err := read(repository, published+"standard_glass_compositions.csv")
	if err != nil {
		return nil, err
	}
	for _, r := range glasses {
		if err := m.add(r["glass"], r["oxide"], r, "mol_pct", 1); err != nil {
			return nil, err
		}
	}
	others, err := read(repository, published+"check_melts.csv")
	if err != nil {
		return nil, err
	}
	for _, r := range others {
		per := 1.0
		if r["unit"] == "g" {
			per = m.molarMass[r["oxide"]]
		}
		if err := m.add(r["melt"], r["oxide"], r, "amount", per); err != nil {
			return nil, err
		}
	}
	for _, x := range m.fractions {
		sum := 0.0
		for _, oxide := range names(x) {
			sum += x[oxide]
		}
		for o := range x {
			x[o] /= sum
		}
	}
	return m, nil
}

// add puts an oxide's amount, divided by its mass per mole where it is in grams, into a melt.
func (m *melts) add(melt, oxide string, r row, column string, per float64) error {
	amount, err := r.number(column)
	if err != nil {
		return err
	}
	if m.fractions[melt] == nil {
		m.fractions[melt] = map[string]float64{}
	}
	m.fractions[melt][oxide] = amount / per
	return nil
}
