package film

import (
	"math"

	"github.com/catchline/catchline/model/chem"
)

// DefaultStirring is the prior median of the stirring factor: how many times faster than
// molecular diffusion the gas that escapes through the film mixes two layers. Ours, no source,
// and wide (see StirringLogSD); a studio's pairs move it.
const DefaultStirring = 5

// StirringLogSD is the standard deviation of the natural logarithm of the stirring factor in
// that prior: within a factor of three either way two times out of three.
const StirringLogSD = 1.1

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

	under, over half
	blend       float64 // ∫dt/η of the blend in 1/Pa
	known       bool    // whether that is set
}

// half is the part of a zone on one side of the interface.
type half struct {
	moments
	width, room float64 // at the end, before any limit; how far it may grow
}

func halfOf(width, room float64) half { return half{growth(width, room), width, room} }

// widened gives the moments that it would have if it were so many times as wide before any limit.
func (h *half) widened(times float64) moments {
	if times == 1 {
		return h.moments
	}
	return growth(h.width*times, h.room)
}

// moments are the means over the flow of a growing length d, of d² and of d³.
type moments struct{ d1, d2, d3 float64 }

// growth gives the moments of a length that grows as the square root of the flow up to final
// and stops at limit.
func growth(final, limit float64) moments {
	if final <= limit {
		return moments{final * (2. / 3), final * final * (1. / 2), final * final * final * (2. / 5)}
	}
	// The limit is met when the part t of the flow is over; before, the mean of d^n is
	// limit^n 2/(n+2), after it is limit^n.
	t := (limit / final) * (limit / final)
	return moments{
		limit * (1 - t*(1./3)),
		limit * limit * (1 - t*(1./2)),
		limit * limit * limit * (1 - t*(3./5)),
	}
}

// Mix works out the zones between the layers. Stirring is the factor on molecular diffusion, 0
// (layers stay apart) to MaxStirring.
func (s *Stack) Mix(stirring float64) error {
	if !(stirring >= 0 && stirring <= MaxStirring) {
		return &chem.FieldError{Field: "stirring", Value: number(stirring), Limit: "0 to " + number(MaxStirring)}
	}
	s.stirring, s.mixed = stirring, true
	for i := range s.n - 1 {
		d := stirring * math.Sqrt(s.layers[i].Exposure.Diffusion*s.layers[i+1].Exposure.Diffusion)
		z := &s.zones[i]
		z.HalfWidth, z.blend, z.known = 2*math.Sqrt(d*(1/math.Pi)), 0, false
	}
	for i := range s.n - 1 {
		z := &s.zones[i]
		z.under = halfOf(z.HalfWidth, s.room(i, z.HalfWidth, i-1))
		z.over = halfOf(z.HalfWidth, s.room(i+1, z.HalfWidth, i+1))
		z.Under, z.Over = z.under.d1, z.over.d1
		z.UnderFraction = 0.5
		if z.Under != z.Over {
			z.UnderFraction = z.Under / (z.Under + z.Over)
		}
	}
	return nil
}

// StirringStep is the step of the logarithm of stirring by which a Flow tells how it depends on it.
const StirringStep = 0.2

var stirringStepWider = math.Exp(StirringStep / 2)

// wider is how many times as wide the zones are with stirring stronger by StirringStep, short of MaxStirring; 1 without any.
func (s *Stack) wider() float64 {
	switch {
	case s.n < 2 || s.stirring == 0:
		return 1
	case s.stirring*stirringStepWider*stirringStepWider > MaxStirring:
		return math.Sqrt(MaxStirring / s.stirring)
	}
	return stirringStepWider
}

// room is how far a zone of half width δ may grow into a layer that it shares with another zone,
// if there is one with that index; it stays the same when both grow alike.
func (s *Stack) room(layer int, δ float64, other int) float64 {
	h := s.layers[layer].Thickness
	if other < 0 || other >= s.n-1 || δ == 0 {
		return h
	}
	return h * δ / (δ + s.zones[other].HalfWidth)
}

// Zone gives the mixed zone between layers i and i+1.
func (s *Stack) Zone(i int) *Zone { return &s.zones[i] }

// SetBlend gives zone i the exposure ∫dt/η in 1/Pa of its blend to flow: of the melt that has UnderFraction of its volume
// from the lower layer and the rest from the upper.
func (s *Stack) SetBlend(i int, flow float64) error {
	if err := checkFlow(flow); err != nil {
		return err
	}
	s.zones[i].blend, s.zones[i].known = flow, true
	return nil
}
