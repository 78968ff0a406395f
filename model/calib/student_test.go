package calib

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// Against gonum's incomplete beta function and its inverse, off the nodes.
func TestStudentByPolynomials(t *testing.T) {
	worst := func(name string, got, want, limit float64) {
		if e := math.Abs(got - want); !(e <= limit) {
			t.Errorf("%s: %g, want %g, off by %.2g", name, got, want, e)
		}
	}
	for _, df := range []float64{2.05, 2.5, 3, 3.7, 5, 9.3, 30, 77, 150, 1000, 2e4} {
		for _, p := range []float64{0.001, 0.0234, 0.1, 0.4, 0.5001, 0.77, 0.9, 0.95, 0.99, 0.999} {
			want := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(p)
			worst("quantile", quantile(df, p), want, 1e-6*math.Max(0.01, math.Abs(want)))
		}
		for _, z := range []float64{0.01, 0.3, 1.1, 2.7, 6.5, 20} {
			want := 0.5 * mathext.RegIncBeta(0.5*df, 0.5, df/(df+z*z))
			worst("tail", upperTail(df, z), want, 1e-6*math.Max(1e-6, want)+3e-5*want*math.Min(1, 1e-6/want))
			worst("both tails", upperTail(df, z)+upperTail(df, -z), 1, 1e-15)
		}
	}
	if q := quantile(math.Inf(1), 0.9); math.Abs(q-1.2815515655446) > 1e-12 { // Abramowitz & Stegun 1964, table 26.5, from memory
		t.Error("normal quantile", q)
	}
	// Tables of the t distribution in print (Abramowitz & Stegun 1964, table 26.10, from memory).
	for _, c := range []struct{ df, p, want float64 }{{3, 0.95, 2.353}, {4, 0.9, 1.533}, {10, 0.99, 2.764}, {30, 0.975, 2.042}} {
		if q := quantile(c.df, c.p); math.Abs(q-c.want) > 6e-4 {
			t.Errorf("t(%g, %g) = %g", c.df, c.p, q)
		}
	}
}

// More levels than are kept, each asked for twice at once and again.
func TestLevelsAreKeptApart(t *testing.T) {
	for range 2 {
		for i := 1; i < 1000; i++ {
			p := float64(i) / 1000
			if l, same := NewLevel(p), NewLevel(p); l.z != distuv.UnitNormal.Quantile(p) || l != same {
				t.Fatalf("level %v has the normal deviate %v, and %v when asked again", p, l.z, same.z)
			}
		}
	}
}

func BenchmarkStudent(b *testing.B) {
	b.Run("quantile", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += quantile(4.3, 0.9)
		}
	})
	b.Run("exact quantile", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += exactQuantile(4.3, 0.9)
		}
	})
	b.Run("tail", func(b *testing.B) {
		for b.Loop() {
			sinkFloat += upperTail(4.3, 1.7)
		}
	})
}

var sinkFloat float64
