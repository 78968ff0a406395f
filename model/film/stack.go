package film

import "github.com/catchline/catchline/model/fault"

// MaxLayers is the greatest number of layers in a stack.
const MaxLayers = 8

// Layer is one glaze in the film.
type Layer struct {
	Thickness float64 // m, fired
	Density   float64 // kg/m³, of the melt
	Exposure  Exposure
}

// Stack is a film of layers from the wall to the air with the mixed zones between them. The
// zero value is empty.
//
// Use: Push the layers, Mix, give every zone the exposure of its blend with SetBlend, then ask
// for the Flow. Without Mix the layers stay apart.
type Stack struct {
	BodyLayer float64 // thickness in m of the stiff layer at the body, 0 for none; see MobileThickness

	layers [MaxLayers]Layer
	zones  [MaxLayers - 1]Zone
	n      int
	pushed int
	mixed  bool // the zones are those of these layers
}

// Push puts a layer on top and returns its index. A layer that is the same melt as the one under
// it (same density and exposure) makes that one thicker instead and returns its index: there
// is no interface between a glaze and itself.
func (s *Stack) Push(l Layer) (int, error) {
	if s.pushed == MaxLayers {
		return 0, &fault.Error{Field: "layers", Value: "more than 8", Limit: "1 to 8"}
	}
	if err := l.Check(); err != nil {
		return 0, err
	}
	s.pushed++
	if s.n > 0 {
		top := &s.layers[s.n-1]
		if top.Alike(&l) {
			top.Thickness += l.Thickness
			s.mixed = false
			return s.n - 1, nil
		}
	}
	s.layers[s.n] = l
	s.n++
	s.mixed = false
	return s.n - 1, nil
}

// Check reports the first fault of a layer as a *fault.Error.
func (l *Layer) Check() error {
	if _, err := checkThickness(Thickness{Metres: l.Thickness}); err != nil {
		return err
	}
	if err := checkDensity(l.Density); err != nil {
		return err
	}
	return l.Exposure.check()
}

// Alike says that two layers are the same melt, so that there is no interface between them.
func (l *Layer) Alike(other *Layer) bool {
	return l.Density == other.Density && l.Exposure == other.Exposure
}

// Clear empties the stack.
func (s *Stack) Clear() { s.n, s.pushed, s.mixed = 0, 0, false }

// Len is the number of layers that differ from their neighbours.
func (s *Stack) Len() int { return s.n }

// Layer gives layer i, counted from the wall.
func (s *Stack) Layer(i int) *Layer { return &s.layers[i] }

// Thickness is the thickness of the whole film in metres.
func (s *Stack) Thickness() float64 {
	var h float64
	for i := range s.n {
		h += s.layers[i].Thickness
	}
	return h
}

func (e *Exposure) check() error {
	if err := CheckFlow(e.Flow); err != nil {
		return err
	}
	if !(e.Diffusion >= 0 && e.Diffusion <= 1) {
		return &fault.Error{Field: "exposure to diffusion", Value: number(e.Diffusion) + " m²", Limit: "0 to 1 m²"}
	}
	return nil
}

// CheckFlow reports an exposure to flow in 1/Pa that no melt has as a *fault.Error.
func CheckFlow(flow float64) error {
	// A melt of 1 Pa·s for a week stays below 1e6 1/Pa.
	if !(flow >= 0 && flow <= 1e9) {
		return &fault.Error{Field: "exposure to flow", Value: number(flow) + " 1/Pa", Limit: "0 to 1e9 1/Pa"}
	}
	return nil
}
