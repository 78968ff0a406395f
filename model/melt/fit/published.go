package main

import (
	"math"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/reference"
)

// published gives a published formula's log10 η of each point of a sample.
type published func(s *sample) []float64

func fluegel(s *sample) []float64 { return alongVFT(s)(fluegelCurve(s)) }

func fluegelCurve(s *sample) (a, b, c float64) {
	p := molPercent(s)
	p["Fe2O3"] += p["FeO"] / 2
	p["MnO2"] = p["MnO"]
	return reference.FluegelVFT(p)
}

func giordano(s *sample) []float64 { return alongVFT(s)(reference.GiordanoVFT(molPercent(s))) }

func molPercent(s *sample) map[string]float64 {
	p := map[string]float64{}
	for i, v := range s.x {
		p[chem.Oxide(i).String()] = 100 * v
	}
	return p
}

func alongVFT(s *sample) func(a, b, c float64) []float64 {
	return func(a, b, c float64) []float64 {
		y := make([]float64, len(s.points))
		for i, pt := range s.points {
			// a pole within the data is the formula's failure; it is given the stiffest value of the data
			y[i] = 9
			if pt.T > c {
				y[i] = math.Max(-3, math.Min(9, a+b/(pt.T-c)))
			}
		}
		return y
	}
}
