package api

import (
	"fmt"
	"slices"
	"strings"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/firing"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// How many glazes a flag of a sheet lists, and how many its sentence names.
const (
	glazesListed = 200
	glazesNamed  = 12
)

// flags of a sheet, of all of it first: what single scores say layer by layer, said once for all glazes that it is
// true of, and once for all firings if in all it is true of the same ones.
func (c *combinations) flags(firings []string) []*pb.SheetFlag {
	var out []*pb.SheetFlag
	say := func(f model.Flag, firing string, glazes []*model.Glaze) {
		one := &pb.SheetFlag{Code: f.Code, Sentence: f.Sentence, Firing: firing}
		for _, g := range glazes[:min(len(glazes), glazesListed)] {
			one.Glazes = append(one.Glazes, resourceOf(g))
		}
		out = append(out, one)
	}
	for _, f := range c.calibration.flags() {
		say(f, "", nil)
	}
	byFiring := make([]map[string][]*model.Glaze, len(firings))
	for i, positions := range c.layers {
		byFiring[i] = flaggedGlazes(positions)
	}
	for _, code := range []string{model.FlagDescribedGlaze, model.FlagOutsideMeltData} {
		everywhere := !slices.ContainsFunc(byFiring, func(in map[string][]*model.Glaze) bool { return !slices.Equal(in[code], byFiring[0][code]) })
		for i, in := range byFiring {
			glazes := in[code]
			switch {
			case len(glazes) == 0 || everywhere && i > 0:
			case everywhere:
				say(c.flagOf(code, glazes, nil), "", glazes)
			default:
				say(c.flagOf(code, glazes, nil), firings[i], glazes)
			}
		}
	}
	for i, in := range byFiring {
		f := c.layers[i][0][0].Firing
		for _, flag := range model.FiringFlags(f) {
			say(flag, firings[i], nil)
		}
		for _, code := range []string{model.FlagOutsideConeRange, model.FlagUnderFired} {
			if glazes := in[code]; len(glazes) > 0 {
				say(c.flagOf(code, glazes, f), firings[i], glazes)
			}
		}
	}
	return out
}

// flaggedGlazes gives by code the glazes of a firing that are flagged, in the order of the choices.
func flaggedGlazes(positions [][]model.Layer) map[string][]*model.Glaze {
	by := map[string][]*model.Glaze{}
	seen := map[*model.Glaze]bool{}
	for _, choices := range positions {
		for k := range choices {
			g := choices[k].Glaze
			if seen[g] {
				continue
			}
			seen[g] = true
			for _, f := range choices[k].Fired.Flags("") {
				by[f.Code] = append(by[f.Code], g)
			}
		}
	}
	return by
}

// flagOf words a flag of glazes together. f is the firing, where the words need it.
func (c *combinations) flagOf(code string, glazes []*model.Glaze, f *firing.HeatHistory) model.Flag {
	var names []string
	for _, g := range glazes[:min(len(glazes), glazesNamed)] {
		names = append(names, c.studio.nameOfGlaze(resourceOf(g)))
	}
	list := strings.Join(names, "; ") // a lot's name has a comma
	if more := len(glazes) - len(names); more > 0 {
		list += fmt.Sprintf("; and %d more", more)
	}
	switch code {
	case model.FlagDescribedGlaze:
		return model.Flag{Code: code, Sentence: "Of unknown chemistry, so that their viscosity is a wide guess until tiles of them alone say more: " + list + "."}
	case model.FlagOutsideMeltData:
		return model.Flag{Code: code, Sentence: "Outside the melts that the viscosity is known from: " + list + "."}
	case model.FlagUnderFired:
		return model.Flag{Code: code, Sentence: "Under-fired, hardly a melt yet at cone " + firing.FormatConeNumber(f.EquivalentCone) + ": " + list + "."}
	default:
		return model.Flag{Code: code, Sentence: "Made for other cones than the " + firing.FormatConeNumber(f.EquivalentCone) + " that this firing comes to: " + list + "."}
	}
}
