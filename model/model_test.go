package model

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// gloss is an invented cone 6 gloss: its silica sets how stiff it is.
func gloss(t testing.TB, name string, silica, iron float64) *Glaze {
	t.Helper()
	c, err := chem.FromSeger([]chem.Part{
		{Name: "Na2O", Amount: 0.2}, {Name: "K2O", Amount: 0.1}, {Name: "CaO", Amount: 0.55}, {Name: "MgO", Amount: 0.15},
		{Name: "Al2O3", Amount: 0.4}, {Name: "B2O3", Amount: 0.25}, {Name: "Fe2O3", Amount: iron}, {Name: "SiO2", Amount: silica},
	})
	if err != nil {
		t.Fatal(err)
	}
	return &Glaze{Name: name, Melt: &c.Melt, Surface: melt.Gloss, ConeFrom: 6, ConeTo: 6}
}

// cone6 is cone 6 at 60 °C/h, 1222 °C by the published table, with the usual quarter of an hour's hold (common
// practice, no source).
func cone6(t testing.TB, a firing.Atmosphere) *firing.HeatHistory {
	t.Helper()
	f := firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: firing.DefaultCoolingCPerHour}
	c, err := f.Curve()
	if err != nil {
		t.Fatal(err)
	}
	p, err := firing.NewHeatHistory(c, a, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func blank(t testing.TB) *calib.Calibration {
	t.Helper()
	c, err := calib.Fit(nil, calib.DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func upright(t testing.TB, drip float64) *StraightWall {
	t.Helper()
	w, err := NewStraightWall(math.Pi/2, 0.06, 0.03, 0.05, drip)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// asked is a question about brushed coats of glazes, first applied first, on an upright tile.
func asked(t testing.TB, f *firing.HeatHistory, coats float64, glazes ...*Glaze) *Question {
	t.Helper()
	q := &Question{Wall: upright(t, 1), Calibration: blank(t), Tolerated: 0.05}
	q.Stirring = film.Usual.Stirring
	for _, g := range glazes {
		d, err := Fire(g, f)
		if err != nil {
			t.Fatal(err)
		}
		h, err := film.Coats(film.Brush, coats, 1)
		if err != nil {
			t.Fatal(err)
		}
		q.Layers = append(q.Layers, Layer{d, h})
	}
	return q
}

func estimate(t testing.TB, q *Question) Estimate {
	t.Helper()
	var p Physics
	e, err := q.Estimate(&p)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// withViscosity looks for the silica at which a gloss has a viscosity at 1222 °C, so that what follows does not hang
// on a recipe.
func withViscosity(t testing.TB, name string, log10 float64) *Glaze {
	low, high := 1.5, 9.0
	for range 40 {
		mid := (low + high) / 2
		curve := melt.Viscosity(gloss(t, name, mid, 0).Melt)
		if curve.Log10(1222+273.15) < log10 {
			low = mid
		} else {
			high = mid
		}
	}
	return gloss(t, name, low, 0)
}

// Which of two layers is on top matters little, as testers find (common practice, no source): the front turns over
// what it lays down.
func TestOrder(t *testing.T) {
	f := cone6(t, firing.Atmosphere{})
	stiff, runny := withViscosity(t, "stiff", 2.6), withViscosity(t, "runny", 1.9)
	slides, stays := estimate(t, asked(t, f, 2, runny, stiff)), estimate(t, asked(t, f, 2, stiff, runny))
	if ratio := slides.Median / stays.Median; ratio < 0.8 || ratio > 1.7 {
		t.Errorf("stiff over runny %.1f mm, runny over stiff %.1f mm", slides.Median*1e3, stays.Median*1e3)
	}
}

// The atmosphere changes the viscosity of an iron glaze and of no other.
func TestReductionWorksOnIron(t *testing.T) {
	air, reduced := cone6(t, firing.Atmosphere{}), cone6(t, firing.Atmosphere{Kind: firing.HeavyReduction})
	for _, c := range []struct {
		iron  float64
		moves bool
	}{{0, false}, {0.15, true}} {
		g := gloss(t, "g", 3.4, c.iron)
		a, err := Fire(g, air)
		if err != nil {
			t.Fatal(err)
		}
		r, err := Fire(g, reduced)
		if err != nil {
			t.Fatal(err)
		}
		if moved := math.Abs(a.Exposure.Flow/r.Exposure.Flow-1) > 0.01; moved != c.moves || !c.moves && a.Exposure != r.Exposure {
			t.Errorf("with %g Fe2O3: flow %g in air, %g reduced", c.iron, a.Exposure.Flow, r.Exposure.Flow)
		}
	}
}

// A cylinder is a straight upright wall rolled up: solved along its wall the band runs as the closed form says.
func TestCylinderIsAStraightWall(t *testing.T) {
	profile, err := film.Cylinder(0.3, 0.08)
	if err != nil {
		t.Fatal(err)
	}
	ware, err := NewWareWall(profile, 0.06, 0.15, 1.2, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	straight, err := NewStraightWall(math.Pi/2, 0.06, 0.15, math.Pi*0.08, 1.2)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(ware.Drip()/straight.Drip()-1) > 1e-9 || math.Abs(ware.EdgeSin()-1) > 1e-9 {
		t.Errorf("the cylinder's drips are %g times its front on a slope of %g, the straight wall's %g", ware.Drip(), ware.EdgeSin(), straight.Drip())
	}
	for _, x := range []float64{0.01, 0.05, 0.2, 1, 3} {
		if a, b := ware.Front(x), straight.Front(x); math.Abs(a/b-1) > 0.02 {
			t.Errorf("drive %g m: along the cylinder %.2f mm, by the closed form %.2f mm", x, a*1e3, b*1e3)
		}
	}
	for _, x := range []float64{5, 10, 50} {
		front := straight.Front(x)
		if a, b := ware.Overflow(front, 0.5e-3), straight.Overflow(front, 0.5e-3); math.Abs(a-b) > 0.02*straight.Overflow(straight.Front(200), 0.5e-3) {
			t.Errorf("drive %g m: over the foot of the cylinder %.0f mm³, by the closed form %.0f mm³", x, a*1e9, b*1e9)
		}
	}
}

func TestWalls(t *testing.T) {
	bottle, err := film.Bottle(0.24, 0.1, 0.04, 0.08, 0.16, 0.05)
	if err != nil {
		t.Fatal(err)
	}
	ware, err := NewWareWall(bottle, 0.08, 0.05, 1.3, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	atFoot, err := NewWareWall(bottle, 0.08, 0, 1.3, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	for name, w := range map[string]Wall{"straight": upright(t, 1.3), "bottle": ware, "bottle, band to the foot": atFoot} {
		rapid.Check(t, func(r *rapid.T) {
			run := rapid.Float64Range(1e-4, 0.3).Draw(r, "run")
			c := Course{w, film.Edge{Bead: rapid.Float64Range(1e-4, 0.02).Draw(r, "bead"), Wetted: 0.2}}
			if back := c.Run(c.Drive(run)); math.Abs(back-run) > 1e-6+1e-3*run {
				r.Fatalf("%s: a run of %g m comes back as %g m", name, run, back)
			}
			x := math.Exp(rapid.Float64Range(-9, 5).Draw(r, "ln drive"))
			y := x * (1 + rapid.Float64Range(0, 3).Draw(r, "more"))
			if c.Run(y) < c.Run(x) || c.Overflow(y, 5e-4) < c.Overflow(x, 5e-4) {
				r.Fatalf("%s: more drive, %g instead of %g m, runs less", name, y, x)
			}
		})
	}
}

// What a person would hold to be true without a formula.
func TestInvariants(t *testing.T) {
	f := cone6(t, firing.Atmosphere{})
	rapid.Check(t, func(r *rapid.T) {
		under := gloss(t, "under", rapid.Float64Range(2.5, 4.5).Draw(r, "silica under"), 0)
		over := gloss(t, "over", rapid.Float64Range(2.5, 4.5).Draw(r, "silica over"), 0)
		coats := rapid.Float64Range(0.5, 4).Draw(r, "coats")
		q := asked(t, f, coats, under, over)
		base := estimate(t, q)
		if !(base.P10 <= base.Median && base.Median <= base.P90) || base.Exceedance < 0 || base.Exceedance > 1 {
			r.Fatalf("out of order: %+v", base)
		}
		if more := estimate(t, asked(t, f, coats*1.3, under, over)); more.Median < base.Median {
			r.Fatalf("more coats run less: %g, %g", more.Median, base.Median)
		}
		hotter := *q
		hotter.Layers = nil
		for _, l := range q.Layers {
			d, err := Fire(l.Glaze, f.Shifted(10, 0))
			if err != nil {
				r.Fatal(err)
			}
			hotter.Layers = append(hotter.Layers, Layer{d, l.Thickness})
		}
		if more := estimate(t, &hotter); more.Median < base.Median {
			r.Fatalf("more heat runs less: %g, %g", more.Median, base.Median)
		}
		split := *q
		half := film.Thickness{Metres: q.Layers[0].Thickness.Metres / 2, RelativeSD: q.Layers[0].Thickness.RelativeSD}
		split.Layers = []Layer{{q.Layers[0].Fired, half}, {q.Layers[0].Fired, half}, q.Layers[1]}
		if same := estimate(t, &split); math.Abs(same.Median/base.Median-1) > 1e-9 {
			r.Fatalf("a layer in two halves runs %g instead of %g", same.Median, base.Median)
		}
	})
}

// A score is made of the same estimates, and names what makes it less sure.
func TestScore(t *testing.T) {
	f := cone6(t, firing.Atmosphere{})
	known := withViscosity(t, "known", 2.7)
	described := &Glaze{Name: "jar", Behaviour: melt.Mobile, Surface: melt.Gloss, ConeFrom: 5, ConeTo: 6, LOI: 0.08}
	q := asked(t, f, 2, known, described)
	s, err := q.Score(q.Layers[0].Fired)
	if err != nil {
		t.Fatal(err)
	}
	if s.Estimate != estimate(t, q) {
		t.Errorf("score %+v, estimate %+v", s.Estimate, estimate(t, q))
	}
	flags := map[string]bool{}
	for _, one := range append(s.Flags, CalibrationFlags(q.Calibration)...) {
		flags[one.Code] = true
	}
	if !flags["described_glaze"] || !flags["no_tiles"] {
		t.Errorf("flags %v", s.Flags)
	}
	for i := 1; i < len(s.Drivers); i++ {
		if math.Abs(s.Drivers[i].Run) > math.Abs(s.Drivers[i-1].Run) {
			t.Errorf("drivers are not by size: %v", s.Drivers)
		}
	}
	if len(s.Solo) != 2 || s.Solo[0].Glaze != "known" || s.Solo[1].Glaze != "jar" {
		t.Errorf("solo runs %v", s.Solo)
	}
}

// What a score is compared with is to the last bit what it is when it is asked about by itself, like neighbours and a
// described glaze included.
func TestComparisonsAreEstimates(t *testing.T) {
	s := newStudio(t, 13, 60)
	for _, f := range append(s.firings, cone6(t, firing.Atmosphere{Kind: firing.HeavyReduction})) {
		l := s.layers(t, f, 2)
		medianGlaze := l[5]
		for _, layers := range [][]Layer{{l[0]}, {l[1], l[2]}, {l[3], l[3]}, {l[4], l[5]}, {l[6], l[10]}, {l[7], l[8], l[7]}, {l[9], l[9], l[1]},
			{l[0], l[1], l[2], l[3], l[4], l[6], l[7], l[8]}} {
			q := s.question(layers...)
			score, err := q.Score(medianGlaze.Fired)
			if err != nil {
				t.Fatal(err)
			}
			median := func(stirring float64, layers ...Layer) float64 {
				other := s.question(layers...)
				other.Stirring = stirring
				return estimate(t, other).Median
			}
			whole, variance := 0.0, 0.0
			for i := range layers {
				whole += layers[i].Thickness.Metres
				variance += layers[i].variance()
			}
			for _, solo := range score.Solo {
				i := slices.IndexFunc(layers, func(l Layer) bool { return l.Glaze.Name == solo.Glaze })
				thick := Layer{layers[i].Fired, film.Thickness{Metres: whole, RelativeSD: math.Sqrt(variance) / whole}}
				if want := median(q.Stirring, thick); solo.Median != want {
					t.Errorf("%s alone: %v, by itself %v", solo.Glaze, solo.Median, want)
				}
			}
			for _, d := range score.Drivers {
				other, stirring := slices.Clone(layers), q.Stirring
				switch d.Kind {
				case DriverThickness:
					for i := range other {
						other[i].Thickness.Metres *= layers[0].Thickness.Metres / whole
					}
				case DriverOrder:
					slices.Reverse(other)
				case DriverBlend:
					stirring = 0
				case DriverGlaze:
					for i := range other {
						if other[i].Glaze.Name == d.Glaze {
							other[i].Fired = medianGlaze.Fired
						}
					}
				case DriverHeatWork:
					for i := range other {
						if other[i].Fired, err = other[i].coneLess(); err != nil {
							t.Fatal(err)
						}
					}
				case DriverCorrection:
					continue
				}
				if want := score.Median - median(stirring, other...); d.Run != want {
					t.Errorf("driver %d %s: %v, by itself %v", d.Kind, d.Glaze, d.Run, want)
				}
			}
		}
	}
}

// A tile that shows exactly what was expected has a reading at the physics' own drive; a run below the error of its
// reading is no number.
func TestReadings(t *testing.T) {
	f := cone6(t, firing.Atmosphere{})
	q := asked(t, f, 4, withViscosity(t, "a", 1.6))
	var p Physics
	c, err := q.Conditions(&p)
	if err != nil {
		t.Fatal(err)
	}
	run := p.Course.Run(math.Exp(c.LnPhysics))
	tile, _, err := q.Tile("tile", 1, Outcome{Kind: calib.Measured, Run: run, ReadingError: 1e-3})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(tile.Reading.Low-c.LnPhysics) > 1e-9 {
		t.Errorf("a run as expected reads %g, physics %g", tile.Reading.Low, c.LnPhysics)
	}
	small, _, err := q.Tile("tile", 1, Outcome{Kind: calib.Measured, Run: 0.5e-3, ReadingError: 1e-3})
	if err != nil || small.Reading.Outcome != calib.Between {
		t.Errorf("half a millimetre give or take one is read as %v, %v", small.Reading, err)
	}
	for _, o := range []Outcome{
		{Kind: calib.Measured, Run: -1, ReadingError: 1e-3},
		{Kind: calib.Measured, Run: math.NaN(), ReadingError: 1e-3},
		{Kind: calib.Measured, Run: 0.01},
		{Kind: calib.Between, From: 0.02, To: 0.01, ReadingError: 1e-3},
	} {
		if _, _, err := q.Tile("tile", 1, o); err == nil {
			t.Errorf("accepted %+v", o)
		}
	}
}
