package film

import (
	"errors"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Flow is how a layered film moves during a firing.
type Flow struct {
	// Drive X in metres is what the front law takes. For one melt on a body without a stiff layer it is H²M: see
	// Stack.Flow.
	Drive float64
	// Thickness H of the whole film in metres, and Mobile what the stiff layer at the body leaves of it to flow, see
	// MobileThickness.
	Thickness, Mobile float64
	// Mobility M = ∫ ρ g sinθ/ηeff dt in 1/m of the film as it lies: 3 ∫q dt / H³.
	Mobility float64
	// LayerShare and ZoneShare are the parts of the drive that each layer's unmixed melt and each
	// zone's blend bring: ∂ln X/∂ln(fluidity), see Stack.share. Together they sum to 1.
	LayerShare [MaxLayers]float64
	ZoneShare  [MaxLayers - 1]float64
	// Stirring is how the drive depends on the stirring factor, the blends being what they are: ∂ln X/∂ln(stirring). 0
	// where nothing flows or nothing mixes.
	Stirring float64
}

// Flow gives the flow of the stack on a wall whose sine of the angle to the horizontal is sinSlope
// (0 to 1; 1 is upright).
//
// Each layer and zone adds its exposure, times a weight that depends on thicknesses alone, to the flux Q, see
// Stack.flux; of two equal layers the lower weighs 7/8 and the upper 1/8. A film of one melt advances at its mean
// speed Q/H.
//
// The front of a film rolls: its surface is faster than its mean, runs to the front and is laid down there, as dye on
// the surface of honey shows (Dussan V. & Davis 1974, J. Fluid Mech. 65, 71-95, from memory). So what the front
// leaves on bare wall lies upside down. A film that brings the flux Q to a front where the film's mobility is M'
// (flux M' h³/3) advances at Q^(2/3) (M'/3)^(1/3), and with Q' the flux of the film turned upside down, over the
// firing,
//
//	X = (3 Q)^(2/3) (3 Q')^(1/3) / H
//
// A runny layer under a stiff one carries it along as a raft, but the stiff one then grips the clay at the front; a
// runny layer over a stiff one is held back where it lies, and runs on by itself at the front. So of two glazes it
// matters little which lies on top, as practice finds; theory without the front has one run three times as far as the
// other. For one melt X is H²M; splitting a layer changes nothing, and a thin layer changes little. That the front
// turns all of the film over is ours: layers that cannot be followed one by one past their front are not in the
// sources.
//
// On a body with a stiff layer (Stack.BodyLayer) the film flows as one of its mobile thickness h, X (h/H)².
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
	var parts, turnedParts [MaxLayers]stretches
	flux := s.flux(&parts)
	turned := s.turned()
	turnedFlux := turned.flux(&turnedParts)
	h, pull := s.Thickness(), 3*Gravity*sinSlope
	f.Thickness, f.Mobile = h, MobileThickness(h, s.BodyLayer)
	f.Mobility = pull * flux / (h * h * h)
	f.Drive = pull * math.Cbrt(flux*flux*turnedFlux) / h * (f.Mobile / h) * (f.Mobile / h)
	s.share(&parts, &turnedParts, flux, turnedFlux, f)
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

var errNoBlend = errors.New("film: a mixed zone has no blend; call SetBlend for each zone after Mix")

var errNotFinite = errors.New("film: the flow of this stack is not a finite number")
