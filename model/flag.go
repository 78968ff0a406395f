package model

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/firing"
)

// Flag is something that makes a score less sure than it looks.
type Flag struct{ Code, Sentence string }

// Codes of flags that are about a glaze.
const (
	FlagDescribedGlaze   = "described_glaze"
	FlagOutsideMeltData  = "outside_melt_data"
	FlagOutsideConeRange = "outside_cone_range"
	FlagUnderFired       = "under_fired"
)

// Thickness beyond which a score is flagged, in m: fired glaze is 0.3 to 0.6 mm on most stoneware (common practice,
// no source).
const thickFilm = 1.5e-3

// coneSlack is by how much a firing may miss a glaze's cones before it is worth a word: a hold adds as much.
const coneSlack = 0.75

// Flags tells what of a layering and its firing makes an answer less sure than it looks; CalibrationFlags adds to it.
// p is the physics of the question, worked out before.
func (q *Question) Flags(p *Physics) (flags []Flag) {
	for i := range q.Layers {
		if g := q.Layers[i].Glaze; slices.ContainsFunc(q.Layers[:i], func(l Layer) bool { return l.Glaze == g }) {
			continue
		}
		flags = append(flags, q.Layers[i].Fired.Flags("Layer "+strconv.Itoa(i+1))...)
	}
	flags = append(flags, FiringFlags(q.Layers[0].Firing)...)
	if bead := p.Course.Edge.Bead; bead > q.Wall.Band()/2 {
		flags = append(flags, Flag{"held_by_surface_tension", fmt.Sprintf("The dry edge holds what %.0f mm of this band brings: whether it starts to move is unsure.", 1e3*bead)})
	}
	if p.Flow.Thickness > thickFilm {
		flags = append(flags, Flag{"thick_layer", fmt.Sprintf("The glaze is %.1f mm thick; above 1.5 mm the model's thin film is only rough.", 1e3*p.Flow.Thickness)})
	}
	return flags
}

// Flags tells what makes every answer with this glaze in this firing less sure. called is what the sentences call the
// glaze.
func (f *Fired) Flags(called string) (flags []Flag) {
	g := f.Glaze
	// Without a format, since these are usual: formats would take half as long as the score.
	switch d := f.Curve.Domain(); {
	case g.Melt == nil:
		flags = append(flags, Flag{FlagDescribedGlaze, called + " is of unknown chemistry; its viscosity is a wide guess from its description until tiles of it alone say more."})
	case d.Outside():
		flags = append(flags, Flag{FlagOutsideMeltData, called + ": " + d.String() + "."})
	}
	if f.underFired {
		flags = append(flags, Flag{FlagUnderFired, called + " is under-fired: at cone " + firing.FormatConeNumber(f.Firing.EquivalentCone) +
			" it is hardly a melt yet. That it stands says nothing of how it runs at its own cone."})
	}
	if !math.IsNaN(g.ConeFrom) && (f.Firing.EquivalentCone < g.ConeFrom-coneSlack || f.Firing.EquivalentCone > g.ConeTo+coneSlack) {
		cones := firing.FormatConeNumber(g.ConeFrom)
		if g.ConeTo != g.ConeFrom {
			cones += " to " + firing.FormatConeNumber(g.ConeTo)
		}
		flags = append(flags, Flag{FlagOutsideConeRange, called + " is made for cone " + cones + "; this firing comes to cone " +
			firing.FormatConeNumber(f.Firing.EquivalentCone) + "."})
	}
	return flags
}

// FiringFlags tells what makes every answer in a firing less sure.
func FiringFlags(f *firing.HeatHistory) []Flag {
	if !f.Extrapolated {
		return nil
	}
	return []Flag{{"extrapolated_cone", fmt.Sprintf("The cone's end point lies outside the published rates; the peak of %.0f °C is extrapolated.", f.PeakKelvin-273.15)}}
}

// CalibrationFlags tells what makes every answer by a calibration less sure.
func CalibrationFlags(c *calib.Calibration) []Flag {
	if c.Search().Tiles > 0 {
		return nil
	}
	return []Flag{{"no_tiles", "No tile of this studio stands behind this; it is the physics with its prior alone."}}
}
