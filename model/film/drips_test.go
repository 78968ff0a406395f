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
	within(t, "prior", prior.Median, Usual.Drip, 1e-12)
	// One tile, whose scatter is 0.4, against a prior of 0.25, by hand: it counts for 0.25²/(0.25² + 0.4²).
	one, err := CalibrateDrips([]DripReading{{0.020 * 1.6, 0.020}})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "one tile", one.Median, math.Exp(math.Log(Usual.Drip)+0.0625/(0.0625+0.16)*math.Log(1.6/Usual.Drip)), 1e-9)
	within(t, "its uncertainty", one.MeanSD, math.Sqrt(0.0625*0.16/(0.0625+0.16)), 1e-9)
	many := make([]DripReading, 400)
	for i := range many {
		many[i] = DripReading{0.020 * math.Exp(math.Log(1.6)+0.1*float64(i%2*2-1)), 0.020}
	}
	all, err := CalibrateDrips(many)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "many tiles", all.Median, 1.6, 0.004)
	within(t, "their scatter", all.Scatter, 0.1, 0.2)
	for _, bad := range []DripReading{{0.01, 0.02}, {0.01, 0}, {math.NaN(), 0.01}, {math.Inf(1), 0.01}} {
		if _, err := CalibrateDrips([]DripReading{bad}); err == nil {
			t.Errorf("%v accepted", bad)
		}
	}
}

func TestLongestDripGrowsWithTheWidth(t *testing.T) {
	within(t, "on a tile", DripsOn(50e-3, 2.1), 2.1, 1e-12)
	last := 1.0
	for w := 1e-3; w < 2; w *= 1.3 {
		r := DripsOn(w, 2.1)
		if r < last || r > 4.5 {
			t.Errorf("%g m: %g, %g on less", w, r, last)
		}
		last = r
	}
	if last < 2.5 {
		t.Errorf("on 2 m the longest drip is %g times the front", last)
	}
	within(t, "room for a drip", TroianSpacing(0.35e-3, 0.33, 2400, 1), dripRoom, 0.02)
}
