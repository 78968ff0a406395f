package film

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/melt"
)

func TestFusionComesBelowTheOwnCone(t *testing.T) {
	p := Usual
	p.Fusion = Fusion{Below: 52, Width: 25}
	const own = 1495
	melted := func(T, boron float64) float64 {
		var flowing, melted [1]float64
		p.Fluid(flowing[:], melted[:], []float64{T}, &Maturity{Own: own, Early: EarlyFusion(boron)})
		return melted[0]
	}
	within(t, "half", melted(own-52, 0.03), 0.5, 1e-12)
	if v := melted(own, 0.03); v < 0.85 {
		t.Errorf("at its own cone a glaze has %.2f of its melt's fluidity", v)
	}
	if v := melted(own-200, 0.03); v > 0.01 {
		t.Errorf("200 K below its own cone a glaze has %.3f of its melt's fluidity", v)
	}
	if melted(own-60, 0.15) <= melted(own-60, 0) {
		t.Error("boron does not make a glaze fuse earlier")
	}
}

// The formulas, one by one.
func TestFluidIsFusionStiffeningAndCrystals(t *testing.T) {
	p, m := Usual, Maturity{Own: 1500, Early: 4, Crystals: 0.2}
	kelvin := []float64{1250, 1440, 1495, 1530, 1580}
	var flowing, melted [5]float64
	p.Fluid(flowing[:], melted[:], kelvin, &m)
	for i, T := range kelvin {
		part := 1 / (1 + math.Exp(-(T-m.Own+p.Fusion.Below+m.Early)/p.Fusion.Width))
		stiffer := 1 + (p.Stiffening-1)*math.Exp(-(T-cone6Kelvin)/p.Fining)
		within(t, "melted", melted[i], part, 1e-12)
		within(t, "flowing", flowing[i], part/stiffer/melt.RelativeViscosity(melt.FadedCrystals(0.2, T, 1500)), 1e-12)
	}
}
