package chem_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/fault"
)

// Mole and weight percent of standard glasses: Fluegel 2007, Table 1.
func TestStandardGlasses(t *testing.T) {
	moles, weights := map[string][]chem.Part{}, map[string][]chem.Part{}
	for _, row := range published(t, "standard_glass_compositions.csv") {
		moles[row["glass"]] = append(moles[row["glass"]], chem.Part{Name: row["oxide"], Amount: float(t, row["mol_pct"])})
		weights[row["glass"]] = append(weights[row["glass"]], chem.Part{Name: row["oxide"], Amount: float(t, row["wt_pct"])})
	}
	for glass := range moles {
		a, err := chem.FromMolePercent(moles[glass])
		if err != nil {
			t.Fatalf("%s: %v", glass, err)
		}
		b, err := chem.FromWeightPercent(weights[glass])
		if err != nil {
			t.Fatalf("%s: %v", glass, err)
		}
		for o := range a.Melt {
			near(t, glass+" "+chem.Oxide(o).String(), a.Melt[o], b.Melt[o], 2e-4)
		}
	}
}

// By hand, with the IUPAC/CIAAW 2021 weights: 10 g Fe3O4 (231.531 g/mol) hold as much iron as 10.345 g Fe2O3 (159.687),
// and so on.
func TestOtherFormsOfOxides(t *testing.T) {
	for name, want := range map[string]struct {
		as   chem.Oxide
		mass float64 // from 10
	}{
		"Fe3O4": {chem.Fe2O3, 10 * 1.5 * 159.687 / 231.531},
		"MnO2":  {chem.MnO, 10 * 70.937 / 86.936},
		"Mn2O3": {chem.MnO, 10 * 2 * 70.937 / 157.873},
		"Mn3O4": {chem.MnO, 10 * 3 * 70.937 / 228.811},
		"Co3O4": {chem.CoO, 10 * 3 * 74.932 / 240.796},
		"Cu2O":  {chem.CuO, 10 * 2 * 79.545 / 143.091},
	} {
		c, err := chem.FromWeightPercent([]chem.Part{{"SiO2", 90}, {name, 10}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, name, c.MassFractions[want.as]/c.MassFractions[chem.SiO2], want.mass/90, 1e-5)
		near(t, name+" loss", c.LOI, (10-want.mass)/100, 1e-5)
		if !slices.Contains(c.Notes, name+" is counted as "+want.as.String()) {
			t.Errorf("%s: notes %q", name, c.Notes)
		}
	}
}

func TestWhatIsNotOfTheMelt(t *testing.T) {
	c, err := chem.FromWeightPercent([]chem.Part{{"SiO2", 60}, {"CaO", 20}, {"Er2O3", 0.5}, {"Er2O3", 1.5}, {"SO3", 1}, {"F", 2}, {"LOI", 15}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "SiO2", c.MassFractions[chem.SiO2], 0.75, 1e-12)
	near(t, "LOI", c.LOI, 0.18, 1e-12)
	near(t, "F", c.Fluorine, 0.02, 1e-12)
	if len(c.Notes) != 1 || !strings.Contains(c.Notes[0], "cover it: Er2O3 (2.439 %") {
		t.Errorf("notes %q", c.Notes)
	}
	_, err = chem.FromWeightPercent([]chem.Part{{"SiO2", 60}, {"Bi2O3", 40}})
	wantField(t, err, "oxides", "at most 5 %")
	_, err = chem.FromWeightPercent([]chem.Part{{"SiO2", 60}, {"Al203", 40}})
	wantField(t, err, "oxides[1].name", "Al2O3")
	_, err = chem.FromWeightPercent([]chem.Part{{"LOI", 60}})
	wantField(t, err, "oxides", "at least 1 % that stays in the melt")
	_, err = chem.FromMolePercent([]chem.Part{{"SiO2", 60}, {"LOI", 40}})
	wantField(t, err, "oxides[1].name", "LOI")
	_, err = chem.FromSeger([]chem.Part{{"SiO2", 60}, {"Al2O3", 40}})
	wantField(t, err, "fluxes", "Na2O")
	_, err = chem.FromSeger(nil)
	wantField(t, err, "oxides", "1 to 64")
}

func TestNotesOnSums(t *testing.T) {
	for name, c := range map[string]struct {
		read  func() (*chem.Composition, error)
		notes string
	}{
		"recipe of 104.2": {func() (*chem.Composition, error) {
			return chem.FromRecipe([]chem.Part{{"orthoclase", 60}, {"whiting", 40}, {"talc", 4.2}}, nil)
		}, "the amounts sum to 104.2; normalised to 100"},
		"recipe of 100": {func() (*chem.Composition, error) {
			return chem.FromRecipe([]chem.Part{{"orthoclase", 60}, {"whiting", 40}}, nil)
		}, ""},
		"analysis of 98": {func() (*chem.Composition, error) {
			return chem.FromWeightPercent([]chem.Part{{"SiO2", 68}, {"CaO", 30}})
		}, "the percentages sum to 98; normalised to 100"},
		"formula of 1.2": {func() (*chem.Composition, error) {
			return chem.FromSeger([]chem.Part{{"CaO", 0.7}, {"K2O", 0.5}, {"SiO2", 3}})
		}, "the fluxes sum to 1.2; brought to 1"},
		"formula of 1": {func() (*chem.Composition, error) {
			return chem.FromSeger([]chem.Part{{"CaO", 0.7}, {"K2O", 0.3}, {"SiO2", 3}})
		}, ""},
	} {
		got, err := c.read()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if notes := strings.Join(got.Notes, "\n"); notes != c.notes {
			t.Errorf("%s: notes %q, want %q", name, notes, c.notes)
		}
	}
}

// Each flux counts in the sum that a formula brings to one, and nothing else does.
func TestFluxes(t *testing.T) {
	for o := chem.Oxide(0); o < chem.NumOxides; o++ {
		m := chem.Melt{chem.SiO2: 0.6}
		m[o] += 0.4
		u, err := chem.Seger(&m)
		switch o {
		case chem.Li2O, chem.Na2O, chem.K2O, chem.MgO, chem.CaO, chem.SrO, chem.BaO, chem.ZnO, chem.PbO:
			if err != nil {
				t.Fatal(err)
			}
			near(t, o.String(), u[o], 1, 1e-12)
			near(t, "SiO2", u[chem.SiO2], 1.5, 1e-12)
			if _, ok := u.SilicaToAlumina(); ok {
				t.Error("a ratio to no alumina")
			}
		default:
			wantField(t, err, "fluxes", "Na2O")
		}
	}
}

// drawMelt draws a melt with up to all oxides.
func drawMelt(t *rapid.T, name string) chem.Melt {
	var w [chem.NumOxides]float64
	for o := range w {
		if rapid.Bool().Draw(t, name+" holds "+chem.Oxide(o).String()) {
			w[o] = rapid.Float64Range(0.001, 100).Draw(t, name)
		}
	}
	w[chem.SiO2] += 1
	var m chem.Melt
	m.FromMassFractions(&w)
	return m
}

// wellFormed checks that fractions are fractions and sum to 1.
func wellFormed(t rapid.TB, what string, v []float64) {
	t.Helper()
	sum := 0.0
	for _, x := range v {
		if !(x >= 0 && x <= 1+1e-12) {
			t.Errorf("%s holds %g", what, x)
		}
		sum += x
	}
	if math.Abs(sum-1) > 1e-12 {
		t.Errorf("%s sums to %g", what, sum)
	}
}

// A composition written out by weight, by moles or as a Seger formula reads back as itself.
func TestRoundTrips(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawMelt(t, "m")
		var w [chem.NumOxides]float64
		m.MassFractions(&w)
		wellFormed(t, "mass fractions", w[:])
		var byWeight, byMoles, bySeger []chem.Part
		u, noFlux := chem.Seger(&m)
		for o := chem.Oxide(0); o < chem.NumOxides; o++ {
			byWeight = append(byWeight, chem.Part{Name: o.String(), Amount: 100 * w[o]})
			byMoles = append(byMoles, chem.Part{Name: o.String(), Amount: 100 * m[o]})
			bySeger = append(bySeger, chem.Part{Name: o.String(), Amount: u[o]})
		}
		same := func(what string, c *chem.Composition, err error) {
			if err != nil {
				t.Fatalf("%s: %v", what, err)
			}
			for o := range m {
				if math.Abs(c.Melt[o]-m[o]) > 1e-12 || math.Abs(c.MassFractions[o]-w[o]) > 1e-12 {
					t.Errorf("%s: %s is %g, was %g", what, chem.Oxide(o), c.Melt[o], m[o])
				}
			}
			if len(c.Notes) > 0 {
				t.Errorf("%s: notes %q", what, c.Notes)
			}
		}
		c, err := chem.FromWeightPercent(byWeight)
		same("weight percent", c, err)
		c, err = chem.FromMolePercent(byMoles)
		same("mole percent", c, err)
		if noFlux == nil {
			c, err = chem.FromSeger(bySeger)
			same("Seger formula", c, err)
		}
	})
}

// A recipe's melt does not depend on its total, its order, or on whether a material stands on one line or two.
func TestRecipeInvariances(t *testing.T) {
	names := []string{}
	for _, m := range chem.Library() {
		names = append(names, m.Name)
	}
	rapid.Check(t, func(t *rapid.T) {
		var recipe, other []chem.Part
		scale := rapid.Float64Range(1e-3, 1e3).Draw(t, "scale")
		for range rapid.IntRange(1, 12).Draw(t, "lines") {
			p := chem.Part{Name: rapid.SampledFrom(names).Draw(t, "material"), Amount: rapid.Float64Range(0.01, 100).Draw(t, "amount")}
			recipe = append(recipe, p)
			half := chem.Part{Name: p.Name, Amount: p.Amount * scale / 2}
			other = append(other, half, half)
		}
		slices.Reverse(other)
		a, err := chem.FromRecipe(recipe, nil)
		if err != nil {
			t.Fatal(err)
		}
		b, err := chem.FromRecipe(other, nil)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, "melt", a.Melt[:])
		wellFormed(t, "mass fractions", a.MassFractions[:])
		if math.Abs(a.LOI-b.LOI) > 1e-12 || math.Abs(a.Fluorine-b.Fluorine) > 1e-12 {
			t.Errorf("LOI %g and %g", a.LOI, b.LOI)
		}
		for o := range a.Melt {
			if math.Abs(a.Melt[o]-b.Melt[o]) > 1e-12 {
				t.Errorf("%s: %g and %g", chem.Oxide(o), a.Melt[o], b.Melt[o])
			}
		}
	})
}

// Masses add up in a blend, whichever is named first; its ends are the two melts.
func TestBlend(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawMelt(t, "a"), drawMelt(t, "b")
		w := rapid.Float64Range(0, 1).Draw(t, "w")
		var mix chem.Melt
		moles := func(mass float64, m *chem.Melt) float64 { return mass / m.MolarMass() }
		chem.Blend(&mix, &a, &b, moles(1-w, &a), moles(w, &b))
		wellFormed(t, "blend", mix[:])
		var wa, wb, wm [chem.NumOxides]float64
		a.MassFractions(&wa)
		b.MassFractions(&wb)
		mix.MassFractions(&wm)
		for o := range wm {
			if math.Abs(wm[o]-((1-w)*wa[o]+w*wb[o])) > 1e-12 {
				t.Errorf("%s: %g of %g and %g", chem.Oxide(o), wm[o], wa[o], wb[o])
			}
		}
		swapped := b
		chem.Blend(&swapped, &swapped, &a, moles(w, &b), moles(1-w, &a))
		if swapped != mix {
			t.Error("b with a, into b, is not a with b")
		}
		chem.Blend(&mix, &a, &b, 1, 0)
		for o := range mix {
			if math.Abs(mix[o]-a[o]) > 1e-14 {
				t.Errorf("nothing of b gives %g for %g", mix[o], a[o])
			}
		}
	})
}

func TestBlendAllocatesNothing(t *testing.T) {
	a, b := chem.Melt{chem.SiO2: 1}, chem.Melt{chem.CaO: 1}
	var dst chem.Melt
	if n := testing.AllocsPerRun(100, func() { chem.Blend(&dst, &a, &b, 0.7, 0.3) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// Any two lines are refused by field, or make a melt whose fractions are fractions.
func FuzzFromRecipe(f *testing.F) {
	f.Add("kaolin", 10.0, "whiting", 20.0)
	f.Add("KAOLIN  (kaolinite)", 1e-300, "gum", 0.0)
	f.Add("fluorspar", 1e9, "", math.Inf(1))
	f.Add("black iron oxide", 3.0, "ilmenit", -1.0)
	f.Fuzz(func(t *testing.T, name1 string, amount1 float64, name2 string, amount2 float64) {
		gum, _, err := chem.NewMaterial("gum", nil, 100)
		if err != nil {
			t.Fatal(err)
		}
		c, err := chem.FromRecipe([]chem.Part{{name1, amount1}, {name2, amount2}}, []chem.Material{gum})
		checkOutcome(t, c, err, "recipe")
	})
}

// Any three lines of an analysis likewise, read in all three ways.
func FuzzFromOxides(f *testing.F) {
	f.Add("SiO2", 60.0, "CaO", 20.0, "K2O", 5.0)
	f.Add("Fe3O4", 60.0, "LOI", 20.0, "Bi2O3", 1e-3)
	f.Add("F", 60.0, "SiO2", 1e-12, "Er2O3", 1e9)
	f.Fuzz(func(t *testing.T, n1 string, a1 float64, n2 string, a2 float64, n3 string, a3 float64) {
		parts := []chem.Part{{n1, a1}, {n2, a2}, {n3, a3}}
		for _, read := range []func([]chem.Part) (*chem.Composition, error){chem.FromWeightPercent, chem.FromMolePercent, chem.FromSeger} {
			c, err := read(parts)
			checkOutcome(t, c, err, "oxides")
		}
	})
}

func checkOutcome(t *testing.T, c *chem.Composition, err error, field string) {
	t.Helper()
	if err != nil {
		fe, ok := err.(*fault.Error)
		if !ok || fe.Limit == "" || fe.Value == "" || !strings.HasPrefix(fe.Field, field) && fe.Field != "fluxes" {
			t.Fatalf("%#v", err)
		}
		return
	}
	wellFormed(t, "melt", c.Melt[:])
	wellFormed(t, "mass fractions", c.MassFractions[:])
	if !(c.LOI >= -0.5 && c.LOI <= 0.99) || !(c.Fluorine >= 0 && c.Fluorine <= 1) {
		t.Fatalf("LOI %g, fluorine %g", c.LOI, c.Fluorine)
	}
	if u, err := chem.Seger(&c.Melt); err == nil {
		for o, v := range u {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("%s is %g", chem.Oxide(o), v)
			}
		}
	}
}
