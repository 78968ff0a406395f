package api

import (
	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// addFiring and addGlaze put into a situation what cautions hang on.
func addFiring(s *risk.Situation, f *firing.HeatHistory) {
	s.Reduction = s.Reduction || f.Atmosphere.Kind != firing.Oxidation
}

func addGlaze(s *risk.Situation, g *model.Glaze) {
	if g.Melt == nil {
		s.Described = true
		return
	}
	s.Melts = append(s.Melts, g.Melt)
	s.Recipes = s.Recipes || g.Recipe
	s.AcidGases = s.AcidGases || g.Fluorine > 0
}

// cautionsIn chooses the cautions that belong to an answer.
func cautionsIn(s *risk.Situation) []*pb.Caution {
	found := risk.Cautions(s)
	all, out := make([]pb.Caution, len(found)), make([]*pb.Caution, len(found))
	for i := range found {
		all[i].Code, all[i].Text = string(found[i].Code), found[i].Text
		out[i] = &all[i]
	}
	return out
}

// cautions of one score.
func (q *question) cautions(word risk.Word, cookie risk.CookieKind) []*pb.Caution {
	s := risk.Situation{Word: word, Cookie: cookie != risk.None, Melts: make([]*chem.Melt, 0, len(q.Layers))}
	addFiring(&s, q.firing.heat)
	for i := range q.Layers {
		addGlaze(&s, q.Layers[i].Glaze)
	}
	return cautionsIn(&s)
}

// cautions of a sheet, for the worst that it may hold.
func (c *combinations) cautions() []*pb.Caution {
	s := risk.Situation{Word: risk.Severe, Cookie: true}
	for _, positions := range c.layers {
		for i, choices := range positions {
			for k := range choices {
				if i == 0 && k == 0 {
					addFiring(&s, choices[k].Firing)
				}
				addGlaze(&s, choices[k].Glaze)
			}
		}
	}
	return cautionsIn(&s)
}
