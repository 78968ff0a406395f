package draw

import (
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

func within(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance*math.Abs(want)) {
		t.Errorf("%s: got %.8g, want %.8g within %g", what, got, want, tolerance)
	}
}

func TestReadProfileCSV(t *testing.T) {
	p, err := ReadProfileCSV(strings.NewReader("radius_mm,height_mm\n40,0\n\n 45 ,60\n38,120\n"))
	if err != nil {
		t.Fatal(err)
	}
	within(t, "height", p.Height(), 0.120, 1e-12)
	within(t, "foot", p.FootDiameter(), 0.080, 1e-12)
	for text, field := range map[string]string{
		"":                                     "csv",
		"a,b\n1,2\n":                           "csv line 1",
		"height_mm,radius_mm\n0,40\nten,40":    "csv line 3, height_mm",
		"height_mm,radius_mm\n0,40\n10,":       "csv line 3, radius_mm",
		"height_mm,radius_mm\n0,40\n10,40,50":  "csv line 3",
		"height_mm,radius_mm\n0,40\nNaN,40":    "points[1].height",
		"height_mm,radius_mm\n0,40\n10,40\n\"": "csv line 4",
		"height_mm,radius_mm\n":                "points",
	} {
		_, err := ReadProfileCSV(strings.NewReader(text))
		var bad *fault.Error
		if !errors.As(err, &bad) || bad.Field != field {
			t.Errorf("%q: %v", text, err)
		}
	}
}

var oneToOne = Tracing{MetresPerUnit: 1e-3}

func TestReadProfileSVG(t *testing.T) {
	// The same wall in five spellings; y grows downward, the foot is at y = 100.
	for _, d := range []string{
		"M40 100L40 50L60 0",
		"m40,100 l0,-50 20-50",
		"M60 0 L40 50 V100",
		"M40 100 V50 L60,0",
		"M 40 1e2 v -5.e1 l2e1-50",
	} {
		p, err := ReadProfileSVG(d, oneToOne)
		if err != nil {
			t.Errorf("%q: %v", d, err)
			continue
		}
		within(t, d, p.Length(), 0.050+math.Hypot(0.020, 0.050), 1e-9)
		within(t, d, p.FootDiameter(), 0.080, 1e-9)
	}
	// Lengths of curves: half a circle of radius 30 (π·30), a parabola by its closed form.
	arc, err := ReadProfileSVG("M 10 60 a 30 30 0 1 0 0 -60", Tracing{MetresPerUnit: 1e-3, Axis: -30})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "half a circle", arc.Length(), math.Pi*0.030, 1e-3)
	// Arcs over a chord of 30 sqrt(2) on a circle of 30: a quarter, or the other three quarters; which way it bulges
	// follows from the sweep. From (60, 90) up to (60, 47.57).
	for flags, c := range map[string]struct{ length, reach float64 }{
		"0 0": {math.Pi / 2 * 0.030, 0.060 + 0.030*(1-math.Sqrt2/2)},
		"0 1": {math.Pi / 2 * 0.030, 0.060},
		"1 0": {3 * math.Pi / 2 * 0.030, 0.060 + 0.030*(1+math.Sqrt2/2)},
		"1 1": {3 * math.Pi / 2 * 0.030, 0.060},
	} {
		r := pathReader{text: "M60 90A30 30 0 " + flags + " 60 47.573593", tolerance: 0.001}
		if err := r.read(); err != nil {
			t.Fatal(err)
		}
		length, reach := 0., 0.
		for i, q := range r.points {
			reach = max(reach, 1e-3*q.x)
			if i > 0 {
				length += 1e-3 * math.Hypot(q.x-r.points[i-1].x, q.y-r.points[i-1].y)
			}
		}
		within(t, "arc "+flags, length, c.length, 1e-3)
		within(t, "how far out arc "+flags+" goes", reach, c.reach, 1e-3)
	}
	packed, err := ReadProfileSVG("M10 60a30 30 0 100-60", Tracing{MetresPerUnit: 1e-3, Axis: -30})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "the same with packed flags", packed.Length(), arc.Length(), 1e-12)
	// A parabola from (0,0) with controls (0,50), (50,50) up: x = 50 t², y = 100 t - 50 t²; its length is
	// 25 (2 + sqrt(2) asinh(1)) by hand.
	quad, err := ReadProfileSVG("M0 0Q0 50 50 50", Tracing{MetresPerUnit: 1e-3, Axis: -10, UpwardY: true})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "parabola", quad.Length(), 0.025*(2+math.Sqrt2*math.Asinh(1)), 1e-3)
	// The same curve as a cubic: controls two thirds of the way.
	cubic, err := ReadProfileSVG("M0 0C0 33.3333333 16.6666667 50 50 50", Tracing{MetresPerUnit: 1e-3, Axis: -10, UpwardY: true})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "the same as a cubic", cubic.Length(), quad.Length(), 1e-3)
	// Smooth ones: S after C and T after Q go on with the mirrored control point.
	for smooth, plain := range map[string]string{
		"M50 90C60 80 60 70 50 60S40 40 50 30": "M50 90C60 80 60 70 50 60C40 50 40 40 50 30",
		"M50 90Q60 75 50 60T50 30":             "M50 90Q60 75 50 60Q40 45 50 30",
		"M50 90q10-15 0-30t0-30":               "M50 90Q60 75 50 60Q40 45 50 30",
	} {
		a, err := ReadProfileSVG(smooth, oneToOne)
		if err != nil {
			t.Fatal(err)
		}
		b, err := ReadProfileSVG(plain, oneToOne)
		if err != nil {
			t.Fatal(err)
		}
		within(t, smooth, a.Length(), b.Length(), 1e-9)
	}
}

func TestReadProfileSVGRefuses(t *testing.T) {
	for d, field := range map[string]string{
		"":                      "path, character 1",
		"L10 10":                "path, character 1",
		"M10 10 X":              "path, character 8",
		"M10 10 L20":            "path, character 11",
		"M10 10 L20 20 Z":       "path, character 15",
		"M10 10 L20 20 M30 0":   "path, character 15",
		"M10 10 a5 5 0 2 0 1 1": "path, character 15",
		"M10 10 L20 -":          "path, character 12",
		"M10 10 L1e99 0":        "path, character 15",
		"M10 10":                "points",
		"M10 10 L-10 0":         "points[1].radius",
		"M0 10 L10 0":           "points[0].radius",
		"M10 10 L10 0 30 5 0 6": "points[3]",
	} {
		_, err := ReadProfileSVG(d, oneToOne)
		var bad *fault.Error
		if !errors.As(err, &bad) || bad.Field != field {
			t.Errorf("%q: %v", d, err)
		}
	}
	for _, scale := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		if _, err := ReadProfileSVG("M10 10L10 0", Tracing{MetresPerUnit: scale}); err == nil {
			t.Errorf("scale %g accepted", scale)
		}
	}
}

// sound fails if a profile that was accepted has a number that is not finite or a place that is not on it.
func sound(t *testing.T, p *film.Profile) {
	l := p.Length()
	area := p.Area(0, l)
	if !(l > 0 && !math.IsInf(l, 0) && area > 0 && !math.IsInf(area, 0)) {
		t.Fatalf("length %g, area %g", l, area)
	}
	for i := range 17 {
		s := l * float64(i) / 16
		at, slope := p.At(s), p.SinSlope(s)
		if !(at.Height >= 0 && at.Radius >= 0 && math.Abs(slope) <= 1) {
			t.Fatalf("at %g: %v, slope %g", s, at, slope)
		}
	}
	for _, ledge := range p.Ledges(1e-3) {
		if !(ledge.Holds >= 0 && ledge.From < ledge.To) {
			t.Fatalf("ledge %+v", ledge)
		}
	}
	s, err := film.NewSolver(p, film.MinCells, 1e-3)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Lay(film.Band{Low: l / 4, High: l / 2, Thickness: 0.5e-3, Mobility: 1}); err != nil {
		t.Fatal(err)
	}
	laid := s.Volume()
	if err := s.Advance(l / 10); err != nil {
		t.Fatal(err)
	}
	if left := s.Volume() + s.Overflow(); !(math.Abs(left/laid-1) < 1e-9) || s.Run() < 0 || s.Run() > s.Clearance() {
		t.Fatalf("%g m³ laid, %g left, run %g of %g", laid, left, s.Run(), s.Clearance())
	}
}

func FuzzReadProfileSVG(f *testing.F) {
	for _, d := range []string{"M40 100L40 50L60 0", "m40,100 l0,-50 20-50", "M10 60a30 30 0 100-60", "M50 90Q60 75 50 60T50 30", "M0 0C0 3 16 5 5 5S1 2 3 4H3V9", "M1"} {
		f.Add(d, 1.0, 0.0)
	}
	f.Fuzz(func(t *testing.T, d string, scale, axis float64) {
		p, err := ReadProfileSVG(d, Tracing{MetresPerUnit: scale / 1000, Axis: axis})
		if err == nil {
			sound(t, p)
		}
	})
}

func FuzzReadProfileCSV(f *testing.F) {
	f.Add("height_mm,radius_mm\n0,40\n10,45\n")
	f.Add("radius_mm,height_mm\n\"40\",0\n\n1e1,45\n")
	f.Fuzz(func(t *testing.T, text string) {
		p, err := ReadProfileCSV(strings.NewReader(text))
		if err == nil {
			sound(t, p)
		}
	})
}
