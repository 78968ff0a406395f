package film

import (
	"math"
	"testing"
)

func TestHeldBandFollowsFurmidge(t *testing.T) {
	of := func(sinSlope, band float64) (part, left float64) {
		part = HeldPart(0.30, 2400*0.5e-3, sinSlope, band, DefaultGrip)
		return part, Retained(part)
	}
	longest := published(t, "pinning, 2-D band (Furmidge)", "")[0]
	part, left := of(1, longest)
	within(t, "part held of the longest band that is held", part, 1, 1e-6)
	if _, half := of(1, longest/2); left > 1e-6 || half != 0 {
		t.Error("a band that is held moves")
	}
	_, left = of(1, 1e4*longest)
	within(t, "long band", left, 1, 1e-3)
	if _, left := of(0, 10); left != 0 {
		t.Error("a band on a level surface moves")
	}
}

func TestCapillaryLength(t *testing.T) {
	within(t, "capillary length", CapillaryLength(0.30, 2400), published(t, "capillary length", "")[0], 1e-6)
}

func TestHeldBandRefuses(t *testing.T) {
	for _, tension := range []float64{math.NaN(), 0, -0.3, 2.1} {
		if CheckTension(tension) == nil {
			t.Errorf("surface tension %g: accepted", tension)
		}
	}
	if v, err := (Angles{1, 0.5}).Grip(); err == nil {
		t.Errorf("angles: accepted, give %g", v)
	}
}
