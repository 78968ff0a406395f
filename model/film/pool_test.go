package film

import (
	"math"
	"testing"
)

func TestSmallPoolIsACapAndLargeOneAPuddle(t *testing.T) {
	const a = 3.57e-3
	// Half a sphere of 1 mm at 90 degrees: V = 2π/3 mm³, by hand.
	drop, err := Spread(2*math.Pi/3*1e-9, a, math.Pi/2)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "diameter of half a sphere", drop.Diameter, 2e-3, 1e-9)
	within(t, "its height", drop.Thickness, 1e-3, 1e-9)
	puddle, err := Spread(20e-6, a, ShelfAngle)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "puddle", puddle.Thickness, a, 1e-9) // 2 a sin 30°
	within(t, "its area", math.Pi/4*puddle.Diameter*puddle.Diameter, 20e-6/a, 1e-9)
	last := 0.
	for v := 1e-10; v < 1e-4; v *= 1.01 {
		p, err := Spread(v, a, ShelfAngle)
		if err != nil {
			t.Fatal(err)
		}
		if p.Diameter < last {
			t.Fatalf("%g m³ spread less than a little less", v)
		}
		last = p.Diameter
	}
	for _, v := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := Spread(v, a, ShelfAngle); err == nil {
			t.Errorf("volume %g accepted", v)
		}
	}
}
