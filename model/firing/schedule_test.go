package firing_test

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/firing"
)

// Corners by hand: cone 6 at 60 °C/h is 1222 °C; 300 °C of ramp take 5 h, 50 °C of cooling at 200 °C/h a quarter of an
// hour.
func TestCornersOfAConeFiring(t *testing.T) {
	c, _ := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 10, DropC: 50, DropHoldMinutes: 30, CoolingCPerHour: 200}, nil)
	want := []struct{ minutes, celsius float64 }{{0, 922}, {300, 1222}, {310, 1222}, {325, 1172}, {355, 1172}, {430, 922}}
	wantCorners(t, c, want)
	// Above 1122 °C: 100 min up, 10 held, 15 to the drop, 30 there, 15 down.
	near(t, "minutes above 1122 °C", c.SecondsAbove(1122+273.15)/60, 170, 1e-9)
	near(t, "minutes at the drop or above", c.SecondsAbove(1171.999+273.15)/60, 50+10+15+30, 0.01)
}

func TestCornersOfASchedule(t *testing.T) {
	s := firing.Schedule{StartC: 20, CoolingCPerHour: 150, Segments: []firing.Segment{
		{RampCPerHour: 100, TargetC: 120, HoldMinutes: 60}, {RampCPerHour: 200, TargetC: 1120}, {RampCPerHour: 60, TargetC: 1220, HoldMinutes: 15}, {RampCPerHour: 300, TargetC: 1070, HoldMinutes: 45},
	}}
	c, err := s.Curve()
	if err != nil {
		t.Fatal(err)
	}
	wantCorners(t, c, []struct{ minutes, celsius float64 }{
		{0, 20}, {60, 120}, {120, 120}, {420, 1120}, {520, 1220}, {535, 1220}, {565, 1070}, {610, 1070}, {670, 920},
	})
}

func wantCorners(t *testing.T, c *firing.Curve, want []struct{ minutes, celsius float64 }) {
	t.Helper()
	points := c.Points()
	if len(points) != len(want) {
		t.Fatalf("%d corners, want %d: %v", len(points), len(want), points)
	}
	for i, w := range want {
		near(t, "minutes", points[i].Seconds/60, w.minutes, 1e-9)
		near(t, "°C", points[i].Kelvin-273.15, w.celsius, 1e-9)
	}
}

// The rate of cooling over the first 100 °C, by hand: 50 °C at 200 °C/h, half an hour's hold, and 50 °C more make an
// hour.
func TestCoolingRate(t *testing.T) {
	f := firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 10, CoolingCPerHour: 200}
	_, p := prepare(t, f, nil)
	near(t, "plain", p.CoolingKPerHour, 200, 1e-9)
	f.DropC, f.DropHoldMinutes = 50, 30
	_, p = prepare(t, f, nil)
	near(t, "with a drop hold", p.CoolingKPerHour, 100, 1e-9)
}

// Temperatures of cone numbers at 60 °C/h, by hand from the published table: 5 is 1186 °C, 5.5 is 1203, 6 is 1222, 06
// is 998, 022 is 586, 14 is 1365.
func TestConeKelvin(t *testing.T) {
	for cone, celsius := range map[float64]float64{6: 1222, 5.75: (1203 + 1222) / 2.0, 5.25: (1186 + 1203) / 2.0, -5: 998, -21: 586, 14: 1365} {
		k, err := firing.ConeKelvin(cone)
		if err != nil {
			t.Fatal(err)
		}
		near(t, firing.FormatConeNumber(cone), k-273.15, celsius, 1e-9)
	}
	for _, bad := range []float64{-21.01, 14.01, math.NaN()} {
		_, err := firing.ConeKelvin(bad)
		wantField(t, err, "cone", "cone 022 to cone 14")
	}
}

func TestShifted(t *testing.T) {
	_, p := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, CoolingCPerHour: 200}, nil)
	q := p.Shifted(-17, -1)
	near(t, "peak", q.PeakKelvin, p.PeakKelvin-17, 1e-12)
	near(t, "reference", q.ReferenceKelvin, p.ReferenceKelvin-17, 1e-12)
	near(t, "cone", q.EquivalentCone, p.EquivalentCone-1, 1e-12)
	for i := range q.Nodes {
		near(t, "node", q.Nodes[i].Kelvin, p.Nodes[i].Kelvin-17, 1e-12)
		near(t, "time", q.Nodes[i].Seconds, p.Nodes[i].Seconds, 0)
	}
}

// A thinned curve has no more points than asked, keeps its ends and its peak, and stays in order.
func TestThinned(t *testing.T) {
	for name, c := range firings(t) {
		all := c.Points()
		for _, n := range []int{3, 4, 7, 100, len(all) - 1, len(all), len(all) + 1} {
			if n < 3 {
				continue
			}
			got := c.Thinned(n)
			if len(got) > n || got[0] != all[0] || got[len(got)-1] != all[len(all)-1] {
				t.Fatalf("%s to %d: %d points from %v to %v", name, n, len(got), got[0], got[len(got)-1])
			}
			peak := 0.0
			for i, p := range got {
				peak = math.Max(peak, p.Kelvin)
				if i > 0 && !(p.Seconds > got[i-1].Seconds) {
					t.Errorf("%s to %d: point %d is at %g after %g", name, n, i, p.Seconds, got[i-1].Seconds)
				}
			}
			near(t, name+": peak", peak, c.PeakKelvin(), 0)
		}
	}
}

// A day's soak is all that counts: the reference is its temperature. A plain ramp's is about one e-fold below the peak.
func TestReferenceKelvin(t *testing.T) {
	_, soak := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 1440, CoolingCPerHour: 200}, nil)
	near(t, "soak", soak.ReferenceKelvin, soak.PeakKelvin, 1)
	// 26.4 K by the first-order Arrhenius reading of cone 6; the next term takes 3 RT/E off.
	_, ramp := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, CoolingCPerHour: 200}, nil)
	near(t, "ramp", ramp.PeakKelvin-ramp.ReferenceKelvin, 26.4*(1-3*8.314*1495/705e3), 1)
}
