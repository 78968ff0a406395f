package film

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Block of 0.5 mm and 50 mm, ρ = 2400, μ = 30, upright: kinematic waves, Huppert 1982 and Lister 1992 (from
// memory, early stage derived); the table gives the place of the front, which is L + run.
func TestRunFollowsPublishedBlock(t *testing.T) {
	const l, h0, drive = 50e-3, 0.5e-3, 2400 * Gravity / 30
	merge := published(t, "block: merge time", "")[0]
	within(t, "drive at the merge", h0*h0*drive*merge, 1.5*l, 1e-6)
	within(t, "front at the merge", l+Run(h0*h0*drive*merge, l), published(t, "block: front at t*", "")[0], 1e-6)
	for _, seconds := range []float64{100, 300, 382.39, 600, 1200, 3600} {
		want := published(t, "block: front", fmt.Sprintf("t=%.2f s", seconds))[0]
		within(t, fmt.Sprintf("front after %g s", seconds), l+Run(h0*h0*drive*seconds, l), want, 1e-5)
	}
}

// A long run grows as the cube root of time: Huppert 1982, Nature 300, 427-429, fig. 2 and eq. 6 (from memory).
func TestRunReachesHuppertExponent(t *testing.T) {
	const l = 50e-3
	exponent := math.Log((l+Run(2e3, l))/(l+Run(1e3, l))) / math.Ln2
	within(t, "exponent", exponent, 1./3, 1e-12)
}

func TestRunOfEndlessBandIsNusselt(t *testing.T) {
	// Mean speed of an even film, Nusselt 1916 (from memory).
	u := published(t, "Nusselt mean velocity", "")[0]
	within(t, "run in 100 s", Run(100*0.5e-3*0.5e-3*2400*Gravity/1000, math.Inf(1)), 100*u, 1e-6)
}

func TestDriveInvertsRun(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := math.Exp(rapid.Float64Range(math.Log(1e-3), math.Log(1)).Draw(t, "ln l"))
		x := math.Exp(rapid.Float64Range(-25, 8).Draw(t, "ln x"))
		s := Run(x, l)
		if back := Drive(s, l); !(math.Abs(back-x) <= 1e-11*x) {
			t.Fatalf("Drive(Run(%g, %g)) = %g", x, l, back)
		}
		if Run(x*(1+1e-9), l) < s {
			t.Fatalf("more drive than %g runs less on %g", x, l)
		}
		step := 1e-6
		slope := math.Log(Run(x*(1+step), l)/Run(x*(1-step), l)) / (2 * step)
		if e := RunElasticity(x, l); math.Abs(e-slope) > 1e-4 {
			t.Fatalf("elasticity %g, by differences %g", e, slope)
		}
	})
}

func TestRunIsSmoothWhereTheFanCatchesUp(t *testing.T) {
	const l = 60e-3
	within(t, "value", Run(1.5*l*(1+1e-12), l), Run(1.5*l, l), 1e-11)
	within(t, "elasticity", RunElasticity(1.5*l*(1+1e-12), l), 1, 1e-9)
}

func TestRunOutsideItsRangeIsNaN(t *testing.T) {
	for _, v := range [][2]float64{{-1, 1}, {1, 0}, {1, -1}, {math.NaN(), 1}, {1, math.NaN()}} {
		if !math.IsNaN(Run(v[0], v[1])) || !math.IsNaN(Drive(v[0], v[1])) || !math.IsNaN(RunElasticity(v[0], v[1])) {
			t.Errorf("%v gives a number", v)
		}
	}
}
