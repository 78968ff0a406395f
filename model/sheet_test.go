package model

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// studio is an invented studio: glazes of every kind, fired, and a calibration on tiles of their pairs.
type studio struct {
	glazes      []*Glaze
	firings     []*firing.HeatHistory
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
		p, err := firing.NewHeatHistory(c, firing.Atmosphere{}, nil)
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
		tile, _, err := q.Tile(fmt.Sprintf("tile-%d", i), int64(i), Outcome{Kind: calib.Measured, Run: math.Min(e.Median*math.Exp(0.4*rng.NormFloat64()), 1), ReadingError: 1e-3})
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
	return &Question{Layering: Layering{Layers: layers, Stirring: film.Usual.Stirring}, Wall: s.wall, Where: s.where, Calibration: s.calibration, Tolerated: 0.05}
}

// layers are brushed coats of all glazes in a firing.
func (s *studio) layers(t testing.TB, f *firing.HeatHistory, coats float64) []Layer {
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

// A score of a sheet is that of the layering alone, to the last bit, and but for rounding the one that is worked out
// by name.
func TestSheetIsEachScoreAlone(t *testing.T) {
	s := newStudio(t, 13, 60)
	sheet := s.sheet(t, 3)
	all := make([]Estimate, sheet.Len())
	if _, err := sheet.Scorer().Estimates(all, 0); err != nil {
		t.Fatal(err)
	}
	var p Physics
	for f, fired := range s.firings {
		layers := s.layers(t, fired, 2)
		for i := range layers {
			for k := range layers {
				n := len(layers)
				choices := []int{i, k, (i * k) % n}
				index := ((f*n+i)*n+k)*n + choices[2]
				got := all[index]
				at := make([]int, 3)
				if sheet.At(index, at) != f || !slices.Equal(at, choices) {
					t.Fatalf("combination %d is not %v in firing %d", index, choices, f)
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
				subject, err := s.calibration.Subject(&conditions)
				if err != nil {
					t.Fatal(err)
				}
				named, err := subject.Predict()
				if err != nil {
					t.Fatal(err)
				}
				apart := named.At(0)
				there := named.At(p.Course.BeadElasticity(p.Course.Run(math.Exp(apart.Median()))))
				e := q.estimate(&p, &there)
				if math.Abs(e.P90/got.P90-1) > 1e-12 || math.Abs(e.P10/got.P10-1) > 1e-12 || math.Abs(e.Exceedance-got.Exceedance) > 1e-12 ||
					math.Abs(e.ClearanceNeeded/got.ClearanceNeeded-1) > 1e-12 {
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
	all := make([]Estimate, 100)
	if _, err := scorer.Estimates(all[:1], 0); err != nil { // makes room
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(20, func() {
		if _, err := scorer.Estimates(all, 20); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("100 scores of a sheet allocate %g times", n)
	}
}

// A part of a sheet is that part of the whole, and a combination that cannot be scored is named.
func TestPartOfASheet(t *testing.T) {
	s := newStudio(t, 11, 40)
	sheet := s.sheet(t, 2)
	all := make([]Estimate, sheet.Len())
	if n, err := sheet.Scorer().Estimates(all, 0); err != nil || n != 242 {
		t.Fatal(n, err)
	}
	scorer := sheet.Scorer()
	for _, at := range []struct{ first, n int }{{0, 1}, {7, 40}, {100, 142}, {119, 4}, {241, 1}, {3, 0}} {
		some := make([]Estimate, at.n)
		if _, err := scorer.Estimates(some, at.first); err != nil || !slices.Equal(some, all[at.first:at.first+at.n]) {
			t.Errorf("%d from %d on are other than in the whole: %v", at.n, at.first, err)
		}
	}
	layers := s.layers(t, s.firings[0], 2)
	layers[5].Thickness.Metres = 1
	broken := &Sheet{}
	broken.Add(s.question(), [][]Layer{layers[:3], layers})
	if n, err := broken.Scorer().Estimates(all[:33], 0); err == nil || n != 5 {
		t.Errorf("a metre of glaze: %d before it, %v", n, err)
	}
}
