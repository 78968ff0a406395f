package firing

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
)

// Activation energies and the hold that equals a ramp at 60 °C/h, against a table that testdata/published/compute works
// out by the same first-order Arrhenius reading of the published end points, rounded to 1 kJ/mol and 0.1 min.
func TestArrheniusReading(t *testing.T) {
	f, err := os.Open("../../testdata/published/cone_arrhenius.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	cones := loadCones()
	energies := activationEnergies(cones)
	byName := map[string]float64{}
	for i, name := range cones.names {
		byName[name] = energies[i]
	}
	for _, row := range rows[1:] {
		var want [5]float64
		for i := range want {
			if want[i], err = strconv.ParseFloat(row[i+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		k := cones.knots[row[0]][SelfSupporting]
		for i, got := range []float64{activationEnergy(k[0], k[1]), activationEnergy(k[1], k[2]), byName[row[0]]} {
			if math.Abs(got/1000-want[i]) > 0.51 {
				t.Errorf("cone %s: energy %d is %.1f kJ/mol, want %g", row[0], i, got/1000, want[i])
			}
		}
		// The table's e-fold R T²/E is the first term of the integral; the next is -2RT/E of it.
		hold := rampSeconds(byName[row[0]], k[1].kelvin, 60) / 60
		x := gasConstant * k[1].kelvin / byName[row[0]]
		if math.Abs(hold/(1-2*x)-want[4]) > 0.051+7*x*x*want[4] {
			t.Errorf("cone %s: a ramp at 60 °C/h equals a hold of %.2f min, want %g", row[0], hold/(1-2*x), want[4])
		}
	}
	if len(rows) != 36 {
		t.Errorf("%d cones in the table", len(rows)-1)
	}
}

// The Gauss rules that a cone is read from agree with the fine sum they are made of, for the steepest cone and for the
// flattest.
func TestReducedHeatWork(t *testing.T) {
	f := ConeFiring{Cone: "05.5", ConeType: SelfSupporting, FinalRampCPerH: 100, HoldMinutes: 20, DropC: 60, DropHoldMinutes: 45, CoolingCPerHour: 150}
	c, err := f.Curve()
	if err != nil {
		t.Fatal(err)
	}
	fine := dwell(c.points, c.PeakKelvin()-window)
	nodes := gaussRule(fine)
	for _, energy := range []float64{240e3, 700e3, 1540e3} {
		got, want := heatWork(nodes[:], 0, energy, c.PeakKelvin()), heatWork(fine, 0, energy, c.PeakKelvin())
		if math.Abs(got/want-1) > 1e-5 {
			t.Errorf("E = %g: relative error %.2g", energy, got/want-1)
		}
	}
}

// Fewer temperatures than nodes: what is left over has no time.
func TestReduceFewPoints(t *testing.T) {
	for n := range 4 {
		var fine []Node
		total := 0.0
		for i := range n {
			fine = append(fine, Node{1200 + 50*float64(i), float64(100 * (i + 1))})
			total += fine[i].Seconds
		}
		sum, mean := 0.0, 0.0
		for _, node := range gaussRule(fine) {
			sum += node.Seconds
			mean += node.Seconds * node.Kelvin
		}
		want := 0.0
		for _, f := range fine {
			want += f.Seconds * f.Kelvin
		}
		if math.Abs(sum-total) > 1e-6 || math.Abs(mean-want) > 1e-3 {
			t.Errorf("%d points: time %g, want %g; first moment %g, want %g", n, sum, total, mean, want)
		}
	}
}

// A firing to the published end point of the coolest or hottest cone reads that cone, and not "off the scale", although
// its heat work equals the cone's only to the last bits. A hundredth of a degree beyond either end is off the scale.
func TestEndsOfTheScale(t *testing.T) {
	for typ := range numConeTypes {
		scale := coneScales()[typ]
		reference := 60.0
		if typ == Small {
			reference = 300
		}
		for i, r := range map[int]scaleCone{-1: scale[0], 1: scale[len(scale)-1]} {
			f := ConeFiring{Cone: FormatConeNumber(r.number), ConeType: typ, FinalRampCPerH: reference, CoolingCPerHour: DefaultCoolingCPerHour}
			c, err := f.Curve()
			if err != nil {
				t.Fatal(err)
			}
			v := newConeView(c)
			for _, bits := range []float64{-1e-10, 0, 1e-10} {
				if got := v.coneNumber(typ, bits); math.Abs(got-r.number) > 1e-9 {
					t.Errorf("%s cone %s shifted by %g K reads %g", typ, f.Cone, bits, got)
				}
			}
			if got := v.coneNumber(typ, 0.01*float64(i)); !math.IsInf(got, i) {
				t.Errorf("%s cone %s shifted by %g K reads %g, want off the scale", typ, f.Cone, 0.01*float64(i), got)
			}
		}
	}
}
