package main

import (
	"io/fs"
	"math"
)

// redoxStates computes Fe3+/ΣFe by two published formulas that were fitted apart from one another, X in mole fractions
// with all iron as FeO:
//
//	Kress & Carmichael 1991, eq. 7 at 1 bar: ln(XFe2O3/XFeO) = a ln fO2 + b/T + c + Σ di Xi + e [1 - T0/T - ln(T/T0)]
//	Borisov 2018, eq. 4:                     log10(XFeO1.5/XFeO) = a log10 fO2 + b/T + c + Σ di Xi + dSiAl XSiO2 XAl2O3 + dSiMg XSiO2 XMgO
func redoxStates(repository fs.FS) (*table, error) {
	const path = published + "iron_redox_coefficients.csv"
	m, err := readMelts(repository)
	if err != nil {
		return nil, err
	}
	kress, err := readNumbers(repository, path, "Kress & Carmichael 1991", "coefficient", "value")
	if err != nil {
		return nil, err
	}
	borisov, err := readNumbers(repository, path, "Borisov 2018", "coefficient", "value")
	if err != nil {
		return nil, err
	}
	t := &table{
		columns: []string{"melt", "T_C", "log10_fO2_bar", "Fe3_over_Fetot_KC91", "Fe3_over_Fetot_B2018"},
		source:  "computed from iron_redox_coefficients.csv, check_melts.csv and oxide_molar_masses.csv",
	}
	for _, melt := range []string{"basalt", "iron-rich stoneware glaze"} {
		// Air from 1200 to 1300 °C, reduction at 1250 °C, and the heaviest reduction of a cone 10 firing.
		for _, at := range []struct{ celsius, log10FO2 float64 }{
			{1200, -0.678}, {1250, -0.678}, {1300, -0.678}, {1250, -4}, {1250, -6}, {1250, -8}, {1250, -10}, {1285, -8},
		} {
			X, T := m.fractions[melt], at.celsius+273.15
			t.add(melt, exact(at.celsius), exact(at.log10FO2),
				rounded(kressFerric(kress, X, T, at.log10FO2), 4), rounded(borisovFerric(borisov, X, T, at.log10FO2), 4))
		}
	}
	return t, nil
}

func kressFerric(k, X map[string]float64, T, log10FO2 float64) float64 {
	ln := k["a"]*math.Ln10*log10FO2 + k["b"]/T + k["c"] + k["e"]*(1-k["T0"]/T-math.Log(T/k["T0"]))
	for _, oxide := range []string{"Al2O3", "CaO", "Na2O", "K2O"} {
		ln += k["d_"+oxide] * X[oxide]
	}
	ln += k["d_FeOt"] * X["FeO"]
	ferric := 2 * math.Exp(ln) // moles of Fe3+ per mole of Fe2+
	return ferric / (1 + ferric)
}

func borisovFerric(k, X map[string]float64, T, log10FO2 float64) float64 {
	log10 := k["a"]*log10FO2 + k["b"]/T + k["c"] + k["SiO2_x_Al2O3"]*X["SiO2"]*X["Al2O3"] + k["SiO2_x_MgO"]*X["SiO2"]*X["MgO"]
	for _, oxide := range []string{"SiO2", "TiO2", "MgO", "CaO", "Na2O", "K2O", "P2O5"} {
		log10 += k[oxide] * X[oxide]
	}
	ferric := math.Pow(10, log10)
	return ferric / (1 + ferric)
}
