package firing_test

import (
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/firing"
)

// Cone 6 with the last 100 °C at 60 °C/h, held for a quarter of an hour. The table has 1222 °C (cone_endpoints.csv); a
// hold of 15 to 30 minutes is worth about half a cone to one (common practice, no source).
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
	h, err := firing.NewHeatHistory(curve, firing.Atmosphere{Kind: firing.Oxidation}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("peak %.0f °C\n", h.PeakKelvin-273.15)
	fmt.Println("as a cone between 6.4 and 7:", h.EquivalentCone > 6.4 && h.EquivalentCone < 7)
	// Output:
	// peak 1222 °C
	// as a cone between 6.4 and 7: true
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
	h, err := firing.NewHeatHistory(curve, firing.Atmosphere{}, &firing.WitnessCone{ConeType: firing.SelfSupporting, Number: 6})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("reads cone %s; the curve was too hot: %v\n", firing.FormatConeNumber(h.EquivalentCone), h.WitnessShift < 0)
	// Output: reads cone 6; the curve was too hot: true
}

// Large cone 6 at a rate between two columns: 1220 °C at 60 °C/h and 1241 at 150 (cone_endpoints.csv), 0.641 of the way
// in the logarithm.
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

// At 1285 °C: in air log10 of 0.2095, in a flue gas with ten times as much CO2 as CO -7.89 (oxygen_fugacity_co2_co.csv,
// from thermodynamic tables).
func ExampleAtmosphere_Log10FO2() {
	for _, k := range []firing.AtmosphereKind{firing.Oxidation, firing.MediumReduction} {
		fmt.Printf("%s: %.1f\n", k, firing.Atmosphere{Kind: k}.Log10FO2(1285+273.15))
	}
	// Output:
	// oxidation: -0.7
	// medium reduction: -7.9
}
