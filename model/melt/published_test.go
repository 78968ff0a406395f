package melt

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/catchline/catchline/model/chem"
)

// published reads a table of testdata/published, a map per row.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/published/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// moles makes a melt of oxides in any unit of amount, scaled to sum to 1.
func moles(parts map[chem.Oxide]float64) *chem.Melt {
	var m chem.Melt
	sum := 0.0
	for _, v := range parts {
		sum += v
	}
	for o, v := range parts {
		m[o] = v / sum
	}
	return &m
}

// weights makes a melt of oxides by weight.
func weights(parts map[chem.Oxide]float64) *chem.Melt {
	n := map[chem.Oxide]float64{}
	for o, v := range parts {
		n[o] = v / o.MolarMass()
	}
	return moles(n)
}

// Melts that several published tables speak of.
func namedMelts() map[string]*chem.Melt {
	type p = map[chem.Oxide]float64
	return map[string]*chem.Melt{
		"DGG I":                        moles(p{chem.SiO2: 70.94, chem.Al2O3: 0.72, chem.Na2O: 14.34, chem.K2O: 0.21, chem.MgO: 6.16, chem.CaO: 7.13, chem.Fe2O3: 0.07, chem.TiO2: 0.10}),
		"albite NaAlSi3O8":             moles(p{chem.Na2O: 0.5, chem.Al2O3: 0.5, chem.SiO2: 3}),
		"albite":                       moles(p{chem.Na2O: 0.5, chem.Al2O3: 0.5, chem.SiO2: 3}),
		"diopside CaMgSi2O6":           moles(p{chem.CaO: 1, chem.MgO: 1, chem.SiO2: 2}),
		"diopside":                     moles(p{chem.CaO: 1, chem.MgO: 1, chem.SiO2: 2}),
		"anorthite CaAl2Si2O8":         moles(p{chem.CaO: 1, chem.Al2O3: 1, chem.SiO2: 2}),
		"anorthite":                    moles(p{chem.CaO: 1, chem.Al2O3: 1, chem.SiO2: 2}),
		"0.3K2O 0.7CaO 0.5Al2O3 4SiO2": moles(p{chem.K2O: 0.3, chem.CaO: 0.7, chem.Al2O3: 0.5, chem.SiO2: 4}),
		"Seger cone 4 0.3K2O 0.7CaO 0.5Al2O3 4SiO2": moles(p{chem.K2O: 0.3, chem.CaO: 0.7, chem.Al2O3: 0.5, chem.SiO2: 4}),
		"710":  moles(p{chem.SiO2: 72.74, chem.Al2O3: 0.11, chem.Na2O: 8.70, chem.K2O: 5.07, chem.CaO: 12.82, chem.Fe2O3: 0.01}),
		"717A": moles(p{chem.SiO2: 72.25, chem.Al2O3: 2.19, chem.Na2O: 1.03, chem.K2O: 5.42, chem.B2O3: 16.97, chem.Li2O: 2.14}),
		"basalt wt%: 50 SiO2 1.5 TiO2 15 Al2O3 10 FeOt 8 MgO 11 CaO 2.7 Na2O 0.3 K2O": weights(p{chem.SiO2: 50, chem.TiO2: 1.5,
			chem.Al2O3: 15, chem.FeO: 10, chem.MgO: 8, chem.CaO: 11, chem.Na2O: 2.7, chem.K2O: 0.3}),
		"iron-rich stoneware-type melt wt%: 65 SiO2 0.1 TiO2 12 Al2O3 7.2 FeOt 1.5 MgO 9.5 CaO 1.5 Na2O 3.2 K2O": weights(p{chem.SiO2: 65,
			chem.TiO2: 0.1, chem.Al2O3: 12, chem.FeO: 7.2, chem.MgO: 1.5, chem.CaO: 9.5, chem.Na2O: 1.5, chem.K2O: 3.2}),
	}
}

func named(t *testing.T, name string) *chem.Melt {
	t.Helper()
	m := namedMelts()[name]
	if m == nil {
		t.Fatalf("no melt is named %q", name)
	}
	return m
}
