package film

import (
	"math"
	"testing"
)

func TestBodyLayerHoldsThinFilms(t *testing.T) {
	const layer = 40e-6
	within(t, "thick film", MobileThickness(1e-3, layer), 0.96e-3, 1e-9)
	within(t, "film of a hundredth of the layer", MobileThickness(layer/100, layer), layer/100/200, 1e-2)
	within(t, "no layer", MobileThickness(0.3e-3, 0), 0.3e-3, 0)
	for h := 1e-7; h < 3e-3; h *= 1.1 {
		const step = 1e-5
		slope := math.Log(MobileThickness(h*(1+step), layer)/MobileThickness(h*(1-step), layer)) / (2 * step)
		if got := MobileElasticity(h, layer); math.Abs(got-slope) > 1e-3 || got < 1 || got > 2 {
			t.Errorf("at %g m: elasticity %g, by differences %g", h, got, slope)
		}
	}
	within(t, "elasticity without a layer", MobileElasticity(1e-3, 0), 1, 0)
}
