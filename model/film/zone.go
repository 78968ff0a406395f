package film

import (
	"math"

	"github.com/catchline/catchline/model/fault"
)

// MaxStirring is the greatest stirring factor; a thousandfold diffusion mixes any film through.
const MaxStirring = 1000

// Zone is the mixed zone between two layers.
//
// The true profile of two melts that diffuse into one another is an error function. The zone
// stands for it as a slab of one composition that has the same amount of each melt across the
// interface: sqrt(∫D dt/π) of each, hence a half width of δ = 2 sqrt(∫D dt/π) (Crank 1975,
// The Mathematics of Diffusion, eq. 3.15, from memory). D at the interface is the geometric mean
// of the two melts' own, times the stirring factor.
//
// The zone grows as the square root of the diffusion so far while the film already flows. What
// enters the flow is the mean over the flow, not the final width, so the means of δ, δ² and δ³
// are kept: 2/3, 1/2 and 2/5 of their final values when flow and diffusion keep step, as they do
// for two melts that soften alike. Where a layer is used up its half stops growing; two zones
// that meet within a layer share it in proportion to their widths. Against firings followed in time
// steps, melts of unlike softening included, the mobility is off by less than 2 %.
type Zone struct {
	HalfWidth     float64 // δ in m at the end of the firing, before any limit by a thin layer
	Under, Over   float64 // m of the lower and upper layer in the zone, mean over the flow
	UnderFraction float64 // of the zone's volume, the lower layer's; what the blend is to be made from

	under, over growth  // how the two halves grow
	blend       float64 // ∫dt/η in 1/Pa of its blend
	known       bool    // whether that is set
}

// Mix works out the zones between the layers. Stirring is the factor on molecular diffusion, 0
// (layers stay apart) to MaxStirring.
func (s *Stack) Mix(stirring float64) error {
	if !(stirring >= 0 && stirring <= MaxStirring) {
		return &fault.Error{Field: "stirring", Value: number(stirring), Limit: "0 to " + number(MaxStirring)}
	}
	s.mixed = true
	for i := range s.n - 1 {
		under, over := &s.layers[i].Exposure, &s.layers[i+1].Exposure
		s.zones[i] = Zone{HalfWidth: halfWidth(stirring, under.Diffusion, over.Diffusion)}
	}
	for i := range s.n - 1 {
		z := &s.zones[i]
		z.under = grow(z.HalfWidth, s.limit(i, i, i-1))
		z.over = grow(z.HalfWidth, s.limit(i+1, i, i+1))
		z.Under, z.Over = z.under.mean.d, z.over.mean.d
		z.UnderFraction = 0.5
		if z.Under+z.Over > 0 {
			z.UnderFraction = z.Under / (z.Under + z.Over)
		}
	}
	return nil
}

// halfWidth is δ = 2 sqrt(S ∫D dt/π), with S the stirring factor and ∫D dt the geometric mean of those of the two melts
// in m².
func halfWidth(stirring, a, b float64) float64 {
	return 2 * math.Sqrt(stirring*math.Sqrt(a*b)/math.Pi)
}

// limit is how far in m a zone may grow into a layer, of which it leaves its part to the other zone in that layer, if
// there is one: h δ/(δ + δ') of a thickness h.
func (s *Stack) limit(layer, zone, other int) float64 {
	h, δ := s.layers[layer].Thickness, s.zones[zone].HalfWidth
	if other < 0 || other >= s.n-1 || δ == 0 {
		return h
	}
	return h * δ / (δ + s.zones[other].HalfWidth)
}

// moments of a length d that changes while the film flows: the means over the flow of d, d²/2 and d³/3.
type moments struct{ d, d2, d3 float64 }

// still are those of a length that does not change.
func still(d float64) moments { return moments{d, d * d / 2, d * d * d / 3} }

// growth is the moments of a length that grows up to a limit, and by how much they rise with ln of what it would grow
// to without the limit.
type growth struct{ mean, slope moments }

// grow gives the growth of a length that grows as the square root of the flow, towards final (m), and stops at limit
// (m, more than 0). It meets the limit when the part t = (limit/final)² of the flow is over, or not at all (t = 1).
// Before, the mean of dⁿ is limitⁿ 2/(n+2), after, it is limitⁿ:
//
//	mean dⁿ = limitⁿ (1 - t n/(n+2))
func grow(final, limit float64) growth {
	d := min(final, limit)
	t := min(1, limit/final)
	t *= t
	to := still(d)
	return growth{
		mean:  moments{to.d * (1 - t/3), to.d2 * (1 - t/2), to.d3 * (1 - t*3/5)},
		slope: moments{to.d * t * 2 / 3, to.d2 * t, to.d3 * t * 6 / 5},
	}
}

// Zone gives the mixed zone between layers i and i+1.
func (s *Stack) Zone(i int) *Zone { return &s.zones[i] }

// SetBlend gives zone i the exposure ∫dt/η in 1/Pa of its blend to flow: of the melt that has UnderFraction of its
// volume from the lower layer and the rest from the upper.
func (s *Stack) SetBlend(i int, flow float64) error {
	if err := CheckFlow(flow); err != nil {
		return err
	}
	s.zones[i].blend, s.zones[i].known = flow, true
	return nil
}
