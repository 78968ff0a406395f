package film

import "math"

// MobileThickness is what is left to flow, in m, of a film of thickness h (m) over a body whose layer of stiff glaze
// is layer (m) thick where there is enough glaze for it:
//
//	h - layer (1 - exp(-h/layer))
//
// Glaze that has dissolved body, and what the pores have taken in, hardly moves: common practice says 50 to 100 µm
// (no source). A coat thinner than that layer is taken up in proportion, so that nothing jumps: it still flows, very
// little. The form is ours.
func MobileThickness(h, layer float64) float64 {
	if layer == 0 {
		return h
	}
	return h + layer*math.Expm1(-h/layer)
}

// MobileElasticity is ∂ln(mobile thickness)/∂ln h: 1 for a thick film, 2 for one that is thin against the layer.
func MobileElasticity(h, layer float64) float64 {
	if layer == 0 {
		return 1
	}
	return -h * math.Expm1(-h/layer) / MobileThickness(h, layer)
}
