package film

import "math"

// Edge is the lower edge of a band on dry clay. A front that has to wet what it meets waits until a bead of melt has
// gathered at it. Where the edge is even, the front has come
//
//	s = s0² / (s0 + B),   B = A/h
//
// when a front that wets whatever it meets (see Run) has come s0: A is the section of the bead that lets go, h the
// thickness of the film that feeds it, so that B is the length of film in the bead. For a long run s = s0 - B, what
// was spent on the bead; before, the bead is filled in proportion to s0/(s0+B). Ours. Against the thin-film equation
// with surface tension and a contact angle it is within 5 % or 0.5 mm, but near the threshold, where it comes up to
// 1.3 mm too far (testdata/published/edge_front.csv).
//
// A real edge is not even: a part ε of it, feathered out by the brush or already wetted, waits for nothing,
//
//	s = s0 (s0 + ε B) / (s0 + B)
//
// which rises strictly from 0, so that it can be inverted. Ours.
type Edge struct {
	Bead   float64 // B = A/h, m; 0 or more
	Wetted float64 // ε, the part of the edge that needs no bead, more than 0 and at most 1
}

// NewEdge is the edge of a film of thickness h (m) on a wall whose sine of the angle to the horizontal is sinSlope,
// where a bead of section A (m²) would let go on an upright wall. A is a²(1 - cos θ) with a² = γ/(ρ g sinθ): on a
// slope the weight pulls less, and the bead grows larger.
func NewEdge(section, h, sinSlope, wetted float64) Edge {
	return Edge{section / (h * sinSlope), wetted}
}

// Front gives how far the front has come (m) where it would have come s0 (m, 0 or more) if it did not have to wet the
// clay.
func (e Edge) Front(s0 float64) float64 {
	if s0 == 0 {
		return 0
	}
	return s0 * (s0 + e.Wetted*e.Bead) / (s0 + e.Bead)
}

// Free is the inverse of Front: how far the front would have come (m) without the edge, where it has come s (m, 0 or
// more).
func (e Edge) Free(s float64) float64 {
	// s0² + (εB - s) s0 - sB = 0; the form without cancellation on either side.
	b := e.Wetted*e.Bead - s
	root := math.Sqrt(b*b + 4*s*e.Bead)
	if b > 0 {
		return 2 * s * e.Bead / (b + root)
	}
	return (root - b) / 2
}

// BeadElasticity is ∂ln s0/∂ln A of Free at a front of s (m, more than 0): how much more the film must have flowed,
// for each part by which the bead is larger. For an even edge it is ½ for a short run and 0 for a long one; for one
// that is wetted in part it falls to 0 for the shortest runs too.
func (e Edge) BeadElasticity(s float64) float64 {
	s0 := e.Free(s)
	if s0 == 0 {
		return 0
	}
	return e.Bead * (s - e.Wetted*s0) / (s0 * (2*s0 + e.Wetted*e.Bead - s))
}

// Wetting is how well melts wet bodies, by the peak temperature: the bead is larger on a cold, open body than on a
// hot, vitrified one.
type Wetting struct {
	Section float64 // m², of the bead that lets go at cone 6 on an upright wall
	Range   float64 // K, from there to where the melt would spread by itself
}

// cone6Kelvin is where cone 6 goes down at 60 °C/h.
const cone6Kelvin = 1222 + 273.15

// SectionAt gives the section of the bead (m²) after a firing to a peak (K):
//
//	A = A6 r²,   r = (u + sqrt(u² + c²)) / (1 + sqrt(1 + c²)),   u = 1 - (T - T6)/Range,   c = 0.2
//
// The contact angle falls in proportion to how far below the temperature of spreading the peak is, as θ² does 1 - cos
// θ; c keeps it from ending in a corner. Ours: practice at cone 10 runs, and at cone 04 stands, more than viscosity
// and one bead explain.
func (w Wetting) SectionAt(peakKelvin float64) float64 {
	const c = 0.2
	u := 1 - (peakKelvin-cone6Kelvin)/w.Range
	r := (u + math.Hypot(u, c)) / (1 + math.Hypot(1, c))
	return w.Section * r * r
}
