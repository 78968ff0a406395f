package main

import (
	"math/rand/v2"

	"github.com/catchline/catchline/model/chem"
)

// priorWeight is how much a point of the prior counts against a measurement.
const priorWeight = 0.6

// fromFormula stands in a prior melt's points instead of a window.
const fromFormula = -1

// prior makes melts from a published formula where it is at home: soda-lime, alkali and borosilicate glasses drawn within
// the limits of Fluegel 2007 (Table 3), at four values of log10 η along its curve. The open data has gaps there, and the formula
// was fitted on glasses beyond the open data; a measurement outweighs it. No prior melt is ever judged.
func prior(n int) []sample {
	rng := rand.New(rand.NewPCG(9, 2007))
	parts := []struct {
		oxide   chem.Oxide
		share   float64 // of melts that hold it
		highest float64 // mole fraction
	}{
		{chem.Na2O, 0.8, 0.22}, {chem.K2O, 0.5, 0.15}, {chem.Li2O, 0.2, 0.15}, {chem.CaO, 0.7, 0.25}, {chem.MgO, 0.4, 0.12},
		{chem.B2O3, 0.5, 0.1697}, {chem.Al2O3, 0.6, 0.113}, {chem.ZnO, 0.2, 0.0519}, {chem.BaO, 0.2, 0.08}, {chem.SrO, 0.15, 0.0737},
		{chem.ZrO2, 0.08, 0.0277}, {chem.TiO2, 0.05, 0.0329}, {chem.Fe2O3, 0.05, 0.0215}, {chem.PbO, 0.15, 0.2},
	}
	var out []sample
	for len(out) < n {
		s := sample{group: -1 - len(out)} // each a group of its own
		s.x[chem.SiO2] = 1
		for _, p := range parts {
			if rng.Float64() < p.share {
				s.x[p.oxide] = p.highest * rng.Float64()
				s.x[chem.SiO2] -= s.x[p.oxide]
			}
		}
		alkali := s.x[chem.Na2O] + s.x[chem.K2O] + s.x[chem.Li2O]
		if si := s.x[chem.SiO2]; si < 0.5 || si > 0.82 || alkali < 0.06 || alkali > 0.25 {
			continue
		}
		a, b, pole := fluegelCurve(&s)
		if pole < 300 || pole > 800 || b < 2000 {
			continue // the two isokoms do not make a melt
		}
		for _, y := range []float64{1.5, 2.5, 4, 6.6} {
			s.points = append(s.points, point{pole + b/(y-a), y, fromFormula})
		}
		out = append(out, s)
	}
	return out
}
