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

// namedMelts gives the melts that the tables speak of, by name: the standard glasses, minerals and made-up ones. MnO2
// counts as MnO; SO3, Sb2O3 and other traces outside our list are left out and the rest scaled.
func namedMelts(t *testing.T) map[string]*chem.Melt {
	t.Helper()
	parts := map[string]map[chem.Oxide]float64{}
	add := func(melt, formula string, moles func(chem.Oxide) float64) {
		if parts[melt] == nil {
			parts[melt] = map[chem.Oxide]float64{}
		}
		if formula == "MnO2" {
			formula = "MnO"
		}
		if o, ok := chem.ParseOxide(formula); ok {
			parts[melt][o] = moles(o)
		}
	}
	for _, r := range published(t, "standard_glass_compositions.csv") {
		add(r["glass"], r["oxide"], func(chem.Oxide) float64 { return number(t, r["mol_pct"]) })
	}
	for _, r := range published(t, "check_melts.csv") {
		add(r["melt"], r["oxide"], func(o chem.Oxide) float64 {
			if r["unit"] == "g" {
				return number(t, r["amount"]) / o.MolarMass()
			}
			return number(t, r["amount"])
		})
	}
	out := map[string]*chem.Melt{}
	for melt, p := range parts {
		out[melt] = moles(p)
	}
	return out
}

func named(t *testing.T, name string) *chem.Melt {
	t.Helper()
	m := namedMelts(t)[name]
	if m == nil {
		t.Fatalf("no melt is named %q", name)
	}
	return m
}
