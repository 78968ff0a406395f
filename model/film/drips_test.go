package film

import (
	"math"
	"testing"
)

func TestSpacingsFollowTheirSources(t *testing.T) {
	// Huppert 1982 and Troian et al. 1989, from memory.
	within(t, "Huppert", HuppertSpacing(25e-6, 0.30, 2400, 1), published(t, "fingering, Huppert", "")[0], 1e-6)
	within(t, "Troian", TroianSpacing(0.5e-3, 0.30, 2400, 1), published(t, "fingering, Troian", "")[0], 1e-6)
}

func TestDripRatioMovesFromPriorToTiles(t *testing.T) {
	prior, err := CalibrateDrips(nil)
	if err != nil || prior.Tiles != 0 {
		t.Fatalf("prior %+v, %v", prior, err)
	}
	within(t, "prior", prior.Median, priorDripRatio, 1e-12)
	// One tile as uncertain as the prior is trusted half: the geometric mean of both, by hand.
	one, err := CalibrateDrips([]DripReading{{0.020 * 1.6, 0.020}})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "one tile", one.Median, math.Sqrt(1.6*1.3), 1e-9)
	within(t, "its uncertainty", one.MeanSD, 0.15/math.Sqrt2, 1e-9)
	many := make([]DripReading, 400)
	for i := range many {
		many[i] = DripReading{0.020 * math.Exp(math.Log(1.6)+0.1*float64(i%2*2-1)), 0.020}
	}
	all, err := CalibrateDrips(many)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "many tiles", all.Median, 1.6, 0.002)
	within(t, "their scatter", all.Scatter, 0.1, 0.02)
	for _, bad := range []DripReading{{0.01, 0.02}, {0.01, 0}, {math.NaN(), 0.01}, {math.Inf(1), 0.01}} {
		if _, err := CalibrateDrips([]DripReading{bad}); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
}
