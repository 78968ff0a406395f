package api

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// defaultLOI is the loss on ignition of a raw glaze of which nobody has said it, as a fraction of mass.
const defaultLOI = 0.08

// chemistry is what glazes and lots have alike.
type chemistry interface {
	GetRecipe() *pb.Recipe
	GetAnalysis() *pb.OxideAnalysis
	GetSeger() *pb.SegerFormula
}

// compositionOf works out the melt of a glaze or a lot, with the studio's own materials for recipes. It is nil, without an error, where
// the chemistry is not known. Errors are *fault.Error with paths in the message, such as recipe.ingredients[2].material, or the
// *store.Damaged of a material.
func compositionOf(g chemistry, raw *rawMaterials) (*chem.Composition, error) {
	if err := raw.missing(g); err != nil {
		return nil, err
	}
	switch {
	case g.GetRecipe() != nil:
		parts := make([]chem.Part, len(g.GetRecipe().Ingredients))
		for i, in := range g.GetRecipe().Ingredients {
			parts[i] = chem.Part{Name: in.Material, Amount: in.Amount}
		}
		c, err := chem.FromRecipe(parts, raw.own)
		return c, renamed(err, func(field string) string {
			if rest, ok := strings.CutPrefix(field, "recipe["); ok {
				return "recipe.ingredients[" + rest
			}
			return field
		})
	case g.GetAnalysis() != nil:
		a := g.GetAnalysis()
		parts, path := partsOf(a.OxidesPercent, "analysis.oxides_percent")
		read := chem.FromWeightPercent
		if a.Basis == pb.AnalysisBasis_ANALYSIS_BASIS_MOLE {
			read = chem.FromMolePercent
		}
		c, err := read(parts)
		return withLOI(c, a.LoiPercent), renamed(err, path)
	case g.GetSeger() != nil:
		s := g.GetSeger()
		parts, path := partsOf(s.Moles, "seger.moles")
		c, err := chem.FromSeger(parts)
		return withLOI(c, s.LoiPercent), renamed(err, path)
	}
	return nil, nil
}

// withLOI sets the loss on ignition of a glaze that is given fired: what was said, else what the analysis holds, else the default.
func withLOI(c *chem.Composition, percent *float64) *chem.Composition {
	switch {
	case c == nil:
	case percent != nil:
		c.LOI = *percent / 100
	case c.LOI <= 0:
		c.LOI = defaultLOI
	}
	return c
}

// partsOf lists a map by formula, and gives the way back from the list's paths to the map's.
func partsOf(amounts map[string]float64, field string) ([]chem.Part, func(string) string) {
	names := slices.Sorted(maps.Keys(amounts))
	parts := make([]chem.Part, len(names))
	for i, n := range names {
		parts[i] = chem.Part{Name: n, Amount: amounts[n]}
	}
	return parts, func(at string) string {
		rest, ok := strings.CutPrefix(at, "oxides[")
		if !ok {
			return field
		}
		index, _, _ := strings.Cut(rest, "]")
		if i, err := strconv.Atoi(index); err == nil && i < len(names) {
			return field + "[" + quoted(names[i]) + "]"
		}
		return field
	}
}

// compositionMessage shows a composition.
func compositionMessage(c *chem.Composition) *pb.Composition {
	m := &pb.Composition{
		MoleFractions: map[string]float64{},
		MassPercent:   map[string]float64{},
		LoiPercent:    100 * c.LOI,
		Notes:         c.Notes,
	}
	for o, x := range c.Melt {
		if x > 0 {
			m.MoleFractions[chem.Oxide(o).String()] = x
			m.MassPercent[chem.Oxide(o).String()] = 100 * c.MassFractions[o]
		}
	}
	unity, err := chem.Seger(&c.Melt)
	if err != nil { // no flux, no formula
		return m
	}
	m.Seger = map[string]float64{}
	for o, x := range unity {
		if x > 0 {
			m.Seger[chem.Oxide(o).String()] = x
		}
	}
	if ratio, ok := unity.SilicaToAlumina(); ok {
		m.SilicaToAlumina = &ratio
	}
	return m
}

// meltOf is the way back: the melt of a composition that was kept with a tile.
func meltOf(moleFractions map[string]float64) (chem.Melt, error) {
	var x chem.Melt
	for _, name := range slices.Sorted(maps.Keys(moleFractions)) {
		o, ok := chem.ParseOxide(name)
		if !ok {
			return x, &fault.Error{Field: "mole_fractions[" + quoted(name) + "]", Value: quoted(name), Limit: "the formula of an oxide of the melt, such as SiO2"}
		}
		x[o] = moleFractions[name]
	}
	return x, nil
}

// coneRange reads the cones between which a glaze is made to be fired, as cone numbers; NaN where nobody has said.
func coneRange(g *pb.Glaze) (from, to float64, err error) {
	from, to = math.NaN(), math.NaN()
	if g.ConeFrom == "" {
		switch {
		case g.GetDescribed() != nil:
			return from, to, &fault.Error{Field: "cone_from", Value: "empty", Limit: "the cone that a described glaze is made for"}
		case g.ConeTo != "":
			return from, to, &fault.Error{Field: "cone_from", Value: "empty", Limit: "a cone where cone_to is one"}
		}
		return from, to, nil
	}
	if from, err = firing.ParseConeNumber(g.ConeFrom); err != nil {
		return from, to, under("cone_from", unnamed(err))
	}
	to = from
	if g.ConeTo != "" {
		if to, err = firing.ParseConeNumber(g.ConeTo); err != nil {
			return from, to, under("cone_to", unnamed(err))
		}
	}
	if to < from {
		return from, to, &fault.Error{Field: "cone_to", Value: "cone " + g.ConeTo, Limit: fmt.Sprintf("cone %s, which is cone_from, or hotter", g.ConeFrom)}
	}
	return from, to, nil
}

// unnamed drops the field from an error whose caller knows the field better.
func unnamed(err error) error {
	return renamed(err, func(string) string { return "" })
}

// surfaceOf is the model's word for a surface.
func surfaceOf(s pb.Surface) melt.Surface {
	switch s {
	case pb.Surface_SURFACE_SATIN:
		return melt.Satin
	case pb.Surface_SURFACE_MATTE:
		return melt.Matte
	}
	return melt.Gloss // which the contract takes an unspecified surface for
}

// behaviourOf is the model's word for a behaviour.
func behaviourOf(b pb.Behaviour) melt.Behaviour {
	switch b {
	case pb.Behaviour_BEHAVIOUR_STIFF:
		return melt.Stiff
	case pb.Behaviour_BEHAVIOUR_STABLE:
		return melt.Stable
	case pb.Behaviour_BEHAVIOUR_MOBILE:
		return melt.Mobile
	case pb.Behaviour_BEHAVIOUR_RUNNY:
		return melt.Runny
	}
	return melt.BehaviourUnknown
}
