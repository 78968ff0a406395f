package film

import (
	"errors"
	"math"

	"github.com/catchline/catchline/model/chem"
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
	// zone's blend bring: ∂ln X/∂ln(fluidity). Together they sum to 1.
	LayerShare [MaxLayers]float64
	ZoneShare  [MaxLayers - 1]float64
	// PeakViscosity ηeff in Pa·s of the whole film at the peak temperature, from the exposures'
	// Peak; 0 when one of them is not known.
	PeakViscosity float64
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
func (s *Stack) Flow(sinSlope float64) (Flow, error) {
	if err := s.ready(sinSlope); err != nil {
		return Flow{}, err
	}
	return s.flow(sinSlope)
}

func (s *Stack) ready(sinSlope float64) error {
	if s.n == 0 {
		return &chem.FieldError{Field: "layers", Value: "none", Limit: "1 to 8"}
	}
	if !(sinSlope >= 0 && sinSlope <= 1) {
		return &chem.FieldError{Field: "sine of the slope", Value: number(sinSlope), Limit: "0 to 1"}
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
	apart.zones = [MaxLayers - 1]Zone{}
	return apart.Flow(sinSlope)
}

// Solo gives the drive X = H²M of a film of layer i alone that is as thick as the whole stack.
func (s *Stack) Solo(i int, sinSlope float64) float64 {
	h := s.Thickness()
	return h * h * s.layers[i].Density * Gravity * sinSlope * s.layers[i].Exposure.Flow
}

var errNoBlend = errors.New("film: a mixed zone has no blend; call SetBlend for each zone after Mix")

var errNotFinite = errors.New("film: the flow of this stack is not a finite number")

// weights are the factors of the exposure of a part of the film: bulk in the flux of the film on
// bare wall, slip in the speed that the part gives to all that lies on it.
type weights struct{ bulk, slip float64 }

// parts are a layer's three parts from wall to air: what the zone below took of it, its unmixed
// melt, and what the zone above took.
type parts struct{ low, mid, high weights }

// motion is what drives the parts of a stack.
type motion struct {
	parts [MaxLayers]parts
	above [MaxLayers]float64 // thickness from the lower face of the layer to the air
	alone [MaxLayers]float64 // flux of the layer and all above it as if on bare wall
	slip  [MaxLayers]float64 // speed of the layer's lower face
	cut   int
	drive float64 // for an upright wall
}

func (s *Stack) move(m *motion) error {
	s.weigh(&m.parts, &m.above)
	p, above, alone, slip := &m.parts, &m.above, &m.alone, &m.slip
	sum := 0.
	for i := s.n - 1; i >= 0; i-- {
		low, mid, high := s.exposures(i)
		sum += p[i].low.bulk*low.Flow + p[i].mid.bulk*mid.Flow + p[i].high.bulk*high.Flow
		alone[i] = sum
	}
	first := alone[0] / above[0]
	best := cube(first) // compared as cubes, so that the root is drawn once at most
	for i := 1; i < s.n; i++ {
		low, mid, high := s.exposures(i - 1)
		slip[i] = slip[i-1] + p[i-1].low.slip*low.Flow + p[i-1].mid.slip*mid.Flow + p[i-1].high.slip*high.Flow
		carried := alone[i] + slip[i]*above[i]
		if x := carried * carried * alone[i] / cube(above[i]); x > best {
			best, m.cut = x, i
		}
	}
	m.drive = 3 * Gravity * first
	if m.cut > 0 {
		m.drive = 3 * Gravity * math.Cbrt(best)
	}
	if math.IsNaN(m.drive) || math.IsInf(m.drive, 0) {
		return errNotFinite
	}
	return nil
}

// Drive gives the Drive of Flow alone.
func (s *Stack) Drive(sinSlope float64) (float64, error) {
	if err := s.ready(sinSlope); err != nil {
		return 0, err
	}
	var m motion
	if err := s.move(&m); err != nil {
		return 0, err
	}
	return m.drive * sinSlope, nil
}

func (s *Stack) flow(sinSlope float64) (Flow, error) {
	var m motion
	if err := s.move(&m); err != nil {
		return Flow{}, err
	}
	f := Flow{
		Thickness: m.above[0],
		Drive:     m.drive * sinSlope,
		Cut:       m.cut,
		Mobility:  3 * Gravity * sinSlope * m.alone[0] / cube(m.above[0]),
	}
	if math.IsInf(f.Mobility, 0) {
		return Flow{}, errNotFinite
	}
	s.share(&f, &m.parts, m.alone[f.Cut], m.slip[f.Cut]*m.above[f.Cut], m.above[f.Cut])
	f.PeakViscosity = s.peakViscosity(&m.parts)
	return f, nil
}

func cube(v float64) float64 { return v * v * v }

// weigh works out the weights of all parts from the air down.
func (s *Stack) weigh(p *[MaxLayers]parts, above *[MaxLayers]float64) {
	var a, w float64 // thickness and mass per area above what comes next
	for i := s.n - 1; i >= 0; i-- {
		h, ρ := s.layers[i].Thickness, s.layers[i].Density
		mid := weights{a*w*h + (a*ρ+w)*h*h/2 + ρ*h*h*h/3, w*h + ρ*h*h/2}
		if i < s.n-1 {
			d := s.zones[i].under
			p[i].high = weights{a*w*d.d1 + (a*ρ+w)*d.d2/2 + ρ*d.d3/3, w*d.d1 + ρ*d.d2/2}
		}
		a += h
		w += ρ * h
		above[i] = a
		if i > 0 {
			d := s.zones[i-1].over
			p[i].low = weights{a*w*d.d1 - (a*ρ+w)*d.d2/2 + ρ*d.d3/3, w*d.d1 - ρ*d.d2/2}
		}
		p[i].mid = weights{mid.bulk - p[i].low.bulk - p[i].high.bulk, mid.slip - p[i].low.slip - p[i].high.slip}
	}
}

// exposures gives those of a layer's three parts.
func (s *Stack) exposures(i int) (low, mid, high *Exposure) {
	low, mid, high = &s.layers[i].Exposure, &s.layers[i].Exposure, &s.layers[i].Exposure
	if i > 0 && s.zones[i-1].known {
		low = &s.zones[i-1].blend
	}
	if i < s.n-1 && s.zones[i].known {
		high = &s.zones[i].blend
	}
	return low, mid, high
}

// share sets the parts that layers and zones have in the drive (3 Q')^(2/3) M'^(1/3), where Q' is
// alone + carried and M' goes as alone.
func (s *Stack) share(f *Flow, p *[MaxLayers]parts, alone, carried, above float64) {
	if alone == 0 {
		return
	}
	perBulk := (2./3)/(alone+carried) + (1./3)/alone
	perSlip := (2. / 3) / (alone + carried) * above
	of := func(w weights, e *Exposure, i int) float64 {
		if i < f.Cut {
			return w.slip * e.Flow * perSlip
		}
		return w.bulk * e.Flow * perBulk
	}
	for i := range s.n {
		low, mid, high := s.exposures(i)
		f.LayerShare[i] = of(p[i].mid, mid, i)
		if i > 0 {
			f.ZoneShare[i-1] += of(p[i].low, low, i)
		}
		if i < s.n-1 {
			f.ZoneShare[i] += of(p[i].high, high, i)
		}
	}
}

// peakViscosity is ηeff of the whole film at the peak temperature: 1/ηeff = Σ w/η.
func (s *Stack) peakViscosity(p *[MaxLayers]parts) float64 {
	var fluidity, weight float64
	for i := range s.n {
		low, mid, high := s.exposures(i)
		if low.Peak == 0 || mid.Peak == 0 || high.Peak == 0 {
			return 0
		}
		fluidity += p[i].low.bulk*low.Peak + p[i].mid.bulk*mid.Peak + p[i].high.bulk*high.Peak
		weight += p[i].low.bulk + p[i].mid.bulk + p[i].high.bulk
	}
	return weight / fluidity
}
