package film

import (
	"errors"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Flow is how a layered film moves during a firing.
type Flow struct {
	// Drive X in metres is what the front law takes. For one melt it is H²M. In general it is
	// that of the part of the film that gets furthest: see Stack.Flow.
	Drive float64
	// Thickness H of the whole film in metres.
	Thickness float64
	// Mobility M = ∫ ρ g sinθ/ηeff dt in 1/m of the whole film: 3 ∫q dt / H³.
	Mobility float64
	// Cut counts the layers at the wall that stay behind the part that gets furthest; 0 when the
	// film moves as a whole.
	Cut int
	// LayerShare and ZoneShare are the parts of the drive that each layer's unmixed melt and each
	// zone's blend bring: ∂ln X/∂ln(fluidity), see Stack.share. Together they sum to 1.
	LayerShare [MaxLayers]float64
	ZoneShare  [MaxLayers - 1]float64
	// Stirring is how the drive hangs on the stirring factor, the blends being what they are: ∂ln X/∂ln(stirring), in
	// the same mean over parts as the shares. 0 where nothing flows or nothing mixes.
	Stirring float64
}

// Flow gives the flow of the stack on a wall whose sine of the angle to the horizontal is sinSlope
// (0 to 1; 1 is upright).
//
// The flux of layers on a wall without slip and under a free surface without stress is
//
//	q = g sinθ ∫ (H-z) T(z) / η(z) dz,   T(z) = ∫ ρ dz' from z to H
//
// (for layers of one melt each this is Kao 1965, two layers, carried to N). So each layer and zone
// adds its exposure times a weight that depends on thicknesses alone; of two equal layers the
// lower weighs 7/8 and the upper 1/8.
//
// A film of one melt advances at its mean speed q/H. A runny layer on a stiff one is not held back
// by it so: it leaves it behind and runs on over bare wall. The flux q' of the layers above any
// interface, running on as a film of its own of mobility M' (flux M' h³/3), advances at
// q'^(2/3) (M'/3)^(1/3); taken over the firing, X' = (3 Q')^(2/3) M'^(1/3). The drive is the
// greatest of these over all interfaces and the wall, where it is H²M. Within one melt the whole
// film always gets furthest, so that splitting a layer changes nothing, and adding a layer at
// the wall never makes the rest run less. Against layers followed one by one as they part, the run is
// within 15 % with the runnier on top (H²M alone says half), and up to a third too long for a runny layer
// that flows out from under a stiff one.
func (s *Stack) Flow(sinSlope float64) (f Flow, err error) {
	err = s.FlowTo(&f, sinSlope)
	return f, err
}

// FlowTo is Flow, written to f.
func (s *Stack) FlowTo(f *Flow, sinSlope float64) error {
	*f = Flow{}
	if err := s.ready(sinSlope); err != nil {
		return err
	}
	var m motion
	s.move(&m)
	h, pull := m.above[0], 3*Gravity*sinSlope
	f.Thickness, f.Cut = h, m.fastest
	f.Mobility = pull * m.alone[0] / (h * h * h)
	f.Drive = f.Mobility * h * h
	if m.fastest > 0 {
		f.Drive = pull * math.Cbrt(m.cubed[m.fastest])
	}
	s.share(&m, f)
	if !finite(f.Drive) || !finite(f.Mobility) {
		return errNotFinite
	}
	return nil
}

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

func (s *Stack) ready(sinSlope float64) error {
	if s.n == 0 {
		return &fault.Error{Field: "layers", Value: "none", Limit: "1 to 8"}
	}
	if !(sinSlope >= 0 && sinSlope <= 1) {
		return &fault.Error{Field: "sine of the slope", Value: number(sinSlope), Limit: "0 to 1"}
	}
	if !s.mixed {
		return s.Mix(0)
	}
	for i := range s.n - 1 {
		if s.zones[i].HalfWidth > 0 && !s.zones[i].known {
			return errNoBlend
		}
	}
	return nil
}

// Unmixed gives the flow that the stack would have if its layers did not mix.
func (s *Stack) Unmixed(sinSlope float64) (Flow, error) {
	apart := *s
	apart.mixed = false
	return apart.Flow(sinSlope)
}

// Solo gives the drive X = H²M of a film of layer i alone that is as thick as the whole stack.
func (s *Stack) Solo(i int, sinSlope float64) float64 {
	h := s.Thickness()
	return h * h * s.layers[i].Density * Gravity * sinSlope * s.layers[i].Exposure.Flow
}

var errNoBlend = errors.New("film: a mixed zone has no blend; call SetBlend for each zone after Mix")

var errNotFinite = errors.New("film: the flow of this stack is not a finite number")
