package firing_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/firing"
)

// vft is a melt's viscosity: log10 η = A + B/(T - C).
type vft struct{ a, b, c float64 }

func (v vft) fluidity(kelvin float64) float64 {
	return math.Pow(10, -(v.a + v.b/(kelvin-v.c)))
}

// exact integrates f over the time of a curve above floor: Gauss-Legendre of gonum on each of many parts of every
// straight piece.
func exact(points []firing.Point, floor float64, f func(float64) float64) float64 {
	sum := 0.0
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if math.Max(a.Kelvin, b.Kelvin) <= floor {
			continue
		}
		if a.Kelvin == b.Kelvin {
			sum += f(a.Kelvin) * (b.Seconds - a.Seconds)
			continue
		}
		slope := (b.Seconds - a.Seconds) / math.Abs(b.Kelvin-a.Kelvin)
		low, high := math.Max(math.Min(a.Kelvin, b.Kelvin), floor), math.Max(a.Kelvin, b.Kelvin)
		parts := int(math.Ceil((high - low) / 50))
		for k := range parts {
			from := low + (high-low)*float64(k)/float64(parts)
			to := low + (high-low)*float64(k+1)/float64(parts)
			sum += slope * quad.Fixed(f, from, to, 12, quad.Legendre{}, 0)
		}
	}
	return sum
}

func nodesSum(p *firing.HeatHistory, f func(float64) float64) float64 {
	sum := 0.0
	for _, n := range p.Nodes {
		sum += n.Seconds * f(n.Kelvin)
	}
	return sum
}

// glazes spans realistic melts, from steep and stiff to flat and fluid.
var glazes = func() (all []vft) {
	for _, a := range []float64{-3, -2.5, -2} {
		for _, b := range []float64{3000, 4500, 6000, 7000} {
			for _, c := range []float64{400, 550, 700, 800} {
				all = append(all, vft{a, b, c})
			}
		}
	}
	return all
}()

// firings are of every shape that a kiln does.
func firings(t rapid.TB) map[string]*firing.Curve {
	all := map[string]*firing.Curve{}
	add := func(name string, c *firing.Curve, err error) {
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		all[name] = c
	}
	cone := func(name, cone string, ramp, hold, drop, dropHold, cooling float64) {
		f := firing.ConeFiring{Cone: cone, ConeType: firing.SelfSupporting, FinalRampCPerH: ramp, HoldMinutes: hold,
			DropC: drop, DropHoldMinutes: dropHold, CoolingCPerHour: cooling}
		c, err := f.Curve()
		add(name, c, err)
	}
	cone("cone 6", "6", 60, 0, 0, 0, 200)
	cone("cone 6 with a hold", "6", 60, 15, 0, 0, 200)
	cone("cone 6 with a drop hold", "6", 110, 10, 50, 30, 300)
	cone("cone 10 with a deep and long drop hold", "10", 60, 10, 150, 240, 200)
	cone("cone 06, slow", "06", 15, 60, 0, 0, 30)
	cone("cone 5.5, fast, crash cooled", "5.5", 300, 0, 0, 0, 2000)
	cone("cone 9 soaked for a day", "9", 60, 1440, 0, 0, 50)

	schedule := firing.Schedule{StartC: 20, CoolingCPerHour: 150, Segments: []firing.Segment{
		{RampCPerHour: 100, TargetC: 600, HoldMinutes: 30}, {RampCPerHour: 250, TargetC: 1100}, {RampCPerHour: 60, TargetC: 1215, HoldMinutes: 20},
		{RampCPerHour: 400, TargetC: 1040, HoldMinutes: 60}, {RampCPerHour: 60, TargetC: 980, HoldMinutes: 120}, {RampCPerHour: 80, TargetC: 1060, HoldMinutes: 60},
	}}
	c, err := schedule.Curve()
	add("crystalline schedule", c, err)

	// A log every two minutes with 2 K of noise, as a thermocouple in a gas kiln gives.
	rng := rand.New(rand.NewPCG(1, 2))
	var log []firing.Point
	for m := 0.0; m <= 900; m += 2 {
		celsius := 20 + math.Min(m*2.2, 1200) + 60*math.Min(math.Max((m-545)/90, 0), 1)
		if m > 660 {
			celsius -= (m - 660) * 2.5
		}
		log = append(log, firing.Point{Seconds: m * 60, Kelvin: 273.15 + celsius + 2*rng.NormFloat64()})
	}
	c, err = firing.LogCurve(log, 200)
	add("noisy log", c, err)

	// A log written by hand once an hour.
	var hourly []firing.Point
	for i, celsius := range []float64{20, 150, 320, 480, 640, 800, 930, 1050, 1150, 1220, 1240, 1150} {
		hourly = append(hourly, firing.Point{Seconds: float64(i) * 3600, Kelvin: 273.15 + celsius})
	}
	c, err = firing.LogCurve(hourly, 200)
	add("hourly log", c, err)
	return all
}

// The sixteen nodes integrate the fluidity of every glaze over every firing within 1e-3 of quadrature by gonum;
// what is measured is far less.
func TestNodesIntegrateFluidity(t *testing.T) {
	worst, where := 0.0, ""
	for name, c := range firings(t) {
		p, err := firing.NewHeatHistory(c, firing.Atmosphere{}, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for _, g := range glazes {
			want := exact(c.Points(), c.PeakKelvin()-300, g.fluidity)
			e := math.Abs(nodesSum(p, g.fluidity)/want - 1)
			if !(e < 1e-3) {
				t.Errorf("%s, %+v: relative error %.2g", name, g, e)
			}
			if e > worst {
				worst, where = e, fmt.Sprintf("%s, %+v", name, g)
			}
		}
	}
	t.Logf("largest relative error %.1e: %s", worst, where)
}

// Nodes lie in the window, in rising order, with no negative time, and hold all of the time in it.
func TestNodesAreAMeasure(t *testing.T) {
	for name, c := range firings(t) {
		p, err := firing.NewHeatHistory(c, firing.Atmosphere{}, nil)
		if err != nil {
			t.Fatal(err)
		}
		total := 0.0
		for i, n := range p.Nodes {
			if n.Seconds < 0 || n.Kelvin > p.PeakKelvin || n.Kelvin < p.PeakKelvin-300-1e-9 || i > 0 && n.Kelvin < p.Nodes[i-1].Kelvin {
				t.Errorf("%s: node %d is %+v", name, i, n)
			}
			total += n.Seconds
		}
		near(t, name+": time above the floor", total/c.SecondsAbove(c.PeakKelvin()-300), 1, 1e-3)
	}
}

// drawCone draws a firing by its cone.
func drawCone(t *rapid.T) firing.ConeFiring {
	cones := firing.Cones()
	f := firing.ConeFiring{
		// The hottest few could go beyond the scale with a hold.
		Cone:            cones[rapid.IntRange(8, len(cones)-6).Draw(t, "cone")],
		ConeType:        firing.SelfSupporting,
		FinalRampCPerH:  rapid.Float64Range(15, 200).Draw(t, "ramp"),
		HoldMinutes:     rapid.Float64Range(0, 60).Draw(t, "hold"),
		CoolingCPerHour: rapid.Float64Range(20, 1000).Draw(t, "cooling"),
	}
	if rapid.Bool().Draw(t, "drops") {
		f.DropC = rapid.Float64Range(1, 200).Draw(t, "drop")
		f.DropHoldMinutes = rapid.Float64Range(0, 120).Draw(t, "drop hold")
	}
	return f
}

func prepare(t rapid.TB, f firing.ConeFiring, w *firing.WitnessCone) (*firing.Curve, *firing.HeatHistory) {
	t.Helper()
	c, err := f.Curve()
	if err != nil {
		t.Fatal(err)
	}
	p, err := firing.NewHeatHistory(c, firing.Atmosphere{}, w)
	if err != nil {
		t.Fatal(err)
	}
	return c, p
}

func TestNodesIntegrateAnyFiring(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, p := prepare(t, drawCone(t), nil)
		g := vft{rapid.Float64Range(-3, -2).Draw(t, "A"), rapid.Float64Range(3000, 7000).Draw(t, "B"), rapid.Float64Range(400, 800).Draw(t, "C")}
		// Below 20 K above its pole a formula is no melt.
		if p.PeakKelvin-300 < g.c+20 {
			t.Skip()
		}
		want := exact(c.Points(), c.PeakKelvin()-300, g.fluidity)
		if e := math.Abs(nodesSum(p, g.fluidity)/want - 1); !(e < 1e-3) {
			t.Errorf("relative error %.2g", e)
		}
	})
}
