package firing

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"github.com/catchline/catchline/model/internal/vector"
)

// Against adaptive quadrature of the schedule itself, by bisection of gonum's Gauss-Legendre rule until nothing
// changes, and against the plain sum over the nodes.
func TestFlowIsTheIntegral(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for _, fire := range []ConeFiring{
		{Cone: "6", ConeType: SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 15, CoolingCPerHour: DefaultCoolingCPerHour},
		{Cone: "04", ConeType: SelfSupporting, FinalRampCPerH: 150, CoolingCPerHour: 300},
		{Cone: "10", ConeType: SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 60, CoolingCPerHour: 60},
	} {
		c, err := fire.Curve()
		if err != nil {
			t.Fatal(err)
		}
		p, err := NewHeatHistory(c, Atmosphere{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		worst, worstSum := 0.0, 0.0
		for range 300 {
			tp := p.PeakKelvin
			cc := tp * (0.1 + 0.5*rng.Float64())
			a := -1.5 - 2*rng.Float64()
			b := (1.5 + 3*rng.Float64() - a) * (tp - cc) // 10^1.5 to 10^4.5 Pa·s at the peak
			eta := func(T float64) float64 { return math.Pow(10, -(a + b/(T-cc))) }
			got := p.Flow(&vector.VFT{A: a, B: b, C: cc, KneeLog: 12, Knee: cc + b/(12-a)})
			sum := 0.0
			for _, n := range p.Nodes {
				sum += n.Seconds * eta(n.Kelvin)
			}
			whole := 0.0
			for i := 1; i < len(c.points); i++ {
				from, to := c.points[i-1], c.points[i]
				if math.Max(from.Kelvin, to.Kelvin) < tp-window {
					continue
				}
				whole += adaptive(func(s float64) float64 {
					T := from.Kelvin + (to.Kelvin-from.Kelvin)*s
					if T < tp-window {
						return 0
					}
					return eta(T)
				}, 0, 1) * (to.Seconds - from.Seconds)
			}
			worst = math.Max(worst, math.Abs(got/whole-1))
			worstSum = math.Max(worstSum, math.Abs(got/sum-1))
		}
		t.Logf("cone %s: within %.1g of the integral, %.1g of the sum", fire.Cone, worst, worstSum)
		if worst > 1e-3 || worstSum > 1e-13 {
			t.Errorf("cone %s: off by %.2g from the integral, by %.2g from the sum", fire.Cone, worst, worstSum)
		}
	}
}

func adaptive(f func(float64) float64, a, b float64) float64 {
	m := (a + b) / 2
	whole := quad.Fixed(f, a, b, 12, nil, 0)
	halves := quad.Fixed(f, a, m, 12, nil, 0) + quad.Fixed(f, m, b, 12, nil, 0)
	if math.Abs(whole-halves) <= 1e-9*math.Abs(halves) || b-a < 1e-4 {
		return halves
	}
	return adaptive(f, a, m) + adaptive(f, m, b)
}
