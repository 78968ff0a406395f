package chem_test

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/fault"
)

// published reads a table of published check values as one map of column to cell a row.
func published(t testing.TB, name string) []map[string]string {
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
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("%s is empty", name)
	}
	return out
}

func float(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.6g, want %.6g ± %g", what, got, want, tolerance)
	}
}

// Molar masses against a table made from the IUPAC/CIAAW 2021 weights, to its last digit.
func TestMolarMass(t *testing.T) {
	seen := 0
	for _, row := range published(t, "oxide_molar_masses.csv") {
		o, ok := chem.ParseOxide(row["oxide"])
		if !ok {
			continue
		}
		seen++
		near(t, row["oxide"], 1000*o.MolarMass(), float(t, row["molar_mass_g_mol"]), 0.0006)
		near(t, row["oxide"]+" cations", o.Cations(), float(t, row["n_cation"]), 0)
		near(t, row["oxide"]+" oxygens", o.Oxygens(), float(t, row["n_oxygen"]), 0)
	}
	if seen != chem.NumOxides {
		t.Errorf("%d of %d oxides checked", seen, chem.NumOxides)
	}
}

// Unity formulas: Seger's own batches for cones 4 to 7 (Collected Writings, 1902), the 4-3-2-1 stoneware glaze, and two
// made up for the arithmetic of zinc and boron.
func TestUnityFormulas(t *testing.T) {
	for _, row := range published(t, "unity_formulas.csv") {
		t.Run(row["example"], func(t *testing.T) {
			var recipe []chem.Part
			for _, line := range strings.Split(row["recipe"], ";") {
				line = strings.TrimSpace(line)
				at := strings.LastIndex(line, " ")
				recipe = append(recipe, chem.Part{Name: line[:at], Amount: float(t, line[at+1:])})
			}
			c, err := chem.FromRecipe(recipe, nil)
			if err != nil {
				t.Fatal(err)
			}
			u, err := chem.Seger(&c.Melt)
			if err != nil {
				t.Fatal(err)
			}
			for _, part := range strings.Split(row["unity_formula"], ";") {
				name, value, _ := strings.Cut(strings.TrimSpace(part), " ")
				o, ok := chem.ParseOxide(name)
				if !ok {
					t.Fatal(name)
				}
				// The library's percentages are rounded to 0.001 and its losses to 0.01.
				near(t, name, u[o], float(t, value), 2e-4*math.Max(1, float(t, value)))
			}
			ratio, ok := u.SilicaToAlumina()
			if !ok {
				t.Fatal("no alumina")
			}
			near(t, "SiO2:Al2O3", ratio, float(t, row["SiO2_Al2O3_ratio"]), 2e-3)
		})
	}
}

func TestBadRecipes(t *testing.T) {
	long := make([]chem.Part, chem.MaxParts+1)
	for i := range long {
		long[i] = chem.Part{Name: "talc", Amount: 1}
	}
	gum, _, err := chem.NewMaterial("gum", nil, 100)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		recipe []chem.Part
		own    []chem.Material
		field  string
		says   string
	}{
		"empty":      {nil, nil, "recipe", "1 to 64"},
		"too long":   {long, nil, "recipe", "65 lines"},
		"unknown":    {[]chem.Part{{"talc", 1}, {"Kaolinit", 2}}, nil, "recipe[1].material", "kaolinite"},
		"no name":    {[]chem.Part{{" ", 1}}, nil, "recipe[0].material", "empty"},
		"negative":   {[]chem.Part{{"talc", 1}, {"whiting", -2}}, nil, "recipe[1].amount", "whiting"},
		"NaN":        {[]chem.Part{{"talc", math.NaN()}}, nil, "recipe[0].amount", "NaN"},
		"infinite":   {[]chem.Part{{"talc", math.Inf(1)}}, nil, "recipe[0].amount", "+Inf"},
		"zero":       {[]chem.Part{{"talc", 0}, {"whiting", 0}}, nil, "recipe", "more than 0"},
		"all loss":   {[]chem.Part{{"gum", 3}}, []chem.Material{gum}, "recipe", "at least 1 % that stays in the melt"},
		"twins":      {[]chem.Part{{"gum", 3}}, []chem.Material{gum, gum}, "materials[1].name", "materials[0]"},
		"bad sum":    {[]chem.Part{{"x", 3}}, []chem.Material{{Name: "x"}}, "materials[0].oxides", "sum of 1"},
		"bad LOI":    {[]chem.Part{{"x", 3}}, []chem.Material{{Name: "x", LOI: math.NaN()}}, "materials[0].loi", "NaN"},
		"long names": {[]chem.Part{{strings.Repeat("x", 1000), 3}}, nil, "recipe[0].material", "..."},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := chem.FromRecipe(c.recipe, c.own)
			wantField(t, err, c.field, c.says)
		})
	}
}

// wantField checks that err names the field and says what is wanted.
func wantField(t testing.TB, err error, field, says string) {
	t.Helper()
	var fe *fault.Error
	if !errors.As(err, &fe) {
		t.Fatalf("got %v, want a fault.Error of %s", err, field)
	}
	if fe.Field != field || !strings.Contains(err.Error(), says) {
		t.Errorf("got %q, want field %s and %q", err, field, says)
	}
}
