package api

import (
	"math"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

func TestLossOnIgnitionOfWhatIsGivenFired(t *testing.T) {
	analysis := func(loi *float64, more map[string]float64) *pb.Glaze {
		oxides := map[string]float64{"SiO2": 60, "CaO": 20}
		for k, v := range more {
			oxides[k] = v
		}
		return &pb.Glaze{Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{OxidesPercent: oxides, LoiPercent: loi}}}
	}
	seger := func(loi *float64) *pb.Glaze {
		return &pb.Glaze{Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"CaO": 1, "SiO2": 3}, LoiPercent: loi}}}
	}
	for _, c := range []struct {
		glaze *pb.Glaze
		want  float64
	}{
		{analysis(nil, nil), 0.08}, // what the contract says is taken
		{analysis(proto.Float64(12), nil), 0.12},
		{analysis(proto.Float64(0), nil), 0},
		{analysis(nil, map[string]float64{"LOI": 20}), 0.2}, // 20 of 60 + 20 + 20
		{analysis(proto.Float64(12), map[string]float64{"LOI": 20}), 0.12},
		{seger(nil), 0.08},
		{seger(proto.Float64(15)), 0.15},
	} {
		got, err := compositionOf(c.glaze, &rawMaterials{})
		if err != nil || math.Abs(got.LOI-c.want) > 1e-12 {
			t.Errorf("%v: %v, %v, want %v", c.glaze, got, err, c.want)
		}
	}
	if got, err := compositionOf(&pb.Glaze{Chemistry: &pb.Glaze_Described{}}, &rawMaterials{}); got != nil || err != nil {
		t.Errorf("a described glaze has the composition %v, %v", got, err)
	}
}

// TestMolesAndMasses: one mole of CaO weighs 56.077 g, one of SiO2 60.083 g (IUPAC 2021).
func TestMolesAndMasses(t *testing.T) {
	byMass := &pb.Glaze{Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{OxidesPercent: map[string]float64{"CaO": 56.077, "SiO2": 60.083}}}}
	byMole := &pb.Glaze{Chemistry: &pb.Glaze_Analysis{Analysis: &pb.OxideAnalysis{Basis: pb.AnalysisBasis_ANALYSIS_BASIS_MOLE, OxidesPercent: map[string]float64{"CaO": 50, "SiO2": 50}}}}
	for _, g := range []*pb.Glaze{byMass, byMole} {
		c, err := compositionOf(g, &rawMaterials{})
		if err != nil {
			t.Fatal(err)
		}
		m := compositionMessage(c)
		if math.Abs(m.MoleFractions["CaO"]-0.5) > 1e-5 || math.Abs(m.MassPercent["CaO"]-100*56.077/116.16) > 1e-3 || math.Abs(m.Seger["SiO2"]-1) > 1e-5 {
			t.Errorf("%v is %v", g, m)
		}
		x, err := meltOf(m.MoleFractions)
		if err != nil || x != c.Melt {
			t.Errorf("the way back gives %v, %v, not %v", x, err, c.Melt)
		}
	}
}

func TestDropHoldIsReadOnlyWithADrop(t *testing.T) {
	plan := conePlan("6")
	plan.GetCone().DropHoldMin = proto.Float64(30)
	without, err := heatWorkOf(plan)
	if err != nil {
		t.Fatal(err)
	}
	plan.GetCone().DropC = proto.Float64(50)
	with, err := heatWorkOf(plan)
	if err != nil || with.MinutesNearPeak < without.MinutesNearPeak+29.9 {
		t.Errorf("minutes near the peak %v with a hold of 30 min, %v without, %v", with.GetMinutesNearPeak(), without.MinutesNearPeak, err)
	}
}

func TestWitnessConeMovesTheShownCurve(t *testing.T) {
	plan := conePlan("6")
	plan.WitnessCone = &pb.WitnessCone{Cone: "7"}
	h, err := heatWorkOf(plan)
	if err != nil {
		t.Fatal(err)
	}
	highest := 0.0
	for _, p := range h.Curve {
		highest = max(highest, p.TemperatureC)
	}
	if h.WitnessShiftC < 5 || math.Abs(highest-h.PeakC) > 1e-9 {
		t.Errorf("shifted by %v, the curve's highest point is %v, the peak %v", h.WitnessShiftC, highest, h.PeakC)
	}
}

func TestTilesAreListedByFiringAndGlaze(t *testing.T) {
	w := newStudio(t)
	inline := aTile()
	inline.FiringSource = &pb.Tile_FiringPlan{FiringPlan: conePlan("5")}
	inline.Layering.Layers = inline.Layering.Layers[:1]
	other := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: inline}))(t)
	tile := must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	for _, c := range []struct {
		glaze, firing string
		want          []string
	}{
		{"", "", []string{tile.Name, other.Name}},
		{"", "studios/test/firings/cone-6", []string{tile.Name}},
		{"studios/test/glazes/clear", "", []string{tile.Name, other.Name}},
		{"studios/test/glazes/amber", "studios/test/firings/cone-6", []string{tile.Name}},
		{"studios/test/glazes/jar", "", nil},
	} {
		list := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", Glaze: c.glaze, Firing: c.firing}))(t)
		got := ""
		for _, x := range list.Tiles {
			got += x.Name + " "
		}
		want := ""
		for _, x := range c.want {
			want += x + " "
		}
		if got != want {
			t.Errorf("%+v: %s", c, got)
		}
	}
	// Once a tile is mended it is found under what it is now.
	must(w.tiles.UpdateTile(w, &pb.UpdateTileRequest{Tile: &pb.Tile{Name: tile.Name, FiringSource: &pb.Tile_FiringPlan{FiringPlan: conePlan("5")}}}))(t)
	if list := must(w.tiles.ListTiles(w, &pb.ListTilesRequest{Parent: "studios/test", Firing: "studios/test/firings/cone-6"}))(t); len(list.Tiles) != 0 {
		t.Errorf("still listed: %v", list.Tiles)
	}
}

// TestMaskWithinWhatOnlyTheServerSays: such a path is known, and changes nothing.
func TestMaskWithinWhatOnlyTheServerSays(t *testing.T) {
	w := newStudio(t)
	name := "studios/test/glazes/jar"
	was := must(w.glazes.GetGlaze(w, &pb.GetGlazeRequest{Name: name}))(t)
	now := must(w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{
		Glaze:      &pb.Glaze{Name: name, Composition: &pb.Composition{LoiPercent: 50}},
		UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"composition.loi_percent", "composition"}},
	}))(t)
	if now.Composition != nil || !proto.Equal(&pb.Glaze{Chemistry: now.Chemistry}, &pb.Glaze{Chemistry: was.Chemistry}) {
		t.Errorf("changed to %v", now)
	}
	_, err := w.glazes.UpdateGlaze(w, &pb.UpdateGlazeRequest{Glaze: &pb.Glaze{Name: name, ConeFrom: "6", ConeTo: "5"}})
	refused(t, err, codes.InvalidArgument, "glaze.cone_to is cone 5")
}
