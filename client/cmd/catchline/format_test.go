package main

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// aScore is a made-up score: only its form is looked at.
var aScore = &pb.Score{
	MedianRunMm: 14.24, RunP10Mm: 8.06, RunP90Mm: 25.4, ExceedProbability: 0.0861, ClearanceMm: 30, ClearanceNeededMm: 127, ToleratedRisk: 0.05,
	Risk:        pb.Risk_RISK_MODERATE,
	Drivers:     []*pb.Driver{{Kind: pb.Driver_KIND_THICKNESS, RunMm: 9, Sentence: "Being thick adds 9.0 mm."}},
	SoloRuns:    []*pb.SoloRun{{Glaze: "studios/s/glazes/a", MedianRunMm: 5, RunP10Mm: 3, RunP90Mm: 8}},
	Evidence:    &pb.Evidence{Tiles: 12, EffectiveTiles: 3.26, MovedMost: []*pb.EvidenceTile{{Tile: "studios/s/tiles/t1", Weight: 0.4, Sentence: "It ran 5 mm."}}},
	Flags:       []*pb.Flag{{Code: "thick_layer", Sentence: "It is thick."}},
	Cautions:    []*pb.Caution{{Code: "shelf", Text: "Mind the shelf."}},
	Calibration: "studios/s/calibrations/3",
	Foot: &pb.FootAndShelf{
		Cookie: pb.CookieKind_COOKIE_KIND_PLAIN, CookieDiameterMm: 120, CookieThicknessMm: 8, Reason: "A cookie is cheaper than a shelf.",
	},
}

const aScoreInMM = `2 × a, then 300 µm b

Run       14.2 mm   80 % of the time 8.1 to 25.4 mm
Risk      moderate   9 % to run further than the clearance of 30 mm
Leave     127 mm   of bare wall for a risk of 5 %
Cookie    plain, 120 mm across, 8 mm thick
          A cookie is cheaper than a shelf.

What drives it
  Being thick adds 9.0 mm.

Each alone, as thick as all together
  a: 5.0 mm (3.0 to 8.0 mm)

Evidence
  Calibration 3 of 12 tiles; 3.3 tiles' worth stands behind this very score.
   40 %  t1  It ran 5 mm.

Less sure than it looks
  It is thick.

Take care
  Mind the shelf.
`

var aLayering = &pb.Layering{Layers: []*pb.Layer{
	{Glaze: "studios/s/glazes/a"}, {Glaze: "studios/s/glazes/b", Amount: &pb.Layer_ThicknessUm{ThicknessUm: 300}},
}}

func TestScoreForPeople(t *testing.T) {
	var b bytes.Buffer
	if err := sayScore(&b, millimetres, layers(aLayering), aScore); err != nil {
		t.Fatal(err)
	}
	if b.String() != aScoreInMM {
		t.Errorf("got\n%s\nwant\n%s", b.String(), aScoreInMM)
	}
	b.Reset()
	if err := sayScore(&b, inches, layers(aLayering), aScore); err != nil {
		t.Fatal(err)
	}
	// 25.4 mm are an inch.
	if want := "Run       0.56 in   80 % of the time 0.32 to 1.00 in\n"; !strings.Contains(b.String(), want) {
		t.Errorf("got\n%s\nwithout\n%s", b.String(), want)
	}
}

func TestScoreAsCSV(t *testing.T) {
	var b bytes.Buffer
	if err := scoreTable(millimetres, aScore).write(&b, "csv", millimetres); err != nil {
		t.Fatal(err)
	}
	const want = `median_run_mm,run_p10_mm,run_p90_mm,exceed_probability,clearance_mm,clearance_needed_mm,tolerated_risk,risk,cookie,cookie_diameter_mm,calibration
14.24,8.06,25.4,0.0861,30,127,0.05,moderate,plain,120,3
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

func TestTableForPeople(t *testing.T) {
	tab := &table{head: []string{"glaze", "median_run_mm", "too_far"}}
	tab.add("a", mm(5), percent(0.004))
	tab.add("longer", mm(112.6), percent(0.31))
	var b bytes.Buffer
	if err := tab.write(&b, "table", millimetres); err != nil {
		t.Fatal(err)
	}
	const want = "" +
		"glaze   median run mm  too far\n" +
		"a                 5.0     <1 %\n" +
		"longer            113     31 %\n"
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}

func TestPercentIsNeverCertain(t *testing.T) {
	for p, want := range map[float64]string{0: "0 %", 1e-9: "<1 %", 0.0099: "<1 %", 0.05: "5 %", 0.994: ">99 %", 0.9999: ">99 %", 1: "100 %"} {
		if got := sayPercent(p); got != want {
			t.Errorf("%v is %q, want %q", p, got, want)
		}
	}
}

func TestLengths(t *testing.T) {
	for _, c := range []struct {
		text string
		unit units
		want float64 // mm; NaN: a fault
	}{
		{"30", millimetres, 30},
		{"30mm", inches, 30},
		{"30 mm", inches, 30},
		{"1", inches, 25.4},
		{"1.25in", millimetres, 31.75},
		{"-3", millimetres, -3}, // the service says what is allowed
		{"", millimetres, math.NaN()},
		{"mm", millimetres, math.NaN()},
		{"NaN", millimetres, math.NaN()},
		{"1e999", millimetres, math.NaN()},
		{"3 feet", millimetres, math.NaN()},
	} {
		got, err := (&length{c.text}).mm("--band", c.unit)
		if math.IsNaN(c.want) {
			if err == nil || !strings.Contains(err.Error(), "--band") {
				t.Errorf("%q: %v, want an error that names the flag", c.text, err)
			}
			continue
		}
		if err != nil || got != c.want {
			t.Errorf("%q in %s: %v, %v, want %v", c.text, c.unit, got, err, c.want)
		}
	}
}

// An inch is 25.4 mm by definition.
func TestSentencesInInches(t *testing.T) {
	for mm, in := range map[string]string{
		"A cookie of 127 mm, 12.7 mm thick, for 3 coats.":    "A cookie of 5.00 in, 0.50 in thick, for 3 coats.",
		"It ran 12.7 to 25.4 mm.":                            "It ran 0.50 to 1.00 in.",
		"80 % between 2.54 and 5.08 mm more, at cone 6.":     "80 % between 0.10 and 0.20 in more, at cone 6.",
		"5 mm² and 7 mm³ are none, and neither are 12 tiles": "5 mm² and 7 mm³ are none, and neither are 12 tiles",
	} {
		if got := inches.Sentence(mm); got != in {
			t.Errorf("%q, want %q", got, in)
		}
		if got := millimetres.Sentence(mm); got != mm {
			t.Errorf("in mm: %q, want %q", got, mm)
		}
	}
}

func TestLengthsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(0, 2000).Draw(t, "mm")
		for _, u := range []units{millimetres, inches} {
			back, err := (&length{exact(mm(x), u)}).mm("x", u)
			if err != nil || math.Abs(back-x) > 1e-12*x {
				t.Fatalf("%v mm in %s came back as %v, %v", x, u, back, err)
			}
		}
	})
}

func TestRowsOfASheet(t *testing.T) {
	choices := []*pb.Layer{{Glaze: "studios/s/glazes/a"}, {Glaze: "studios/s/glazes/b", Lot: "studios/s/glazes/b/lots/one", Amount: &pb.Layer_Coats{Coats: 3}}}
	plan := &pb.SheetPlan{
		Positions: []*pb.SheetPosition{{Choices: choices}, {Choices: choices[:1]}},
		Firings:   []string{"studios/s/firings/x", "studios/s/firings/y"},
	}
	// Made up; two chunks, so that a row does not rest on where a chunk begins.
	chunks := []*pb.ScoreSheetResponse{
		{Total: 4, MedianRunMm: []float32{1, 2, 3}, RunP10Mm: []float32{0, 1, 2}, RunP90Mm: []float32{2, 3, 4}, ExceedProbability: []float32{0, 0.1, 0.3},
			ClearanceNeededMm: []float32{5, 6, 7}, Risk: []pb.Risk{1, 2, 3}, Calibration: "studios/s/calibrations/1",
			Flags: []*pb.SheetFlag{
				{Code: "no_tiles", Sentence: "No tile."},
				{Code: "outside_cone_range", Sentence: "A is made for cone 6.", Glazes: []string{"studios/s/glazes/a"}, Firing: "studios/s/firings/y"},
			},
			Cautions: []*pb.Caution{{Code: "shelf", Text: "Mind the shelf."}}},
		{Total: 4, FirstIndex: 3, MedianRunMm: []float32{25.4}, RunP10Mm: []float32{3}, RunP90Mm: []float32{5}, ExceedProbability: []float32{1}, ClearanceNeededMm: []float32{8}, Risk: []pb.Risk{4}},
	}
	for format, want := range map[string]string{
		"csv": `firing,layer1,layer1_amount,layer2,layer2_amount,median_run_mm,run_p10_mm,run_p90_mm,exceed_probability,clearance_needed_mm,risk
x,a,2,a,2,1,0,2,0,5,low
x,b/one,3,a,2,2,1,3,0.1,6,moderate
y,a,2,a,2,3,2,4,0.3,7,high
y,b/one,3,a,2,25.4,3,5,1,8,severe
`,
		"table": `x: median run in mm and risk; down: under, along: over

                    a
a             1.0 low
b/one:3  2.0 moderate

y: median run in mm and risk; down: under, along: over

                   a
a           3.0 high
b/one:3  25.4 severe

Less sure than it looks
  No tile.
  y: A is made for cone 6.

Take care
  Mind the shelf.
`,
		"json": `{"total":4,"calibration":"studios/s/calibrations/1","flags":[{"code":"no_tiles","sentence":"No tile."},{"code":"outside_cone_range","sentence":"A is made for cone 6.","glazes":["studios/s/glazes/a"],"firing":"studios/s/firings/y"}],"cautions":[{"code":"shelf","text":"Mind the shelf."}],
"scores": [
{"firing":"studios/s/firings/x","layers":["studios/s/glazes/a","studios/s/glazes/a"],"amounts":["2","2"],"medianRunMm":1,"runP10Mm":0,"runP90Mm":2,"exceedProbability":0,"clearanceNeededMm":5,"risk":"RISK_LOW"},
{"firing":"studios/s/firings/x","layers":["studios/s/glazes/b/lots/one","studios/s/glazes/a"],"amounts":["3","2"],"medianRunMm":2,"runP10Mm":1,"runP90Mm":3,"exceedProbability":0.1,"clearanceNeededMm":6,"risk":"RISK_MODERATE"},
{"firing":"studios/s/firings/y","layers":["studios/s/glazes/a","studios/s/glazes/a"],"amounts":["2","2"],"medianRunMm":3,"runP10Mm":2,"runP90Mm":4,"exceedProbability":0.3,"clearanceNeededMm":7,"risk":"RISK_HIGH"},
{"firing":"studios/s/firings/y","layers":["studios/s/glazes/b/lots/one","studios/s/glazes/a"],"amounts":["3","2"],"medianRunMm":25.4,"runP10Mm":3,"runP90Mm":5,"exceedProbability":1,"clearanceNeededMm":8,"risk":"RISK_SEVERE"}
]}
`,
	} {
		if got := sheetText(t, format, plan, chunks); got != want {
			t.Errorf("%s: got\n%s\nwant\n%s", format, got, want)
		}
	}
	plan.Positions = plan.Positions[:1]
	const list = `firing  layer 1    run mm               80 %  too far  leave mm  risk
x       a             1.0      0.0 to    2.0      0 %       5.0  low
x       b/one:3       2.0      1.0 to    3.0     10 %       6.0  moderate
y       a             3.0      2.0 to    4.0     30 %       7.0  high
y       b/one:3      25.4      3.0 to    5.0    100 %       8.0  severe

Less sure than it looks
  No tile.
  y: A is made for cone 6.

Take care
  Mind the shelf.
`
	if got := sheetText(t, "table", plan, chunks); got != list {
		t.Errorf("list: got\n%s\nwant\n%s", got, list)
	}
}

// Spreadsheets run cells that start so (OWASP, "CSV Injection"; the wide forms and the bar are common practice, no source).
func TestNoCellOfATableIsAFormula(t *testing.T) {
	for text, want := range map[string]string{
		"=1+1": "'=1+1", " =1": "' =1", "＝1": "'＝1", "|calc": "'|calc", "@x": "'@x", "-2": "'-2", "\tx": "'\tx",
		"": "", "Tarn = clear": "Tarn = clear", "a|b": "a|b",
	} {
		if got := exact(text, "mm"); got != want {
			t.Errorf("%q is written as %q, want %q", text, got, want)
		}
	}
	if got := exact(-2.5, "mm"); got != "-2.5" {
		t.Errorf("a number is written as %q", got)
	}
}
