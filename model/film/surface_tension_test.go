package film

import (
	"math"
	"testing"
)

func TestCapillaryLength(t *testing.T) {
	within(t, "capillary length", CapillaryLength(0.30, 2400), published(t, "capillary length", "")[0], 1e-6)
}

func TestCheckTensionRefuses(t *testing.T) {
	for _, tension := range []float64{math.NaN(), 0, -0.3, 2.1} {
		if CheckTension(tension) == nil {
			t.Errorf("surface tension %g: accepted", tension)
		}
	}
}
