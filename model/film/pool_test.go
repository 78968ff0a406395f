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
	// At 60 degrees: what a cap of that base and height holds, π h (3r² + h²)/6, is what was spilt.
	cap, err := Spread(5e-9, a, ShelfAngle)
	if err != nil {
		t.Fatal(err)
	}
	r, h := cap.Diameter/2, cap.Thickness
	within(t, "cap", math.Pi*h*(3*r*r+h*h)/6, 5e-9, 1e-9)
	within(t, "its contact angle", 2*math.Atan(h/r), ShelfAngle, 1e-9)
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

func TestRingAroundAFoot(t *testing.T) {
	const a, foot = 3.57e-3, 0.080
	// Large: ring of thickness a between 80 and 120 mm holds π/4 (120² - 80²) a, by hand.
	ring, err := SpreadAround(math.Pi/4*(0.120*0.120-0.080*0.080)*a, foot, a, ShelfAngle)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "ring", ring.Diameter, 0.120, 1e-9)
	// Small: a bead of 2 mm width at 60° along the foot: cross-section 4 tan(30°)/3 mm², by hand, middle of the
	// bead at 82 mm.
	bead, err := SpreadAround(math.Pi*(foot+2e-3)*4e-6/math.Sqrt(3)/3, foot, a, ShelfAngle)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "bead", bead.Diameter, 0.084, 1e-9)
	if none, _ := SpreadAround(0, foot, a, ShelfAngle); none.Diameter != foot || none.Thickness != 0 {
		t.Errorf("nothing spreads to %+v", none)
	}
	if _, err := SpreadAround(1e-6, 0, a, ShelfAngle); err == nil {
		t.Error("no foot accepted")
	}
}
