package main

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/chem"
)

// The slopes of MYEGA's curve are its central differences, and the curve is 12 at Tg.
func TestMYEGASlopes(t *testing.T) {
	for _, u := range [][3]float64{{0, 0, 0}, {1, -2, 1.5}, {-1.5, 1, -2}} {
		if y, _ := myega(u, 900*math.Exp(0.2*u[0])); math.Abs(y-12) > 1e-12 {
			t.Errorf("outputs %v: log10 η is %v at Tg", u, y)
		}
		for _, T := range []float64{900, 1300, 1800} {
			_, slope := myega(u, T)
			for k := range u {
				const h = 1e-5
				v, w := u, u
				v[k] += h
				w[k] -= h
				above, _ := myega(v, T)
				below, _ := myega(w, T)
				if d := (above - below) / (2 * h); math.Abs(d-slope[k]) > 1e-6*(1+math.Abs(d)) {
					t.Errorf("outputs %v, %v K: slope %d is %v, differences give %v", u, T, k, slope[k], d)
				}
			}
		}
	}
}

// Melts whose curves are known come back from their points: the fit finds the way, whatever it is told a thing is called.
func TestQuadraticFindsCurves(t *testing.T) {
	truth := func(x *[chem.NumNetworkOxides]float64) [3]float64 {
		return [3]float64{1.5 - 8*x[chem.Na2O] + 10*x[chem.Na2O]*x[chem.CaO], 2 * x[chem.CaO], 0.3}
	}
	var data []sample
	for i := range 12 {
		for j := range 12 {
			s := sample{group: len(data)}
			s.x[chem.Na2O], s.x[chem.CaO] = 0.03*float64(i), 0.03*float64(j)
			s.x[chem.SiO2] = 1 - s.x[chem.Na2O] - s.x[chem.CaO]
			for _, T := range []float64{1000, 1200, 1400, 1600} {
				y, _ := myega(truth(&s.x), T)
				s.points = append(s.points, point{T, y, 2})
			}
			data = append(data, s)
		}
	}
	q, err := fitQuadratic(data, nil, scalingOf(data, teachingFeatures))
	if err != nil {
		t.Fatal(err)
	}
	for i := range data {
		s := &data[i]
		u := q.outputs(q.terms(&s.x))
		for _, p := range s.points {
			if y, _ := myega(u, p.T); math.Abs(y-p.log10) > 0.1 {
				t.Errorf("Na2O %.2f CaO %.2f at %v K: %.3f, the curve has %.3f", s.x[chem.Na2O], s.x[chem.CaO], p.T, y, p.log10)
			}
		}
	}
}
