package api

import (
	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// cautionsFor chooses the cautions that belong to an answer about some glazes in some firings.
func cautionsFor(worst risk.Word, cookie bool, firings []*firing.Prepared, glazes []*model.Glaze) []*pb.Caution {
	s := risk.Situation{Word: worst, Cookie: cookie}
	for _, f := range firings {
		s.Reduction = s.Reduction || f.Atmosphere.Kind != firing.Oxidation
	}
	for _, g := range glazes {
		if g.Melt == nil {
			s.Described = true
			continue
		}
		s.Melts = append(s.Melts, g.Melt)
		s.Recipes = s.Recipes || g.Recipe
		s.AcidGases = s.AcidGases || g.Fluorine > 0
	}
	found := risk.Cautions(&s)
	all, out := make([]pb.Caution, len(found)), make([]*pb.Caution, len(found))
	for i := range found {
		all[i].Code, all[i].Text = string(found[i].Code), found[i].Text
		out[i] = &all[i]
	}
	return out
}

// cautions of one score.
func (q *question) cautions(word risk.Word, cookie risk.Kind) []*pb.Caution {
	glazes := make([]*model.Glaze, 0, len(q.Layers))
	for i := range q.Layers {
		glazes = append(glazes, q.Layers[i].Glaze)
	}
	return cautionsFor(word, cookie != risk.None, []*firing.Prepared{q.firing.prepared}, glazes)
}

// cautions of a sheet, for the worst that it may hold.
func (c *combinations) cautions() []*pb.Caution {
	var firings []*firing.Prepared
	var glazes []*model.Glaze
	for _, positions := range c.layers {
		for i, choices := range positions {
			for k := range choices {
				if i == 0 && k == 0 {
					firings = append(firings, choices[k].Firing)
				}
				glazes = append(glazes, choices[k].Glaze)
			}
		}
	}
	return cautionsFor(risk.Severe, true, firings, glazes)
}
