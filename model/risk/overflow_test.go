package risk

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
)

// slab is a straight upright wall whose volume over the foot follows from the front alone: as if the film below the
// foot were as thick as the band's, up to all of the band. Its kink where all has run is as hard on the integral as any
// wall.
type slab struct{ band, clearance, width float64 }

func (w slab) Clearance() float64        { return w.clearance }
func (w slab) Drive(run float64) float64 { return film.Drive(run, w.band) }
func (w slab) Overflow(drive, thickness float64) float64 {
	return w.width * thickness * min(max(film.Run(drive, w.band)-w.clearance, 0), w.band)
}

// power is a wall that lets X^k m³ over the foot from X = 1 m on, so that the mean has a closed form.
type power struct{ k float64 }

func (w power) Clearance() float64        { return 1 }
func (w power) Drive(run float64) float64 { return run }
func (w power) Overflow(drive, _ float64) float64 {
	if drive < 1 {
		return 0
	}
	return math.Pow(drive, w.k)
}

func prediction(median, scale, df float64) *calib.Prediction {
	return &calib.Prediction{LnPhysics: math.Log(median), Scale: scale, DF: df}
}

// Mean of a truncated log-normal power: for ln X normal (μ, σ), E[X^k; X > 1] = exp(kμ + k²σ²/2) Φ((μ + kσ²)/σ). A
// textbook result (from memory); Φ by gonum.
func TestExpectedVolumeOfALogNormal(t *testing.T) {
	for _, c := range []struct{ median, scale, k float64 }{{0.5, 0.5, 1}, {0.1, 0.8, 0.5}, {3, 0.3, 1}, {20, 1, 0.3}} {
		f, err := OverflowOf(prediction(c.median, c.scale, math.Inf(1)), power{c.k}, 1, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		μ := math.Log(c.median)
		want := math.Exp(c.k*μ+c.k*c.k*c.scale*c.scale/2) * distuv.UnitNormal.CDF((μ+c.k*c.scale*c.scale)/c.scale)
		if math.Abs(f.Expected/want-1) > 1e-3 {
			t.Errorf("%+v: %g, want %g", c, f.Expected, want)
		}
		if p := distuv.UnitNormal.CDF(μ / c.scale); math.Abs(f.Passes/p-1) > 1e-9 {
			t.Errorf("%+v: passes with %g, want %g", c, f.Passes, p)
		}
		if want := math.Exp(μ + 1.2815515655446004*c.scale); want > 1 && math.Abs(f.P90/math.Pow(want, c.k)-1) > 1e-6 { // z of 0.9 from tables
			t.Errorf("%+v: 90th percentile %g, want %g", c, f.P90, math.Pow(want, c.k))
		}
	}
}

// The integral against a plain sum over 120,000 steps of the same density, by gonum's Student-t.
func TestExpectedVolumeOfStudentT(t *testing.T) {
	wall := slab{0.06, 0.03, 0.2}
	for _, c := range []struct{ median, scale, df float64 }{{0.05, 0.7, 4}, {0.02, 0.5, 8}, {0.3, 1.2, 3}, {1.5, 0.4, 30}} {
		f, err := OverflowOf(prediction(c.median, c.scale, c.df), wall, 0.6e-3, 0.05)
		if err != nil {
			t.Fatal(err)
		}
		student := distuv.StudentsT{Mu: math.Log(c.median), Sigma: c.scale, Nu: c.df}
		want := 0.
		const step = 1e-3
		for z := -60.; z < 60; z += step {
			y := student.Mu + (z+step/2)*c.scale
			want += student.Prob(y) * step * c.scale * wall.Overflow(math.Exp(y), 0.6e-3)
		}
		if math.Abs(f.Expected/want-1) > 3e-3 {
			t.Errorf("%+v: %g, want %g", c, f.Expected, want)
		}
		sum := 0.
		for i, o := range f.Volumes {
			sum += o.Probability
			if i > 0 && o.Volume < f.Volumes[i-1].Volume {
				t.Fatal("outcomes are not in order")
			}
		}
		if math.Abs(sum/f.Passes-1) > 1e-12 {
			t.Errorf("outcomes sum to %g of %g", sum, f.Passes)
		}
	}
}

func TestOverflowOfWhatHardlyMoves(t *testing.T) {
	f, err := OverflowOf(prediction(1e-6, 0.2, math.Inf(1)), slab{0.06, 0.03, 0.2}, 0.6e-3, 0.05)
	if err != nil || f.Passes > 1e-9 || f.Expected != 0 || f.P90 != 0 || len(f.Volumes) != 0 {
		t.Errorf("%+v, %v", f, err)
	}
	f, err = OverflowOf(prediction(0.1, 0.2, 5), slab{0.06, 0, 0.2}, 0.6e-3, 0.05)
	if err != nil || f.Passes != 1 {
		t.Errorf("a band down to the foot passes it with %g, %v", f.Passes, err)
	}
	if _, err := OverflowOf(prediction(0.1, 0.2, 5), slab{0.06, 0.03, 0.2}, 0.6e-3, 0); err == nil {
		t.Error("no tolerance accepted")
	}
	if _, err := OverflowOf(prediction(math.NaN(), 0.2, 5), slab{0.06, 0.03, 0.2}, 0.6e-3, 0.05); err == nil {
		t.Error("NaN accepted")
	}
}

// More drive or more spread above the foot never lets less over it; a wider clearance never more.
func TestOverflowIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		median := math.Exp(rapid.Float64Range(-6, 0).Draw(t, "ln median"))
		scale := rapid.Float64Range(0.2, 1.5).Draw(t, "scale")
		df := rapid.Float64Range(3, 50).Draw(t, "df")
		foot := func(median, clearance float64) Overflow {
			f, err := OverflowOf(prediction(median, scale, df), slab{0.06, clearance, 0.2}, 0.5e-3, 0.05)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		a, more, wider := foot(median, 0.03), foot(median*1.3, 0.03), foot(median, 0.04)
		if more.Passes < a.Passes || more.Expected < a.Expected || more.P90 < a.P90 || more.Tolerated < a.Tolerated {
			t.Fatalf("more drive: %+v, then %+v", a, more)
		}
		if wider.Passes > a.Passes || wider.Expected > a.Expected*(1+1e-3) || wider.P90 > a.P90 {
			t.Fatalf("more clearance: %+v, then %+v", a, wider)
		}
	})
}

func BenchmarkOverflowOf(b *testing.B) {
	p := prediction(0.05, 0.7, 6)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := OverflowOf(p, slab{0.06, 0.03, 0.2}, 0.6e-3, 0.05); err != nil {
			b.Fatal(err)
		}
	}
}
