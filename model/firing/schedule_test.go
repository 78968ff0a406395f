package firing_test

import (
	"testing"

	"github.com/catchline/catchline/model/firing"
)

// Corners by hand: cone 6 at 60 °C/h is 1222 °C; 300 °C of ramp take 5 h, 50 °C of cooling at 200 °C/h a quarter of an hour.
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

// A day's soak is all that counts: the reference is its temperature. A plain ramp's is about one e-fold below the peak.
func TestReferenceKelvin(t *testing.T) {
	_, soak := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, HoldMinutes: 1440, CoolingCPerHour: 200}, nil)
	near(t, "soak", soak.ReferenceKelvin, soak.PeakKelvin, 1)
	// 26.4 K by the first-order Arrhenius reading of cone 6; the next term takes 3 RT/E off.
	_, ramp := prepare(t, firing.ConeFiring{Cone: "6", ConeType: firing.SelfSupporting, FinalRampCPerH: 60, CoolingCPerHour: 200}, nil)
	near(t, "ramp", ramp.PeakKelvin-ramp.ReferenceKelvin, 26.4*(1-3*8.314*1495/705e3), 1)
}
