package model

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
)

// DriverKind is a kind of thing that makes a layering run.
type DriverKind uint8

// The kinds, see Driver.
const (
	DriverThickness DriverKind = iota
	DriverGlaze
	DriverBlend
	DriverHeatWork
	DriverOrder
	DriverCorrection
)

// Driver is one thing that makes a layering run, as the difference in m of the median run with and without it:
//
//	thickness   as thick as it is, against the thickest of its layers alone (all layers thinned alike)
//	glaze       this glaze, against the studio's middling glaze in its place
//	blend       mixed zones as they are, against layers that do not mix
//	heat work   this firing, against one cone less
//	order       this order, against the reverse
//	correction  what the studio's tiles add to the physics
type Driver struct {
	Kind  DriverKind
	Glaze string // for DriverGlaze
	Run   float64
}

// SoloRun is how far one glaze would run alone, as thick as the whole layering.
type SoloRun struct {
	Glaze            string
	Median, P10, P90 float64
}

// Flag is something that makes a score less sure than it looks.
type Flag struct{ Code, Sentence string }

// Score is the whole answer to a question. Lengths in m.
type Score struct {
	Estimate
	Physics    Physics
	PhysicsRun float64 // median run by the physics alone
	Prediction calib.Prediction
	Drivers    []Driver // largest first
	Solo       []SoloRun
	Evidence   []calib.Influence
	Flags      []Flag
	Tension    float64 // N/m
	Density    float64 // kg/m³, mean
	Question   *Question
}

// maxEvidence is how many tiles a score names.
const maxEvidence = 8

// Score answers a question in full. middling is the studio's middling glaze in this firing, against which each glaze is held; nil leaves
// those drivers out.
func (q *Question) Score(middling *Fired) (*Score, error) {
	s := &Score{Question: q}
	conditions, err := q.Conditions(&s.Physics)
	if err != nil {
		return nil, err
	}
	if s.Prediction, err = q.Calibration.Predict(&conditions); err != nil {
		return nil, err
	}
	if s.Evidence, err = q.Calibration.Evidence(&conditions, maxEvidence); err != nil {
		return nil, err
	}
	s.Estimate = q.estimateOne(&s.Prediction)
	s.PhysicsRun = q.Wall.Run(math.Exp(s.Physics.LnDrive))
	s.Tension, s.Density = s.Physics.tension(&q.Layering), s.Physics.density()
	other := &comparison{question: *q}
	if err := s.addSolo(other); err != nil {
		return nil, err
	}
	if err := s.addDrivers(other, middling); err != nil {
		return nil, err
	}
	s.Flags = q.Flags(&s.Physics)
	return s, nil
}

// comparison asks the question of a score about other layers.
type comparison struct {
	question Question
	physics  Physics
}

// with is the answer for other layers.
func (c *comparison) with(layers []Layer) (Estimate, error) {
	c.question.Layers = layers
	return c.question.Estimate(&c.physics)
}

// apart is the answer for layers that do not mix.
func (c *comparison) apart(layers []Layer) (Estimate, error) {
	stirring := c.question.Stirring
	c.question.Stirring = 0
	e, err := c.with(layers)
	c.question.Stirring = stirring
	return e, err
}

func (s *Score) addSolo(other *comparison) error {
	q := s.Question
	total := s.Physics.Flow.Thickness
	var variance float64
	for i := range q.Layers {
		h := q.Layers[i].Thickness
		variance += h.Metres * h.RelativeSD * h.Metres * h.RelativeSD
	}
	h := film.Thickness{Metres: total, RelativeSD: math.Sqrt(variance) / total}
	seen := map[*Fired]bool{}
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if seen[f] {
			continue
		}
		seen[f] = true
		e, err := other.with([]Layer{{f, h}})
		if err != nil {
			return err
		}
		s.Solo = append(s.Solo, SoloRun{f.Glaze.Name, e.Median, e.P10, e.P90})
	}
	return nil
}

func (s *Score) addDrivers(other *comparison, middling *Fired) error {
	q := s.Question
	against := func(kind DriverKind, glaze string, without float64, err error) error {
		if err != nil {
			return err
		}
		s.Drivers = append(s.Drivers, Driver{kind, glaze, s.Median - without})
		return nil
	}
	if len(q.Layers) > 1 {
		thin, err := other.with(thinned(q.Layers))
		if err := against(DriverThickness, "", thin.Median, err); err != nil {
			return err
		}
		back, err := other.with(reversed(q.Layers))
		if err := against(DriverOrder, "", back.Median, err); err != nil {
			return err
		}
	}
	if s.Physics.stack.Len() > 1 {
		e, err := other.apart(q.Layers)
		if err := against(DriverBlend, "", e.Median, err); err != nil {
			return err
		}
	}
	if middling != nil {
		if err := s.addGlazeDrivers(other, middling); err != nil {
			return err
		}
	}
	cooler, err := q.coneLess()
	if err != nil {
		return err
	}
	if cooler != nil {
		e, err := other.with(cooler)
		if err := against(DriverHeatWork, "", e.Median, err); err != nil {
			return err
		}
	}
	s.Drivers = append(s.Drivers, Driver{DriverCorrection, "", s.Median - s.PhysicsRun})
	sort.SliceStable(s.Drivers, func(i, j int) bool { return math.Abs(s.Drivers[i].Run) > math.Abs(s.Drivers[j].Run) })
	return nil
}

// addGlazeDrivers puts the middling glaze in the place of each glaze in turn.
func (s *Score) addGlazeDrivers(other *comparison, middling *Fired) error {
	q := s.Question
	seen := map[*Fired]bool{}
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if seen[f] || f == middling {
			continue
		}
		seen[f] = true
		layers := append([]Layer{}, q.Layers...)
		for k := range layers {
			if layers[k].Fired == f {
				layers[k].Fired = middling
			}
		}
		e, err := other.with(layers)
		if err != nil {
			return err
		}
		s.Drivers = append(s.Drivers, Driver{DriverGlaze, f.Glaze.Name, s.Median - e.Median})
	}
	return nil
}

// thinned gives the layers thinned alike until the whole is as thick as the thickest of them was.
func thinned(layers []Layer) []Layer {
	var total, thickest float64
	for i := range layers {
		total += layers[i].Thickness.Metres
		thickest = math.Max(thickest, layers[i].Thickness.Metres)
	}
	out := append([]Layer{}, layers...)
	for i := range out {
		out[i].Thickness.Metres *= thickest / total
	}
	return out
}

func reversed(layers []Layer) []Layer {
	out := make([]Layer, len(layers))
	for i := range layers {
		out[len(layers)-1-i] = layers[i]
	}
	return out
}

// coneLess gives the layers fired one cone less, as the same curve shifted down by the step between the cones; nil where
// there is no cone below.
func (q *Question) coneLess() ([]Layer, error) {
	f := q.Layers[0].Firing
	here, err := firing.ConeKelvin(f.EquivalentCone)
	if err != nil {
		return nil, nil // off the published scale, where there is no such thing as a cone less
	}
	below, err := firing.ConeKelvin(f.EquivalentCone - 1)
	if err != nil {
		return nil, nil
	}
	cooler := f.Shifted(below-here, -1)
	out := append([]Layer{}, q.Layers...)
	done := map[*Fired]*Fired{}
	for i := range out {
		old := out[i].Fired
		if done[old] == nil {
			if done[old], err = Fire(old.Glaze, cooler); err != nil {
				return nil, err
			}
		}
		out[i].Fired = done[old]
	}
	return out, nil
}

// Thickness beyond which a score is flagged, in m: fired glaze is 0.3 to 0.6 mm on most stoneware (common practice, no source).
const thickFilm = 1.5e-3

// Flags tells what makes an answer less sure than it looks. p is the physics of the question, worked out before.
func (q *Question) Flags(p *Physics) (flags []Flag) {
	flag := func(code, format string, args ...any) {
		flags = append(flags, Flag{code, fmt.Sprintf(format, args...)})
	}
	for i := range q.Layers {
		f := q.Layers[i].Fired
		g := f.Glaze
		if slices.ContainsFunc(q.Layers[:i], func(l Layer) bool { return l.Glaze == g }) {
			continue
		}
		// Without a format, since these are usual: formats would take half as long as the score.
		layer := strconv.Itoa(i + 1)
		switch d := f.Curve.Domain(); {
		case g.Melt == nil:
			flags = append(flags, Flag{"described_glaze", "The chemistry of layer " + layer + " is not known; its viscosity is a wide guess from its description until tiles of it alone say more."})
		case d.Outside():
			flags = append(flags, Flag{"outside_melt_data", "Layer " + layer + ": " + d.String() + "."})
		}
		if !math.IsNaN(g.ConeFrom) && (f.Firing.EquivalentCone < g.ConeFrom-coneSlack || f.Firing.EquivalentCone > g.ConeTo+coneSlack) {
			flags = append(flags, Flag{"outside_cone_range", "Layer " + layer + " is made for cone " + firing.FormatConeNumber(g.ConeFrom) + " to " +
				firing.FormatConeNumber(g.ConeTo) + "; this firing comes to cone " + firing.FormatConeNumber(f.Firing.EquivalentCone) + "."})
		}
	}
	if f := q.Layers[0].Firing; f.Extrapolated {
		flag("extrapolated_cone", "The cone's end point lies outside the published rates; the peak of %.0f °C is extrapolated.", f.PeakKelvin-273.15)
	}
	if q.Calibration.Search().Tiles == 0 {
		flag("no_tiles", "No tile of this studio stands behind this score; it is the physics with its prior alone.")
	}
	if p.Held > 0.25 {
		flag("held_by_surface_tension", "Surface tension could hold up %.0f %% of this band's weight: whether it starts to move is unsure.", 100*p.Held)
	}
	if p.Flow.Thickness > thickFilm {
		flag("thick_layer", "The glaze is %.1f mm thick; above 1.5 mm the model's thin film is only rough.", 1e3*p.Flow.Thickness)
	}
	return flags
}

// coneSlack is by how much a firing may miss a glaze's cones before it is worth a word: a hold adds as much.
const coneSlack = 0.75
