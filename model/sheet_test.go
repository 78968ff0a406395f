package model

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// studio is an invented studio: glazes of every kind, fired, and a calibration on tiles of their pairs.
type studio struct {
	glazes      []*Glaze
	firings     []*firing.Prepared
	calibration *calib.Calibration
	wall        Wall
	where       Where
}

func newStudio(t testing.TB, glazes, tiles int) *studio {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(glazes), uint64(tiles)))
	s := &studio{wall: upright(t, 1.3), where: Where{Kiln: "studios/one/kilns/big", Tester: "someone"}}
	for i := range glazes {
		g := gloss(t, fmt.Sprintf("studios/one/glazes/glaze-%d", i), 2.6+1.6*rng.Float64(), float64(i%3)*0.05*rng.Float64())
		g.Surface = []melt.Surface{melt.Gloss, melt.Gloss, melt.Satin, melt.Matte}[i%4]
		if i%7 == 6 {
			g.Lot = g.Name + "/lots/1"
		}
		if i%11 == 10 {
			g.Melt, g.Behaviour = nil, melt.Mobile
		}
		s.glazes = append(s.glazes, g)
	}
	for _, f := range []firing.ConeFiring{
		{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: firing.DefaultCoolingCPerHour},
		{Cone: "7", ConeType: firing.SelfSupporting, FinalRampCPerH: 100, CoolingCPerHour: firing.DefaultCoolingCPerHour},
	} {
		c, err := f.Curve()
		if err != nil {
			t.Fatal(err)
		}
		p, err := firing.Prepare(c, firing.Atmosphere{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		s.firings = append(s.firings, p)
	}
	s.calibration = blank(t)
	var log []calib.Tile
	layers := s.layers(t, s.firings[0], 2)
	for i := range tiles {
		q := s.question(layers[rng.IntN(glazes)], layers[rng.IntN(glazes)])
		e := estimate(t, q)
		tile, err := q.Tile(fmt.Sprintf("tile-%d", i), int64(i), Outcome{Kind: calib.Measured, Run: math.Min(e.Median*math.Exp(0.4*rng.NormFloat64()), 1), ReadingError: 1e-3})
		if err != nil {
			t.Fatal(err)
		}
		log = append(log, tile)
	}
	var err error
	if s.calibration, err = calib.Fit(log, calib.DefaultPrior()); err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *studio) question(layers ...Layer) *Question {
	return &Question{Layering: Layering{Layers: layers, Stirring: film.DefaultStirring}, Wall: s.wall, Where: s.where, Calibration: s.calibration, Tolerated: 0.05}
}

// layers are brushed coats of all glazes in a firing.
func (s *studio) layers(t testing.TB, f *firing.Prepared, coats float64) []Layer {
	t.Helper()
	var out []Layer
	for _, g := range s.glazes {
		d, err := Fire(g, f)
		if err != nil {
			t.Fatal(err)
		}
		h, err := film.Coats(film.Brush, coats, 1)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, Layer{d, h})
	}
	return out
}

// sheet is all combinations of the studio's glazes at so many positions, in all firings.
func (s *studio) sheet(t testing.TB, positions int) *Sheet {
	t.Helper()
	sheet := &Sheet{}
	for _, f := range s.firings {
		layers := s.layers(t, f, 2)
		var all [][]Layer
		for range positions {
			all = append(all, layers)
		}
		sheet.Add(s.question(), all)
	}
	return sheet
}

// A score of a sheet is that of the layering alone, to the last bit, and but for rounding the one that is worked out by name.
func TestSheetIsEachScoreAlone(t *testing.T) {
	s := newStudio(t, 13, 60)
	sheet := s.sheet(t, 3)
	scorer := sheet.Scorer()
	var p Physics
	for f, fired := range s.firings {
		layers := s.layers(t, fired, 2)
		for i := range layers {
			for k := range layers {
				choices := []int{i, k, (i * k) % len(layers)}
				got, err := scorer.Estimate(f, choices)
				if err != nil {
					t.Fatal(err)
				}
				q := s.question(layers[i], layers[k], layers[choices[2]])
				want, err := q.Estimate(&p)
				if err != nil {
					t.Fatal(err)
				}
				if got != want {
					t.Fatalf("firing %d, %v: %+v in the sheet, %+v alone", f, choices, got, want)
				}
				conditions, err := q.Conditions(&p)
				if err != nil {
					t.Fatal(err)
				}
				named, err := s.calibration.Predict(&conditions)
				if err != nil {
					t.Fatal(err)
				}
				e := q.estimate(&named)
				if math.Abs(e.P90/got.P90-1) > 1e-12 || math.Abs(e.P10/got.P10-1) > 1e-12 || math.Abs(e.Exceed-got.Exceed) > 1e-12 {
					t.Fatalf("firing %d, %v: %+v in the sheet, %+v by name", f, choices, got, e)
				}
			}
		}
	}
}

func TestScoresAllocateNothing(t *testing.T) {
	s := newStudio(t, 12, 20)
	scorer := s.sheet(t, 2).Scorer()
	layers := s.layers(t, s.firings[0], 2)
	q := s.question(layers[0], layers[1])
	var p Physics
	i := 0
	if n := testing.AllocsPerRun(200, func() {
		i++
		q.Layers[0], q.Layers[1] = layers[i%12], layers[(i/12)%12]
		if _, err := q.Estimate(&p); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("a score allocates %g times", n)
	}
	choices := []int{0, 0}
	if _, err := scorer.Estimate(0, choices); err != nil { // makes room
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(140, func() {
		i++
		choices[0], choices[1] = i%12, (i/12)%12
		if _, err := scorer.Estimate(0, choices); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("a score of a sheet allocates %g times", n)
	}
}
