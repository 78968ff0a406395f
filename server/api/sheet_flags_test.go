package api

import (
	"io"
	"maps"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// What a sheet flags is what the scores of its combinations flag, said once: a studio without tiles, a glaze of
// unknown chemistry that is made for another cone, and one of outlandish chemistry.
func TestSheetFlags(t *testing.T) {
	w := newStudio(t)
	must(w.glazes.CreateGlaze(w, &pb.CreateGlazeRequest{Parent: "studios/test", Glaze: &pb.Glaze{DisplayName: "Bismuth-like",
		Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"PbO": 1, "B2O3": 1.5, "SiO2": 0.5}}}}}))(t)
	must(w.firings.CreateFiring(w, &pb.CreateFiringRequest{Parent: "studios/test", Firing: &pb.Firing{DisplayName: "Cone 10", Plan: conePlan("10")}}))(t)
	firings := []string{"studios/test/firings/cone-6", "studios/test/firings/cone-10"}
	under := []*pb.Layer{
		{Glaze: "studios/test/glazes/clear", Lot: "studios/test/glazes/clear/lots/bucket-2", Amount: &pb.Layer_Coats{Coats: 1}},
		{Glaze: "studios/test/glazes/jar"}, {Glaze: "studios/test/glazes/bismuth-like"},
	}
	over := []*pb.Layer{{Glaze: "studios/test/glazes/amber"}, {Glaze: "studios/test/glazes/jar", Amount: &pb.Layer_Coats{Coats: 1}}}
	plan := &pb.SheetPlan{Positions: []*pb.SheetPosition{{Choices: under}, {Choices: over}}, Firings: firings}
	sheet := func() []*pb.SheetFlag {
		t.Helper()
		stream := must(w.scores.ScoreSheet(w, &pb.ScoreSheetRequest{Parent: "studios/test", ChunkSize: 5, Source: &pb.ScoreSheetRequest_Plan{Plan: plan}}))(t)
		flags := must(stream.Recv())(t).Flags
		for {
			more, err := stream.Recv()
			if err == io.EOF {
				return flags
			}
			if err != nil || more.Flags != nil {
				t.Fatalf("%v, flags with the chunk at %d: %v", err, more.GetFirstIndex(), more.GetFlags())
			}
		}
	}
	called := func(l *pb.Layer) string {
		if l.Lot != "" {
			return l.Lot
		}
		return l.Glaze
	}

	flags := sheet()
	next := must(w.calibrations.SuggestTiles(w, &pb.SuggestTilesRequest{Parent: "studios/test", Candidates: plan}))(t)
	if !slices.EqualFunc(next.Flags, flags, func(a, b *pb.SheetFlag) bool { return proto.Equal(a, b) }) {
		t.Errorf("suggested tiles with flags %v, the sheet with %v", next.Flags, flags)
	}
	codes := map[string]int{}
	for _, f := range flags {
		codes[f.Code]++
	}
	if flags[0].Code != "no_tiles" || flags[0].Glazes != nil || flags[0].Firing != "" {
		t.Errorf("the first is %v", flags[0])
	}
	for _, firing := range firings {
		for _, u := range under {
			for _, o := range over {
				score := must(w.scores.ScoreLayering(w, &pb.ScoreLayeringRequest{Parent: "studios/test", FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: firing},
					Layering: &pb.Layering{Layers: []*pb.Layer{u, o}}}))(t)
				single, told := map[string]bool{}, map[string]bool{}
				for _, f := range score.Flags {
					if f.Code != "thick_layer" && f.Code != "held_by_surface_tension" {
						single[f.Code] = true
					}
				}
				for _, f := range flags {
					if (f.Firing == "" || f.Firing == firing) && (len(f.Glazes) == 0 || slices.Contains(f.Glazes, called(u)) || slices.Contains(f.Glazes, called(o))) {
						told[f.Code] = true
					}
				}
				if !maps.Equal(single, told) {
					t.Errorf("%s over %s in %s: the score flags %v, the sheet %v", called(o), called(u), firing, single, told)
				}
			}
		}
	}
	// Jar is in both positions and told once; it is made for cone 5 to 6, so only one firing is another's. Clear, for
	// cone 10, is under-fired in one.
	want := map[string]int{"no_tiles": 1, "described_glaze": 1, "outside_melt_data": 1, "outside_cone_range": 1, "under_fired": 1}
	if !maps.Equal(codes, want) {
		t.Errorf("flags %v, want %v", codes, want)
	}
	at := slices.IndexFunc(flags, func(f *pb.SheetFlag) bool { return f.Code == "outside_cone_range" })
	if f := flags[at]; f.Firing != firings[1] || !slices.Equal(f.Glazes, []string{"studios/test/glazes/jar"}) || !strings.Contains(f.Sentence, "Jar") {
		t.Errorf("%v", f)
	}

	must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	must(w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test"}))(t)
	if slices.ContainsFunc(sheet(), func(f *pb.SheetFlag) bool { return f.Code == "no_tiles" }) {
		t.Error("no_tiles, with a tile learnt from")
	}
}
