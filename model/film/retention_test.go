package film

import (
	"math"
	"testing"
)

func TestHeldBandFollowsFurmidge(t *testing.T) {
	held, err := HeldBand(0.30, 2400, 1, 0.5e-3, DefaultGrip)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "longest band held", held, published(t, "pinning, 2-D band (Furmidge)", "")[0], 1e-6)
	if Retained(held, held) != 0 || Retained(held/2, held) != 0 {
		t.Error("a band that is held moves")
	}
	within(t, "long band", Retained(1e4*held, held), 1, 1e-3)
	if level, _ := HeldBand(0.30, 2400, 0, 0.5e-3, DefaultGrip); Retained(10, level) != 0 {
		t.Error("a band on a level surface moves")
	}
}

func TestCapillaryLength(t *testing.T) {
	within(t, "capillary length", CapillaryLength(0.30, 2400), published(t, "capillary length", "")[0], 1e-6)
}

func TestHeldBandRefuses(t *testing.T) {
	for name, call := range map[string]func() (float64, error){
		"surface tension": func() (float64, error) { return HeldBand(math.NaN(), 2400, 1, 1e-3, DefaultGrip) },
		"density":         func() (float64, error) { return HeldBand(0.3, 0, 1, 1e-3, DefaultGrip) },
		"slope":           func() (float64, error) { return HeldBand(0.3, 2400, 1.1, 1e-3, DefaultGrip) },
		"thickness":       func() (float64, error) { return HeldBand(0.3, 2400, 1, -1, DefaultGrip) },
		"grip":            func() (float64, error) { return HeldBand(0.3, 2400, 1, 1e-3, -0.1) },
		"angles":          func() (float64, error) { return Angles{1, 0.5}.Grip() },
	} {
		if v, err := call(); err == nil {
			t.Errorf("%s: accepted, gives %g", name, v)
		}
	}
}
