package model

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// glossy is an invented cone 6 gloss as a Seger formula: fluxes 0.15 Na2O 0.15 K2O... with boron.
func glossy(t testing.TB, name string, silica, boron float64) *Glaze {
	c, err := chem.FromSeger([]chem.Part{
		{Name: "Na2O", Amount: 0.2}, {Name: "K2O", Amount: 0.1}, {Name: "CaO", Amount: 0.55}, {Name: "MgO", Amount: 0.15},
		{Name: "Al2O3", Amount: 0.4}, {Name: "B2O3", Amount: boron}, {Name: "SiO2", Amount: silica},
	})
	if err != nil {
		t.Fatal(err)
	}
	return &Glaze{Name: name, Melt: &c.Melt, Surface: melt.Gloss, ConeFrom: 6, ConeTo: 6}
}

func cone6(t testing.TB) *firing.Prepared {
	f := firing.ConeFiring{Cone: "6", FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: 200}
	c, err := f.Curve()
	if err != nil {
		t.Fatal(err)
	}
	p, err := firing.Prepare(c, firing.Atmosphere{}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func question(t testing.TB, f *firing.Prepared, coats float64, glazes ...*Glaze) *Question {
	cal, err := calib.Fit(nil, calib.DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	wall, err := NewStraightWall(math.Pi/2, 0.06, 0.03, 0.05, 1)
	if err != nil {
		t.Fatal(err)
	}
	q := &Question{Wall: wall, Calibration: cal, Tolerated: 0.05}
	q.Stirring = film.DefaultStirring
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

func TestTry(t *testing.T) {
	f := cone6(t)
	a, b := glossy(t, "a", 3.2, 0.3), glossy(t, "b", 2.8, 0.5)
	for _, q := range []*Question{question(t, f, 2, a), question(t, f, 2, b), question(t, f, 2, a, b), question(t, f, 2, b, a)} {
		var p Physics
		e, err := q.Estimate(&p)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range q.Layers {
			t.Logf("%s log eta peak %.2f sd %.2f", l.Glaze.Name, -math.Log10(l.Exposure.Peak), l.ViscositySD)
		}
		sc, err := q.Score(q.Layers[0].Fired)
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%+v %+v %+v", sc.Drivers, sc.Solo, sc.Flags)
		t.Logf("median %.1f (%.1f to %.1f) mm, exceed %.2f needed %.1f; H %.2f mm", e.Median*1e3, e.P10*1e3, e.P90*1e3, e.Exceed, e.ClearanceNeeded*1e3, p.Flow.Thickness*1e3)
	}
}

func BenchmarkEstimate(b *testing.B) {
	f := cone6(b)
	q := question(b, f, 2, glossy(b, "a", 3.2, 0.3), glossy(b, "b", 2.8, 0.5))
	b.ReportAllocs()
	for b.Loop() {
		var p Physics
		if _, err := q.Estimate(&p); err != nil {
			b.Fatal(err)
		}
	}
}
