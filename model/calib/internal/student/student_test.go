package student

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Against gonum's incomplete beta function and its inverse, off the nodes.
func TestQuantilesAndTails(t *testing.T) {
	worst := func(name string, got, want, limit float64) {
		if e := math.Abs(got - want); !(e <= limit) {
			t.Errorf("%s: %g, want %g, off by %.2g", name, got, want, e)
		}
	}
	for _, df := range []float64{2.05, 2.5, 3, 3.7, 5, 9.3, 30, 77, 150, 1000, 2e4} {
		for _, p := range []float64{0.001, 0.0234, 0.1, 0.4, 0.5001, 0.77, 0.9, 0.95, 0.99, 0.999} {
			want := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
			worst("quantile", Quantile(df, p), want, 1e-6*math.Max(0.01, math.Abs(want)))
		}
		for _, z := range []float64{0.01, 0.3, 1.1, 2.7, 6.5, 20} {
			want := 0.5 * mathext.RegIncBeta(0.5*df, 0.5, df/(df+z*z))
			worst("tail", UpperTail(df, z), want, 1e-6*math.Max(1e-6, want)+3e-5*want*math.Min(1, 1e-6/want))
			worst("both tails", UpperTail(df, z)+UpperTail(df, -z), 1, 1e-15)
		}
	}
	if q := Quantile(math.Inf(1), 0.9); math.Abs(q-1.2815515655446) > 1e-12 { // Abramowitz & Stegun 1964, table 26.5, from memory
		t.Error("normal quantile", q)
	}
	// Tables of the t distribution in print (Abramowitz & Stegun 1964, table 26.10, from memory).
	for _, c := range []struct{ df, p, want float64 }{{3, 0.95, 2.353}, {4, 0.9, 1.533}, {10, 0.99, 2.764}, {30, 0.975, 2.042}} {
		if q := Quantile(c.df, c.p); math.Abs(q-c.want) > 6e-4 {
			t.Errorf("t(%g, %g) = %g", c.df, c.p, q)
		}
	}
}

// More probabilities than are kept, each asked for twice at once and again.
func TestDeviatesAreKeptApart(t *testing.T) {
	for range 2 {
		for i := 1; i < 1000; i++ {
			p := float64(i) / 1000
			if d, same := deviateOf(p), deviateOf(p); d.z != distuv.UnitNormal.Quantile(p) || d != same {
				t.Fatalf("probability %v has the normal deviate %v, and %v when asked again", p, d.z, same.z)
			}
		}
	}
}

func BenchmarkT(b *testing.B) {
	b.Run("quantile", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += Quantile(4.3, 0.9)
		}
	})
	b.Run("exact quantile", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += exactQuantile(4.3, 0.9)
		}
	})
	b.Run("tail", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += UpperTail(4.3, 1.7)
		}
	})
}

var sinkFloat float64

// The one t distribution that stands for a normal plus a t error has their 80 % and 95 % intervals, by quadrature of
// the convolution.
func TestConvolutionHasTheIntervalsOfTheSum(t *testing.T) {
	for _, df := range []float64{3, 4, 10, 30, 300} {
		c := NewConvolution(df)
		errors := distuv.StudentsT{Sigma: 1, Nu: df}
		for _, V := range []float64{0, 0.003, 0.1, 1, 7, 300} {
			scale, joint := c.Of(V, 1)
			for p, tolerance := range map[float64]float64{0.9: 5e-4, 0.975: 1e-3} {
				q := scale * Quantile(joint, p)
				below := errors.CDF(q)
				if V > 0 {
					// P(N + T < q) = ∫ φ(z) F(q - z√V) dz
					below = quad.Fixed(func(z float64) float64 {
						return distuv.UnitNormal.Prob(z) * errors.CDF(q-z*math.Sqrt(V))
					}, -8, 8, 400, quad.Legendre{}, 0)
				}
				if math.Abs(below-p) > tolerance {
					t.Errorf("df %v, variance %v: %v lies below where %v should", df, V, below, p)
				}
			}
		}
	}
}

// The finite series of whole degrees of freedom against gonum's incomplete beta function.
func TestTailOfWholeDegreesOfFreedom(t *testing.T) {
	for ν := 1; ν <= maxWhole; ν++ {
		s := New(float64(ν))
		for z := -12.0; z < 0; z += 0.37 {
			want := 0.5 * mathext.RegIncBeta(0.5*s.df, 0.5, s.df/(s.df+z*z))
			if got := s.CDF(z); math.Abs(got-want) > 1e-10*want {
				t.Errorf("%d degrees of freedom, tail beyond %g: %g, want %g", ν, z, got, want)
			}
		}
	}
}
