package firing_test

import (
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/firing"
)

// Cone 6 with the last 100 °C at 60 °C/h, held for a quarter of an hour.
func ExampleConeFiring() {
	f := firing.ConeFiring{
		Cone:            "6",
		ConeType:        firing.SelfSupporting,
		FinalRampCPerH:  60,
		HoldMinutes:     15,
		CoolingCPerHour: firing.DefaultCoolingCPerHour,
	}
	curve, err := f.Curve()
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := firing.NewHeatHistory(curve, firing.Atmosphere{Kind: firing.Oxidation}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("peak %.0f °C, as cone %s\n", p.PeakKelvin-273.15, firing.FormatConeNumber(p.EquivalentCone))
	// Output: peak 1222 °C, as cone 6.7
}

// The same kiln's controller was told a schedule, and the witness cone read less than it promised.
func ExampleNewHeatHistory_witnessCone() {
	s := firing.Schedule{
		StartC: 20,
		Segments: []firing.Segment{
			{RampCPerHour: 150, TargetC: 1120},
			{RampCPerHour: 60, TargetC: 1222, HoldMinutes: 15},
		},
		CoolingCPerHour: firing.DefaultCoolingCPerHour,
	}
	curve, err := s.Curve()
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := firing.NewHeatHistory(curve, firing.Atmosphere{}, &firing.WitnessCone{ConeType: firing.SelfSupporting, Number: 6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("corrected by %.0f °C\n", p.WitnessShift)
	// Output: corrected by -12 °C
}

// The chart's cone 6 at a rate between two columns.
func ExampleConeEndpoint() {
	kelvin, extrapolated, err := firing.ConeEndpoint("6", firing.Large, 108)
	fmt.Printf("%.0f °C, extrapolated: %v, error: %v\n", kelvin-273.15, extrapolated, err)
	// Output: 1233 °C, extrapolated: false, error: <nil>
}

func ExampleParseLog() {
	_, err := firing.ParseLog(strings.NewReader("minutes,temperature_c\n0,20\n30,180\n60,n/a\n55,300\n20,310\n"))
	fmt.Println(err)
	// Output:
	// log line 4 temperature_c is "n/a"; allowed: a number from -50 to 1450
	// log line 6 minutes is 20; allowed: more than the reading before, 55
}

func ExampleAtmosphere_Log10FO2() {
	for _, k := range []firing.AtmosphereKind{firing.Oxidation, firing.MediumReduction} {
		fmt.Printf("%s: %.1f\n", k, firing.Atmosphere{Kind: k}.Log10FO2(1285+273.15))
	}
	// Output:
	// oxidation: -0.7
	// medium reduction: -7.9
}
