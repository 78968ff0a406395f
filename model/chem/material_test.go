package chem_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/chem"
)

// Theoretical loss on ignition against a handbook of mineralogy, to its two decimals and 0.01 for older atomic weights.
func TestTheoreticalLossOnIgnition(t *testing.T) {
	byName := map[string]chem.LibraryMaterial{}
	for _, m := range chem.Library() {
		byName[m.Name] = m
	}
	for _, row := range published(t, "loss_on_ignition.csv") {
		m, ok := byName[row["material"]]
		if !ok {
			t.Errorf("no %s", row["material"])
			continue
		}
		near(t, m.Name, 100*m.LOI, float(t, row["percent"]), 0.021)
	}
}

// Every mineral's loss and oxides follow from its formula: the table is read as a chemist would, atom by atom with
// the published weights, each cation as the oxide that the melt holds.
func TestMineralsFollowFromTheirFormulas(t *testing.T) {
	weights := map[string]float64{}
	for _, row := range published(t, "atomic_weights.csv") {
		weights[row["element"]] = float(t, row["atomic_weight"])
	}
	oxideOf := map[string]chem.Oxide{}
	for o := chem.Oxide(0); o < chem.NumOxides; o++ {
		if o != chem.FeO { // Fe fires to Fe2O3
			oxideOf[strings.TrimRight(strings.TrimSuffix(strings.TrimRight(o.String(), "0123456789"), "O"), "0123456789")] = o
		}
	}
	checked := 0
	for _, m := range chem.Library() {
		if m.Formula == "" {
			if m.How == "computed" {
				t.Errorf("%s is computed from no formula", m.Name)
			}
			continue
		}
		atoms := parseFormula(t, m.Formula)
		raw, fired := 0.0, 0.0
		var oxides [chem.NumOxides]float64
		for element, n := range atoms {
			w, ok := weights[element]
			if !ok {
				t.Fatalf("%s: element %q", m.Name, element)
			}
			raw += n * w
			if o, ok := oxideOf[element]; ok {
				oxides[o] = n / o.Cations() * (o.Cations()*w + o.Oxygens()*weights["O"])
				fired += oxides[o]
			}
		}
		near(t, m.Name+" LOI", 100*m.LOI, 100*(1-fired/raw), 0.0051)
		near(t, m.Name+" F", 100*m.Fluorine, 100*atoms["F"]*weights["F"]/raw, 0.0051)
		for o, w := range oxides {
			near(t, m.Name+" "+chem.Oxide(o).String(), 100*m.Oxides[o], 100*w/fired, 0.002)
		}
		checked++
	}
	if checked < 60 {
		t.Errorf("%d minerals checked", checked)
	}
}

// parseFormula counts atoms: "Mg5(CO3)4(OH)2·4H2O".
func parseFormula(t *testing.T, formula string) map[string]float64 {
	total := map[string]float64{}
	for _, part := range strings.Split(formula, "·") {
		times, rest := leadingNumber(part)
		for element, n := range parseGroup(t, &rest) {
			total[element] += times * n
		}
		if rest != "" {
			t.Fatalf("%s: %q is left over", formula, rest)
		}
	}
	return total
}

// parseGroup reads atoms and bracketed groups up to a closing bracket or the end.
func parseGroup(t *testing.T, s *string) map[string]float64 {
	atoms := map[string]float64{}
	for *s != "" && (*s)[0] != ')' {
		group := map[string]float64{}
		if (*s)[0] == '(' {
			*s = (*s)[1:]
			group = parseGroup(t, s)
			*s = strings.TrimPrefix(*s, ")")
		} else {
			n := 1
			for n < len(*s) && (*s)[n] >= 'a' && (*s)[n] <= 'z' {
				n++
			}
			group[(*s)[:n]] = 1
			*s = (*s)[n:]
		}
		var times float64
		times, *s = leadingNumber(*s)
		for element, n := range group {
			atoms[element] += times * n
		}
	}
	return atoms
}

// leadingNumber cuts a number off the front; none counts as 1.
func leadingNumber(s string) (float64, string) {
	rest := strings.TrimLeft(s, "0123456789.")
	v, err := strconv.ParseFloat(s[:len(s)-len(rest)], 64)
	if err != nil {
		return 1, rest
	}
	return v, rest
}

// Every material of the library is usable alone or, without a melt, is none.
func TestLibrary(t *testing.T) {
	for _, m := range chem.Library() {
		if m.Source == "" || m.How != "computed" && m.How != "memory" {
			t.Errorf("%s: source %q, how %q", m.Name, m.Source, m.How)
		}
		for _, name := range append([]string{m.Name, strings.ToUpper(" " + m.Name + " ")}, m.Also...) {
			c, err := chem.FromRecipe([]chem.Part{{Name: name, Amount: 100}}, nil)
			if err != nil {
				t.Errorf("%s: %v", name, err)
				continue
			}
			near(t, name+" LOI", c.LOI, m.LOI, 1e-12)
			near(t, name+" F", c.Fluorine, m.Fluorine, 1e-12)
			for o, w := range m.Oxides {
				near(t, name, c.MassFractions[o], w, 1e-12)
			}
		}
	}
}

func TestOwnMaterials(t *testing.T) {
	// The same clay by its raw and by its fired analysis (invented).
	raw, notes, err := chem.NewMaterial("Kaolin", []chem.Part{{"SiO2", 46}, {"Al2O3", 38}, {"K2O", 2}, {"LOI", 14}}, 14)
	if err != nil || len(notes) != 0 {
		t.Fatal(err, notes)
	}
	fired, notes, err := chem.NewMaterial("Kaolin", []chem.Part{{"SiO2", 46 / 0.86}, {"Al2O3", 38 / 0.86}, {"K2O", 2 / 0.86}}, 14)
	if err != nil || len(notes) != 0 {
		t.Fatal(err, notes)
	}
	for o := range raw.Oxides {
		near(t, "oxide", raw.Oxides[o], fired.Oxides[o], 1e-12)
	}

	recipe := []chem.Part{{"kaolin", 40}, {"whiting", 60}}
	c, err := chem.FromRecipe(recipe, []chem.Material{raw})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "K2O from the own material", c.MassFractions[chem.K2O]*(1-c.LOI), 0.4*0.86*raw.Oxides[chem.K2O], 1e-12)
	if !strings.Contains(strings.Join(c.Notes, "\n"), `"Kaolin" is the studio's own`) {
		t.Errorf("notes %q", c.Notes)
	}
	c, err = chem.FromRecipe(recipe, nil)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(strings.Join(c.Notes, "\n"), `"kaolin, typical commercial" is a typical analysis`) {
		t.Errorf("notes %q", c.Notes)
	}

	_, notes, err = chem.NewMaterial("odd", []chem.Part{{"SiO2", 50}, {"CaO", 20}}, 5)
	if err != nil || len(notes) != 1 {
		t.Errorf("an analysis of 70 and 5 gives %v, %v", notes, err)
	}
	for _, bad := range []struct {
		name   string
		oxides []chem.Part
		loi    float64
		field  string
	}{
		{"", []chem.Part{{"SiO2", 100}}, 0, "name"},
		{strings.Repeat("x", 121), []chem.Part{{"SiO2", 100}}, 0, "name"},
		{"x", []chem.Part{{"SiO2", 100}}, math.NaN(), "loi_percent"},
		{"x", []chem.Part{{"SiO2", 100}}, 101, "loi_percent"},
		{"x", []chem.Part{{"SiO2", 100}}, 100, "loi_percent"},
		{"x", nil, 5, "oxides"},
		{"x", []chem.Part{{"SiO2", -1}}, 5, "oxides[0].amount"},
		{"x", []chem.Part{{"CaO", 1}, {"F", 200}}, 5, "oxides"},
	} {
		_, _, err := chem.NewMaterial(bad.name, bad.oxides, bad.loi)
		wantField(t, err, bad.field, "")
	}
}
