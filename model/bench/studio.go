package main

import (
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// studio is an invented studio whose glazes all have a chemistry.
type studio struct {
	glazes      []*model.Glaze
	firings     []*firing.HeatHistory
	calibration *calib.Calibration
	wall        *model.StraightWall
}

var where = model.Where{Kiln: "studios/one/kilns/big", Tester: "someone"}

// invent a studio of so many glazes and tiles; tiles are of the first maxTiled glazes at most.
func invent(glazes, tiles int) *studio {
	const maxTiled = 200
	rng := rand.New(rand.NewPCG(uint64(glazes), uint64(tiles)))
	s := &studio{wall: must(model.NewStraightWall(math.Pi/2, 0.06, 0.03, 0.05, 1.3))}
	for i := range glazes {
		c := must(chem.FromSeger([]chem.Part{
			{Name: "Na2O", Amount: 0.1 + 0.2*rng.Float64()}, {Name: "K2O", Amount: 0.1}, {Name: "CaO", Amount: 0.55}, {Name: "MgO", Amount: 0.15},
			{Name: "Al2O3", Amount: 0.3 + 0.2*rng.Float64()}, {Name: "B2O3", Amount: 0.3 * rng.Float64()},
			{Name: "Fe2O3", Amount: math.Max(0, 0.15*(rng.Float64()-0.6))}, {Name: "SiO2", Amount: 2.6 + 1.6*rng.Float64()},
		}))
		s.glazes = append(s.glazes, &model.Glaze{Name: fmt.Sprintf("studios/one/glazes/glaze-%d", i), Melt: &c.Melt,
			Surface: []melt.Surface{melt.Gloss, melt.Gloss, melt.Gloss, melt.Satin}[i%4], ConeFrom: 6, ConeTo: 6})
	}
	for _, f := range []firing.ConeFiring{
		{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: firing.DefaultCoolingCPerHour},
		{Cone: "7", ConeType: firing.SelfSupporting, FinalRampCPerH: 100, CoolingCPerHour: firing.DefaultCoolingCPerHour},
	} {
		s.firings = append(s.firings, must(firing.NewHeatHistory(must(f.Curve()), firing.Atmosphere{}, nil)))
	}
	s.calibration = must(calib.Fit(nil, calib.DefaultPrior()))
	if tiles == 0 {
		return s
	}
	layers := s.layers(s.firings[0])
	layers = layers[:min(len(layers), maxTiled)]
	var log []calib.Tile
	for i := range tiles {
		q := s.question(layers[rng.IntN(len(layers))], layers[rng.IntN(len(layers))])
		var p model.Physics
		e := must(q.Estimate(&p))
		run := math.Min(e.Median*math.Exp(0.4*rng.NormFloat64()), 1)
		tile, _, err := q.Tile(fmt.Sprintf("tile-%d", i), int64(i), model.Outcome{Kind: calib.Measured, Run: run, ReadingError: 1e-3})
		log = append(log, must(tile, err))
	}
	s.calibration = must(calib.Fit(log, calib.DefaultPrior()))
	return s
}

// layers are two brushed coats of every glaze in a firing.
func (s *studio) layers(f *firing.HeatHistory) []model.Layer {
	h := must(film.Coats(film.Brush, 2, 1))
	var out []model.Layer
	for _, g := range s.glazes {
		out = append(out, model.Layer{Fired: must(model.Fire(g, f)), Thickness: h})
	}
	return out
}

func (s *studio) question(layers ...model.Layer) *model.Question {
	return &model.Question{
		Layering: model.Layering{Layers: layers, Stirring: film.Usual.Stirring},
		Wall:     s.wall, Where: where, Calibration: s.calibration, Tolerated: 0.05,
	}
}

// sheet is all ordered pairs in all firings.
func (s *studio) sheet() *model.Sheet {
	sheet := &model.Sheet{}
	for _, f := range s.firings {
		layers := s.layers(f)
		sheet.Add(s.question(), [][]model.Layer{layers, layers})
	}
	return sheet
}

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}
