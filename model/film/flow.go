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
	// zone's blend bring: ∂ln X/∂ln(fluidity), see share. Together they sum to 1.
	LayerShare [MaxLayers]float64
	ZoneShare  [MaxLayers - 1]float64
	// StirredCubed is the cube of how many times as great the drive is if the layers are stirred e^StirringStep times as strongly, or by
	// MaxStirring where that is less, their blends being what they are. 1 where nothing flows.
	StirredCubed float64
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
	m := &s.motion
	s.move(m, 1)
	first := m.alone[0] / m.above[0]
	f := Flow{
		Thickness:    m.above[0],
		Drive:        3 * Gravity * sinSlope * first,
		Cut:          m.cut,
		Mobility:     3 * Gravity * sinSlope * m.alone[0] / cube(m.above[0]),
		StirredCubed: 1,
	}
	if m.cut > 0 {
		f.Drive = 3 * Gravity * sinSlope * math.Cbrt(m.cubed[m.cut])
	}
	if !finite(f.Drive) || !finite(f.Mobility) {
		return Flow{}, errNotFinite
	}
	s.share(&f, m)
	if wider := s.wider(); wider > 1 {
		cubed := m.cubed[m.cut]
		s.move(m, wider)
		if ratio := m.cubed[m.cut] / cubed; ratio > 0 && finite(ratio) {
			f.StirredCubed = ratio
		}
	}
	return f, nil
}

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

func (s *Stack) ready(sinSlope float64) error {
	if s.n == 0 {
		return &chem.FieldError{Field: "layers", Value: "none", Limit: "1 to 8"}
	}
	if !(sinSlope >= 0 && sinSlope <= 1) {
		return &chem.FieldError{Field: "sine of the slope", Value: number(sinSlope), Limit: "0 to 1"}
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
	cubed [MaxLayers]float64 // cube of the drive of the layer and all above it on an upright wall over 3 g, so that no root is drawn in vain
	cut   int                // the layer of which that is greatest
}

// move works out the motion with zones so many times as wide as they are.
func (s *Stack) move(m *motion, wider float64) {
	var a, w, sum float64 // thickness, mass per area and flux above what comes next
	for i := s.n - 1; i >= 0; i-- {
		layer, p := &s.layers[i], &m.parts[i]
		h, ρ := layer.Thickness, layer.Density
		p.mid = weights{a*w*h + (a*ρ+w)*h*h/2 + ρ*h*h*h/3, w*h + ρ*h*h/2}
		if i < s.n-1 {
			z := &s.zones[i]
			d := z.under.widened(wider)
			p.high = weights{a*w*d.d1 + (a*ρ+w)*d.d2/2 + ρ*d.d3/3, w*d.d1 + ρ*d.d2/2}
			p.mid.bulk -= p.high.bulk
			p.mid.slip -= p.high.slip
			sum += p.high.bulk * z.blend
		}
		a += h
		w += ρ * h
		if i > 0 {
			z := &s.zones[i-1]
			d := z.over.widened(wider)
			p.low = weights{a*w*d.d1 - (a*ρ+w)*d.d2/2 + ρ*d.d3/3, w*d.d1 - ρ*d.d2/2}
			p.mid.bulk -= p.low.bulk
			p.mid.slip -= p.low.slip
			sum += p.low.bulk * z.blend
		}
		sum += p.mid.bulk * layer.Exposure.Flow
		m.above[i], m.alone[i] = a, sum
	}
	m.cut, m.cubed[0], m.slip[0] = 0, cube(sum/a), 0
	for i := 1; i < s.n; i++ {
		p, blend := &m.parts[i-1], s.zones[i-1].blend
		m.slip[i] = m.slip[i-1] + p.mid.slip*s.layers[i-1].Exposure.Flow + p.high.slip*blend
		if i > 1 {
			m.slip[i] += p.low.slip * s.zones[i-2].blend
		}
		carried := m.alone[i] + m.slip[i]*m.above[i]
		m.cubed[i] = carried * carried * m.alone[i] / cube(m.above[i])
		if m.cubed[i] > m.cubed[m.cut] {
			m.cut = i
		}
	}
}

func cube(v float64) float64 { return v * v * v }

// share sets the parts that layers and zones have in the drive. In that of a part of the film, (3 Q')^(2/3) M'^(1/3), Q' is the flux of the
// part, carried along by what lies under it, and M' goes as its flux on bare wall.
//
// Where two parts get almost as far, which of them gets furthest hangs on viscosities that nobody knows so well, and what they owe to a
// layer can differ much. So the shares are the mean over all parts, weighted by the 12th power of their drives (ours, no source: a part
// that gets 10 % less far counts for a quarter, one that gets half as far for nothing), and a small change of a melt changes them little.
func (s *Stack) share(f *Flow, m *motion) {
	greatest := m.cubed[m.cut]
	if greatest == 0 {
		return
	}
	var sum float64
	var count [MaxLayers]float64 // for how much each part counts
	for cut := range s.n {
		count[cut] = fourth(m.cubed[cut] / greatest)
		sum += count[cut]
	}
	var per [MaxLayers]weights // of what flows in the part from a layer on; of what carries it
	for cut := range s.n {
		if count[cut] == 0 {
			continue
		}
		alone, above := m.alone[cut], m.above[cut]
		whole := (2. / 3) * count[cut] / sum / (alone + m.slip[cut]*above)
		per[cut] = weights{whole + (1./3)*count[cut]/sum/alone, whole * above}
	}
	// A layer flows in the parts from it and from those under it on, and carries those above it.
	for i := 1; i < s.n; i++ {
		per[i].bulk += per[i-1].bulk
	}
	carried := 0.0
	for i := s.n - 1; i >= 0; i-- {
		per[i].slip, carried = carried, carried+per[i].slip
	}
	for i := range s.n {
		of := func(w *weights) float64 { return w.bulk*per[i].bulk + w.slip*per[i].slip }
		p := &m.parts[i]
		f.LayerShare[i] = of(&p.mid) * s.layers[i].Exposure.Flow
		if i > 0 {
			f.ZoneShare[i-1] += of(&p.low) * s.zones[i-1].blend
		}
		if i < s.n-1 {
			f.ZoneShare[i] += of(&p.high) * s.zones[i].blend
		}
	}
}

func fourth(v float64) float64 { return v * v * (v * v) }
