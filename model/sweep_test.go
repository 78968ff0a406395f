package model

import (
	"fmt"
	"math"
	"testing"

	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
)

// sweep asks a question at rising places and checks that median, 10th and 90th percentile and the probability of
// exceeding the clearance are finite, that no end is 0, and that from place to place lengths move by at most 5 % and
// the probability by a hundredth; where they have to rise, that they do.
func sweep(t *testing.T, name string, places []float64, rises bool, at func(v float64) *Question) {
	t.Helper()
	var last [4]float64
	for i, v := range places {
		e := estimate(t, at(v))
		now := [4]float64{e.P10, e.Median, e.P90, e.Exceedance}
		for k, what := range []string{"10th percentile", "median", "90th percentile", "probability"} {
			if !(now[k] > 0) || math.IsInf(now[k], 0) || k == 3 && now[k] >= 1 {
				t.Errorf("%s at %g: %s %g", name, v, what, now[k])
				return
			}
			if i == 0 {
				continue
			}
			step := math.Log(now[k] / last[k])
			jumps := math.Abs(step) > 0.05
			if k == 3 {
				jumps = math.Abs(now[k]-last[k]) > 0.01 // of a probability far out in a tail, a part says nothing
			}
			if jumps || rises && step < -1e-4 { // quantiles are read to the first order of the bead's doubt
				t.Errorf("%s from %g to %g: %s from %g to %g", name, places[i-1], v, what, last[k], now[k])
				return
			}
		}
		last = now
	}
}

// places are n from low to high, each as many times the one before.
func places(low, high float64, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = low * math.Pow(high/low, float64(i)/float64(n-1))
	}
	return out
}

// Nothing jumps, and more of what drives a glaze never runs less.
func TestNothingJumps(t *testing.T) {
	h := fired(t, "6", 0, firing.Atmosphere{})
	rows := map[string]*practiceRow{}
	for _, r := range practiceRows(t) {
		rows[r.id] = r
	}
	alone := rows["A2"].question(t, h)
	pair := rows["E1"].question(t, h)
	coats := func(q *Question, layer int, n float64) *Question {
		c := *q
		c.Layers = append([]Layer(nil), q.Layers...)
		h, err := film.Coats(film.Brush, n, 1)
		if err != nil {
			t.Fatal(err)
		}
		c.Layers[layer].Thickness = h
		return &c
	}
	walled := func(q *Question, angle, band, clearance float64) *Question {
		c := *q
		w, err := NewStraightWall(angle, band, clearance, 0.05, film.Usual.Drip)
		if err != nil {
			t.Fatal(err)
		}
		c.Wall = w
		return &c
	}
	heated := func(q *Question, r *practiceRow, h *firing.HeatHistory) *Question {
		c := r.question(t, h)
		c.Wall = q.Wall
		return c
	}
	sweep(t, "coats alone", places(0.05, 12, 800), true, func(v float64) *Question { return coats(alone, 0, v) })
	sweep(t, "coats under", places(0.002, 8, 1500), false, func(v float64) *Question { return coats(pair, 0, v) })
	sweep(t, "coats of a fluid glaze over", places(0.002, 8, 1500), true, func(v float64) *Question { return coats(pair, 1, v) })
	sweep(t, "band", places(1e-3, 1, 500), true, func(v float64) *Question { return walled(alone, math.Pi/2, v, 0.03) })
	sweep(t, "slope", places(0.02, math.Pi/2, 600), true, func(v float64) *Question { return walled(alone, v, 0.06, 0.03) })
	shifts := make([]float64, 301)
	for i := range shifts {
		shifts[i] = float64(i-150) / 2
	}
	sweep(t, "temperature", shifts, true, func(v float64) *Question { return heated(alone, rows["A2"], h.Shifted(v, 0)) })
	sweep(t, "temperature of a pair", shifts, true, func(v float64) *Question { return heated(pair, rows["E4"], h.Shifted(v, 0)) })
	holds := make([]float64, 121)
	for i := range holds {
		holds[i] = float64(i)
	}
	sweep(t, "hold", holds, true, func(v float64) *Question { return heated(alone, rows["A2"], fired(t, "6", v, firing.Atmosphere{})) })
	bottle, err := film.Bottle(0.24, 0.1, 0.04, 0.08, 0.16, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	thick := coats(pair, 1, 4)
	sweep(t, "clearance on a bottle", places(2e-3, 0.1, 300), false, func(v float64) *Question {
		c := *thick
		w, err := NewWareWall(bottle, 0.06, v, film.Usual.Drip, 0, nil)
		if err != nil {
			t.Fatal(err)
		}
		c.Wall = w
		return &c
	})
}

// A hundredth of a coat of another glaze is next to none, and two coats and two of one glaze are four.
func TestTraceOfAnotherGlaze(t *testing.T) {
	h := fired(t, "6", 0, firing.Atmosphere{})
	rows := map[string]*practiceRow{}
	for _, r := range practiceRows(t) {
		rows[r.id] = r
	}
	pair := rows["E1"].question(t, h)
	trace, err := film.Coats(film.Brush, 0.01, 1)
	if err != nil {
		t.Fatal(err)
	}
	for layer := range 2 {
		alone, with := *pair, *pair
		alone.Layers = []Layer{pair.Layers[layer]}
		with.Layers = append([]Layer(nil), pair.Layers...)
		with.Layers[1-layer].Thickness = trace
		a, b := estimate(t, &alone), estimate(t, &with)
		for what, v := range map[string][2]float64{"median": {a.Median, b.Median}, "p10": {a.P10, b.P10}, "p90": {a.P90, b.P90}} {
			if math.Abs(math.Log(v[1]/v[0])) > 0.05 {
				t.Errorf("a hundredth of a coat besides layer %d: %s from %.3f mm to %.3f mm", layer+1, what, 1e3*v[0], 1e3*v[1])
			}
		}
	}
	four, two := rows["A3"].question(t, h), *rows["A1"].question(t, h)
	two.Layers = []Layer{two.Layers[0], two.Layers[0]}
	if a, b := estimate(t, four), estimate(t, &two); math.Abs(a.Median/b.Median-1) > 1e-9 {
		t.Errorf("four coats run %g m, two and two %g m", a.Median, b.Median)
	}
}

// Archetypes that every potter knows (common practice, no source): the median is between the two lengths in mm, and
// the risk on the clearance is below or above the third.
func TestArchetypes(t *testing.T) {
	rows := map[string]*practiceRow{}
	for _, r := range practiceRows(t) {
		rows[r.id] = r
	}
	mug, err := film.Cylinder(0.09, 0.08)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, row, cone string
		hold            float64
		method          film.Method
		coats           []float64
		mug             bool
		clearance       float64 // mm
		low, high       float64 // mm
		less, more      float64 // the probability of passing the clearance
	}{
		{"ordinary gloss, two brushed coats", "A1", "6", 0, film.Brush, []float64{2}, false, 10, 0, 1, 0.03, 0},
		{"ordinary gloss, three brushed coats", "A2", "6", 0, film.Brush, []float64{3}, false, 10, 0.2, 2, 0.05, 0},
		{"ordinary gloss, three coats, a hold", "A2", "6", 15, film.Brush, []float64{3}, false, 10, 0.3, 3, 0.1, 0},
		{"ordinary gloss, one dip, a mug with 6 mm bare", "A2", "6", 0, film.Dip, []float64{1}, true, 6, 0.2, 3, 0.2, 0},
		{"ordinary gloss, two dips, a mug with 6 mm bare", "A2", "6", 0, film.Dip, []float64{2}, true, 6, 3, 25, 0.9, 0.3},
		{"stiff gloss, one dip, a mug with 4 mm bare", "B1", "6", 0, film.Dip, []float64{1}, true, 4, 0, 1, 0.1, 0},
		{"stiff gloss, three coats", "B1", "6", 0, film.Brush, []float64{3}, false, 5, 0, 1, 0.05, 0},
		{"magnesia satin, three coats", "D1", "6", 0, film.Brush, []float64{3}, false, 5, 0, 1.2, 0.1, 0},
		{"fluid gloss, three coats", "C2", "6", 0, film.Brush, []float64{3}, false, 25, 3, 15, 0.3, 0.02},
		{"fluid gloss, one dip, a mug with 6 mm bare", "C2", "6", 0, film.Dip, []float64{1}, true, 6, 4, 20, 0.9, 0.3},
		{"fluid over ordinary gloss", "E1", "6", 0, film.Brush, []float64{2, 2}, false, 38, 2, 12, 0.2, 0.005},
		{"two ordinary glosses", "E3", "6", 0, film.Brush, []float64{2, 2}, false, 25, 0.8, 4, 0.1, 0.0005},
		{"gloss over satin", "E4", "6", 0, film.Brush, []float64{2, 2}, false, 13, 0.3, 3, 0.15, 0},
		{"limestone clear, dipped, cone 10", "F1", "10", 0, film.Dip, []float64{1}, true, 6, 0, 1.5, 0.1, 0},
		{"low-fire gloss, three coats", "G1", "04", 0, film.Brush, []float64{3}, false, 5, 0, 1, 0.1, 0},
		{"cone 10 clear at cone 6", "F1", "6", 0, film.Dip, []float64{1}, true, 6, 0, 0.2, 0.01, 0},
	} {
		r := rows[c.row]
		q := r.question(t, fired(t, c.cone, c.hold, r.atmosphere))
		for i, n := range c.coats {
			if q.Layers[i].Thickness, err = film.Coats(c.method, n, 1); err != nil {
				t.Fatal(err)
			}
		}
		if q.Wall, err = NewStraightWall(math.Pi/2, 0.06, c.clearance*1e-3, 0.05, film.Usual.Drip); err != nil {
			t.Fatal(err)
		}
		if c.mug {
			if q.Wall, err = NewWareWall(mug, 0.06, c.clearance*1e-3, film.Usual.Drip, 0, nil); err != nil {
				t.Fatal(err)
			}
		}
		e := estimate(t, q)
		said := fmt.Sprintf("%s: %.2f mm (%.2f to %.1f), %.1f %% pass %g mm", c.name, 1e3*e.Median, 1e3*e.P10, 1e3*e.P90, 100*e.Exceedance, c.clearance)
		t.Log(said)
		if 1e3*e.Median < c.low || 1e3*e.Median > c.high || e.Exceedance > c.less || e.Exceedance < c.more || e.UnderFired != (c.name == "cone 10 clear at cone 6") {
			t.Errorf("%s, under-fired %t; want %g to %g mm, %g to %g %%", said, e.UnderFired, c.low, c.high, 100*c.more, 100*c.less)
		}
	}
}
