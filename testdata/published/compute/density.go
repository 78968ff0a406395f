package main

import "io/fs"

// volumes is one set of partial molar volumes: V(T) = v + slope·(T - at), cm³/mol, by oxide.
type volumes struct{ v, slope, at map[string]float64 }

// densities computes ρ = Σ xi Mi / Σ xi Vi(T), g/cm³, with two sets of volumes that were fitted apart from one another.
// An oxide without a volume in the set (SO3 and the like, below half a percent) is left out of both sums.
func densities(repository fs.FS) (*table, error) {
	const path = published + "partial_molar_volumes.csv"
	m, err := readMelts(repository)
	if err != nil {
		return nil, err
	}
	var sets [2]volumes
	for i, name := range []string{"Lange 1997", "Lange & Carmichael 1990"} {
		s := &sets[i]
		if s.v, err = readNumbers(repository, path, name, "oxide", "V_cm3_mol"); err != nil {
			return nil, err
		}
		if s.slope, err = readNumbers(repository, path, name, "oxide", "dVdT_1e-3_cm3_mol_K"); err != nil {
			return nil, err
		}
		if s.at, err = readNumbers(repository, path, name, "oxide", "T_ref_K"); err != nil {
			return nil, err
		}
	}
	t := &table{
		columns: []string{"melt", "T_K", "rho_L97_g_cm3", "rho_L90_g_cm3"},
		source:  "computed from partial_molar_volumes.csv, check_melts.csv, standard_glass_compositions.csv and oxide_molar_masses.csv",
	}
	for _, melt := range []string{"DGG Standard Glass I", "albite", "diopside", "anorthite", "Seger cone 4"} {
		for _, T := range []float64{1373, 1473, 1573, 1673} {
			x := m.fractions[melt]
			t.add(melt, exact(T), rounded(density(x, m.molarMass, &sets[0], T), 4), rounded(density(x, m.molarMass, &sets[1], T), 4))
		}
	}
	return t, nil
}

func density(x, molarMass map[string]float64, s *volumes, T float64) float64 {
	mass, volume := 0.0, 0.0
	for _, oxide := range names(s.v) {
		mass += x[oxide] * molarMass[oxide]
		volume += x[oxide] * (s.v[oxide] + 1e-3*s.slope[oxide]*(T-s.at[oxide]))
	}
	return mass / volume
}
