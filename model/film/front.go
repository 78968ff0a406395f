package film

import "math"

// Run gives how far in metres the lower edge of a band of glaze moves down an even slope.
//
//	x  drive X = H²M in metres, 0 or more
//	l  height of the band along the slope in metres, more than 0; +Inf is an endless band
//
// A film obeys h_t + (M' h³/3)_x = 0. From a band of even thickness the edge first moves as a
// shock with the band's own mean speed; from s = L/2 on the thinning that starts at the upper edge
// has caught up with it, and it slows to the one-third power of time (Huppert 1982, Nature
// 300, 427-429):
//
//	s = X/3                         while s <= L/2
//	s = (1.5 L)^(2/3) X^(1/3) - L   after
//
// The two meet with the same value and the same slope. Outside the range of the arguments the
// result is NaN.
func Run(x, l float64) float64 {
	if !(x >= 0 && l > 0) {
		return math.NaN()
	}
	if x <= 1.5*l {
		return x / 3
	}
	return l * (math.Cbrt(2.25*(x/l)) - 1)
}

// Drive is the inverse of Run: the drive X in metres that a measured run s (metres, 0 or more) of
// a band of height l shows. Outside the range of the arguments the result is NaN.
func Drive(s, l float64) float64 {
	if !(s >= 0 && l > 0) {
		return math.NaN()
	}
	if s <= 0.5*l {
		return 3 * s
	}
	r := 1 + s/l
	return l * r * r * r / 2.25
}

// RunElasticity is ∂ln s/∂ln X: 1 for a short run, towards 1/3 for a long one. It turns a relative
// error of the drive into one of the run, and back.
func RunElasticity(x, l float64) float64 {
	if !(x >= 0 && l > 0) {
		return math.NaN()
	}
	if x <= 1.5*l {
		return 1
	}
	r := math.Cbrt(2.25 * (x / l))
	return r / (3 * (r - 1))
}
