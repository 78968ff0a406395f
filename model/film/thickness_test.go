package film

import (
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/catchline/catchline/model/fault"
)

// The ranges are common practice, no source (testdata/published/practice.csv).
func TestCoatsLieInTheUsualRanges(t *testing.T) {
	f, err := os.Open("../../testdata/published/practice.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	usual := map[string]string{}
	for _, row := range rows {
		usual[row[0]] = row[1]
	}
	for method, fact := range map[Method]string{Brush: "fired thickness per brushed coat", Dip: "fired thickness per dip", Spray: "sprayed coat, fired"} {
		var low, high float64
		if _, err := fmt.Sscanf(usual[fact], "%f-%f", &low, &high); err != nil {
			t.Fatalf("%s: %v", fact, err)
		}
		one, err := Coats(method, 1, 1)
		if err != nil || 1e3*one.Metres < low || 1e3*one.Metres > high {
			t.Errorf("%v: %v mm, usual %g to %g, %v", method, 1e3*one.Metres, low, high, err)
		}
		three, _ := Coats(method, 3, 0.8)
		within(t, method.String(), three.Metres, 2.4*one.Metres, 1e-12)
	}
}

func TestFromMass(t *testing.T) {
	// 0.12 g/cm² dry, a tenth of it lost, glass of 2.4 g/cm³: 0.12*0.9/2.4 = 0.045 cm, by hand.
	h, err := FromMass(1.2, 0.1, 2400)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "thickness", h.Metres, 0.45e-3, 1e-12)
}

func TestDriveSD(t *testing.T) {
	// Two equal layers of 20 %: 2 * 0.2/sqrt(2), by hand.
	within(t, "sd", DriveSD(2e-3, 2*0.2e-3*0.2e-3), 0.4/math.Sqrt2, 1e-12)
}

func TestThicknessRefuses(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, call := range map[string]func() (Thickness, error){
		"no coats":      func() (Thickness, error) { return Coats(Brush, 0, 1) },
		"minus coats":   func() (Thickness, error) { return Coats(Brush, -1, 1) },
		"21 coats":      func() (Thickness, error) { return Coats(Brush, 21, 1) },
		"NaN coats":     func() (Thickness, error) { return Coats(Brush, nan, 1) },
		"no hand":       func() (Thickness, error) { return Coats(Brush, 1, 0) },
		"method":        func() (Thickness, error) { return Coats(9, 1, 1) },
		"20 thick dips": func() (Thickness, error) { return Coats(Dip, 20, 5) },
		"no mass":       func() (Thickness, error) { return FromMass(0, 0, 2400) },
		"all LOI":       func() (Thickness, error) { return FromMass(1, 1, 2400) },
		"density":       func() (Thickness, error) { return FromMass(1, 0, 2.4) },
		"stated zero":   func() (Thickness, error) { return Stated(0) },
		"stated inf":    func() (Thickness, error) { return Stated(inf) },
	} {
		h, err := call()
		var field *fault.Error
		if !errors.As(err, &field) || field.Field == "" || field.Limit == "" {
			t.Errorf("%s: %v, %v", name, h, err)
		}
	}
}
