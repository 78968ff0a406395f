package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// readings of every kind, near and far.
var someReadings = []Reading{
	Read(0.3, 0, 1), Read(-4, 0, 1), ReadAtLeast(0.5, 0, 60), ReadAtLeast(-6, 0, 60), ReadAtLeast(6, 0, 60),
	ReadAtMost(-0.4, 0, 1), ReadAtMost(5, 0, 1), ReadAtMost(-5, 0, 1), ReadBetween(-0.2, 0.4, 0, 1, 2), ReadBetween(3, 3.1, 0, 1, 2),
	ReadBetween(-7, -3, 0, 1, 2),
}

// Slope and curvature of the log likelihood are its derivatives, by finite differences of the likelihood itself (gonum diff/fd).
func TestSlopeAndCurvatureAreDerivatives(t *testing.T) {
	const scale = 0.37
	for _, df := range []float64{3, 6, 30, math.Inf(1)} {
		e := newErrorModel(df)
		for _, r := range someReadings {
			lnLikelihood := func(η float64) float64 {
				s := e.of(&r, 0, η, scale)
				return s.lnLikelihood
			}
			for _, η := range []float64{-0.7, 0.1, 1.3} {
				s := e.of(&r, 0, η, scale)
				slope := fd.Derivative(lnLikelihood, η, &fd.Settings{Formula: fd.Central, Step: 1e-5})
				curvature := -fd.Derivative(lnLikelihood, η, &fd.Settings{Formula: fd.Central2nd, Step: 1e-3})
				if math.Abs(s.slope-slope) > 1e-5*(1+math.Abs(slope)) || math.Abs(s.curvature-curvature) > 1e-3*(1+math.Abs(curvature)) {
					t.Errorf("df %v, %v at %v: slope %v curvature %v, by differences %v %v", df, r, η, s.slope, s.curvature, slope, curvature)
				}
				if s.curvature > s.emWeight*(1+1e-9) {
					t.Errorf("df %v, %v at %v: curvature %v above the expected weight %v", df, r, η, s.curvature, s.emWeight)
				}
			}
		}
	}
}

// The density of ln drive is that of gonum's distributions.
func TestDensities(t *testing.T) {
	at := []float64{-60, -3, -1.2, -0.7, 0, 2, 40}
	got := make([]float64, len(at))
	for _, df := range []float64{3, 17.5, math.Inf(1)} {
		p := Prediction{LnPhysics: -1, Mean: 0.3, Scale: 0.4, DF: df}
		p.Densities(got, at)
		for i, x := range at {
			want := distuv.StudentsT{Mu: -0.7, Sigma: 0.4, Nu: df}.Prob(x)
			if math.IsInf(df, 1) {
				want = distuv.Normal{Mu: -0.7, Sigma: 0.4}.Prob(x)
			}
			if math.Abs(got[i]-want) > 1e-12*want+1e-300 {
				t.Errorf("df %v: density at %v is %v, gonum gives %v", df, x, got[i], want)
			}
		}
	}
}

// The closed moments of the truncated t distribution are those of its density, integrated by quadrature (gonum integrate/quad).
func TestTruncatedMoments(t *testing.T) {
	const scale = 0.4
	for _, df := range []float64{3, 8} {
		e := newErrorModel(df)
		d := distuv.StudentsT{Sigma: scale, Nu: df}
		for _, ends := range [][2]float64{{-0.5, 0.2}, {0.7, 1.9}, {-3, -1}, {-0.1, 8}} {
			weight := func(y float64) float64 { return (df + 1) / (df + y*y/scale/scale) } // E[w|y] of the scale mixture
			integral := func(f func(float64) float64) float64 {
				return quad.Fixed(func(y float64) float64 { return f(y) * d.Prob(y) }, ends[0], ends[1], 200, quad.Legendre{}, 0)
			}
			p := integral(func(float64) float64 { return 1 })
			w := integral(weight) / p / scale / scale
			wy := integral(func(y float64) float64 { return weight(y) * y }) / p / scale / scale
			s := e.within(ends[0], ends[1], scale)
			if math.Abs(s.lnLikelihood-math.Log(p)) > 1e-9 || math.Abs(s.emWeight-w) > 1e-8*w || math.Abs(s.slope-wy) > 1e-8*(1+math.Abs(wy)) {
				t.Errorf("df %v in %v: %+v, by quadrature ln p %v, weight %v, slope %v", df, ends, s, math.Log(p), w, wy)
			}
		}
	}
}
