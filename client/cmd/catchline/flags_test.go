package main

import (
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// parsed gives the command line of arguments, without running it.
func parsed(t *testing.T, args ...string) *app {
	t.Helper()
	var c commandLine
	parser, err := kong.New(&c, kong.Vars{"choice_columns": ""})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := parser.Parse(args); err != nil {
		t.Fatal(err)
	}
	return &app{Context: t.Context(), commandLine: &c}
}

// What flags say is what is asked, field by field. The requests are written by hand.
func TestFlagsBecomeTheRequest(t *testing.T) {
	for args, want := range map[string]string{
		"score --studio=s --layer=a --layer=b/l:1.5 --layer=a:450um --lot=a/m --method=spray --body=clay --firing=f --kiln=k --tester=t --tolerate=0.1 --calibration=3": `{
			"parent": "studios/s", "firing": "studios/s/firings/f", "kiln": "k", "tester": "t", "toleratedRisk": 0.1, "calibration": "studios/s/calibrations/3",
			"layering": {"body": "studios/s/bodies/clay", "layers": [
				{"glaze": "studios/s/glazes/a", "lot": "studios/s/glazes/a/lots/m", "method": "APPLICATION_METHOD_SPRAY"},
				{"glaze": "studios/s/glazes/b", "lot": "studios/s/glazes/b/lots/l", "coats": 1.5, "method": "APPLICATION_METHOD_SPRAY"},
				{"glaze": "studios/s/glazes/a", "lot": "studios/s/glazes/a/lots/m", "thicknessUm": 450, "method": "APPLICATION_METHOD_SPRAY"}]}}`,
		"score --studio=s --layer=a:0.08g --cone=06 --ramp=100 --hold=10 --drop=80 --drop-hold=20 --cooling=150 --atmosphere=light-reduction --witness=5.5 --ware=w --band=2in --clearance=30": `{
			"parent": "studios/s",
			"layering": {"layers": [{"glaze": "studios/s/glazes/a", "dryMassGPerCm2": 0.08}]},
			"firingPlan": {"cone": {"cone": "06", "finalRampCPerH": 100, "holdMin": 10, "dropC": 80, "dropHoldMin": 20}, "coolingCPerH": 150,
				"atmosphere": {"kind": "ATMOSPHERE_KIND_LIGHT_REDUCTION"}, "witnessCone": {"cone": "5.5"}},
			"placement": {"ware": "studios/s/wares/w", "bandHeightMm": 50.8, "clearanceMm": 30}}`,
		"score --studio=studios/s --layer=studios/x/glazes/a --firing=studios/x/firings/f --angle=60 --units=in --clearance=1": `{
			"parent": "studios/s", "layering": {"layers": [{"glaze": "studios/x/glazes/a"}]}, "firing": "studios/x/firings/f",
			"placement": {"angleDeg": 60, "clearanceMm": 25.4}}`,
	} {
		a := parsed(t, strings.Fields(args)...)
		got, err := a.Score.request(a)
		if err != nil {
			t.Fatalf("%s: %v", args, err)
		}
		message := &pb.ScoreLayeringRequest{}
		if err := protojson.Unmarshal([]byte(want), message); err != nil {
			t.Fatal(err)
		}
		if !proto.Equal(got, message) {
			t.Errorf("%s: got\n%v\nwant\n%v", args, got, message)
		}
	}
}

func TestFlagsBecomeTheTile(t *testing.T) {
	a := parsed(t, "tile", "log", "--studio=s", "--layer=a:2", "--firing=f", "--witness=6.3", "--run=12", "--mean-front=10", "--reading-error=0.5", "--tester=t", "--kiln=k",
		"--date=2026-05-01", "--notes=n", "--photo=https://studio.example/1.jpg", "--set-aside")
	got, err := a.Tile.Log.tile(a)
	if err != nil {
		t.Fatal(err)
	}
	want := &pb.Tile{}
	if err := protojson.Unmarshal([]byte(`{
		"layering": {"layers": [{"glaze": "studios/s/glazes/a", "coats": 2}]}, "firing": "studios/s/firings/f", "witnessCone": {"cone": "6.3"},
		"runMm": 12, "meanFrontMm": 10, "readingErrorMm": 0.5, "tester": "t", "kiln": "k", "fireDate": "2026-05-01", "notes": "n",
		"photoUri": "https://studio.example/1.jpg", "setAside": true}`), want); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(got, want) {
		t.Errorf("got\n%v\nwant\n%v", got, want)
	}
}

// Files may name things of the studio by their ids.
func TestIDsInFilesBecomeNames(t *testing.T) {
	a := parsed(t, "score", "--studio=s")
	got := &pb.PlanShelfRequest{}
	if err := protojson.Unmarshal([]byte(`{"firing": "f", "pieces": [{"label": "glaze", "placement": {"ware": "w", "lowerBands": [{"layering": {"layers": [{"glaze": "c"}]}}]},
		"layering": {"body": "studios/other/bodies/x", "layers": [{"glaze": "a", "lot": "l"}, {"glaze": "b", "lot": "b/m"}]}}]}`), got); err != nil {
		t.Fatal(err)
	}
	if err := a.qualify(got.ProtoReflect()); err != nil {
		t.Fatal(err)
	}
	want := &pb.PlanShelfRequest{}
	if err := protojson.Unmarshal([]byte(`{"firing": "studios/s/firings/f", "pieces": [{"label": "glaze", "placement": {"ware": "studios/s/wares/w", "lowerBands": [{"layering": {"layers": [{"glaze": "studios/s/glazes/c"}]}}]},
		"layering": {"body": "studios/other/bodies/x", "layers": [{"glaze": "studios/s/glazes/a", "lot": "studios/s/glazes/a/lots/l"}, {"glaze": "studios/s/glazes/b", "lot": "studios/s/glazes/b/lots/m"}]}}]}`), want); err != nil {
		t.Fatal(err)
	}
	if !proto.Equal(got, want) {
		t.Errorf("got\n%v\nwant\n%v", got, want)
	}
}
