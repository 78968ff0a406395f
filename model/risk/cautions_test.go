package risk

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/chem"
)

func codes(s *Situation) map[Code]string {
	out := map[Code]string{}
	for _, c := range Cautions(s) {
		out[c.Code] = c.Text
	}
	return out
}

func everything() *Situation {
	var m chem.Melt
	for i := range m {
		m[i] = 1. / chem.NumOxides
	}
	return &Situation{Word: Severe, Cookie: true, Melts: []*chem.Melt{&m}, Described: true, Recipes: true, Reduction: true, AcidGases: true}
}

// Each caution defers to the standards of the table (testdata/published/cautions.csv, from memory).
func TestCautionsDeferToTheStandards(t *testing.T) {
	f, err := os.Open("../../testdata/published/cautions.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	standards := map[string]string{}
	for _, r := range rows {
		standards[r[0]] = r[2]
	}
	all := codes(everything())
	for code, c := range map[Code]struct {
		topic string
		named []string
	}{
		FoodContact:    {"food contact", []string{"ASTM C738", "ISO 6486", "EN 1388-1"}},
		Dust:           {"silica dust", []string{"OSHA 29 CFR 1910.1053", "EU 2017/2398"}},
		MakersLabel:    {"labelling", []string{"ASTM D4236"}},
		HotKiln:        {"hot kiln", []string{"ANSI Z87.1", "EN 171"}},
		ManganeseIn:    {"manganese", []string{"ACGIH TLV"}},
		LeadPresent:    {"lead", []string{"1910.1025", "C738"}},
		CarbonMonoxide: {"carbon monoxide", []string{"50 ppm"}},
	} {
		for _, name := range c.named {
			if !strings.Contains(standards[c.topic], name) || !strings.Contains(all[code], name) {
				t.Errorf("%s does not defer to %s of %q", code, name, standards[c.topic])
			}
		}
	}
}

func TestCautionsAreChosenBySituation(t *testing.T) {
	quiet := codes(&Situation{})
	for _, code := range []Code{TestTileFirst, ModelLimits, Fumes, FoodContact} {
		if quiet[code] == "" {
			t.Errorf("%s is missing where nothing is known to be wrong", code)
		}
	}
	for _, code := range []Code{Shelf, Grinding, LeadPresent, CarbonMonoxide, MakersLabel} {
		if quiet[code] != "" {
			t.Errorf("%s is shown without a reason", code)
		}
	}
	if len(codes(everything())) != len(rules) {
		t.Error("the worst situation does not have every caution")
	}
	var trace, barium chem.Melt
	trace[chem.BaO], barium[chem.BaO] = 1e-4, 0.05
	if codes(&Situation{Melts: []*chem.Melt{&trace}})[BariumPresent] != "" || codes(&Situation{Melts: []*chem.Melt{&trace, &barium}})[BariumPresent] == "" {
		t.Error("barium is not told from its traces")
	}
}

// No caution may call anything safe.
func TestNothingIsCalledSafe(t *testing.T) {
	for _, r := range rules {
		for _, word := range []string{"food safe", "food-safe", "non-toxic", "nontoxic", "harmless", "is safe"} {
			if strings.Contains(strings.ToLower(r.caution.Text), word) {
				t.Errorf("%s says %q", r.caution.Code, word)
			}
		}
	}
}
