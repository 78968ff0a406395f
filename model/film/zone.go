package film

import "github.com/catchline/catchline/model/fault"

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

	known bool // whether its blend is set
}

// Mix works out the zones between the layers. Stirring is the factor on molecular diffusion, 0
// (layers stay apart) to MaxStirring.
func (s *Stack) Mix(stirring float64) error {
	if !(stirring >= 0 && stirring <= MaxStirring) {
		return &fault.Error{Field: "stirring", Value: number(stirring), Limit: "0 to " + number(MaxStirring)}
	}
	s.mixed = true
	rows := s.Rows()
	for i := range s.n {
		rows.Put(0, i, &s.layers[i])
	}
	rows.Stir(stirring, 0, 1)
	rows.Mix(1)
	for i := range s.n - 1 {
		z := &rows.Zones[i]
		z.Blend[0] = 0
		s.zones[i] = Zone{z.HalfWidth[0], z.Under[0], z.Over[0], z.UnderFraction[0], false}
	}
	return nil
}

// Zone gives the mixed zone between layers i and i+1.
func (s *Stack) Zone(i int) *Zone { return &s.zones[i] }

// SetBlend gives zone i the exposure ∫dt/η in 1/Pa of its blend to flow: of the melt that has UnderFraction of its volume
// from the lower layer and the rest from the upper.
func (s *Stack) SetBlend(i int, flow float64) error {
	if err := CheckFlow(flow); err != nil {
		return err
	}
	s.Rows().Zones[i].Blend[0], s.zones[i].known = flow, true
	return nil
}
