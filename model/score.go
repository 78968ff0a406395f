package model

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/catchline/catchline/model/calib"
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
	c := spare.Get().(*comparisons)
	defer c.free()
	c.question = *q
	c.question.halves = c
	c.question.stand()
	if err := c.question.check(); err != nil {
		return nil, err
	}
	if err := s.compare(c, middling); err != nil {
		return nil, err
	}
	s.PhysicsRun = q.Wall.Run(math.Exp(s.Physics.LnDrive))
	s.Tension, s.Density = q.Layers[len(q.Layers)-1].Tension, s.Physics.density
	s.Drivers = append(s.Drivers, Driver{DriverCorrection, "", s.Median - s.PhysicsRun})
	slices.SortStableFunc(s.Drivers, func(a, b Driver) int { return cmp.Compare(math.Abs(b.Run), math.Abs(a.Run)) })
	s.Flags = q.Flags(&s.Physics)
	return s, nil
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
			cones := firing.FormatConeNumber(g.ConeFrom)
			if g.ConeTo != g.ConeFrom {
				cones += " to " + firing.FormatConeNumber(g.ConeTo)
			}
			flags = append(flags, Flag{"outside_cone_range", "Layer " + layer + " is made for cone " + cones + "; this firing comes to cone " +
				firing.FormatConeNumber(f.Firing.EquivalentCone) + "."})
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
