package demo_test

import (
	"testing"

	"google.golang.org/protobuf/encoding/protojson"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/embedded"
	"github.com/catchline/catchline/testdata/demo"
)

func open(t testing.TB) *client.Client {
	s, err := embedded.Open(t.Context(), embedded.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return client.Over(s.Conn())
}

func TestSeed(t *testing.T) {
	ctx, c := t.Context(), open(t)
	if err := demo.Create(ctx, c); err != nil { // as if the loading had been broken off
		t.Fatal(err)
	}
	for range 2 { // the second time nothing is to happen
		if err := demo.Seed(ctx, c); err != nil {
			t.Fatal(err)
		}
	}
	studio, err := c.Studios.GetStudio(ctx, &pb.GetStudioRequest{Name: demo.Studio})
	if err != nil {
		t.Fatal(err)
	}
	if !studio.Invented {
		t.Error("the demo studio does not say that it is invented")
	}
	if want := demo.Studio + "/calibrations/1"; studio.ActiveCalibration != want {
		t.Errorf("active calibration %q, want %q", studio.ActiveCalibration, want)
	}
	outcomes := map[string]int{}
	for tile, err := range c.AllTiles(ctx, demo.Studio) {
		if err != nil {
			t.Fatal(err)
		}
		switch tile.Outcome.(type) {
		case *pb.Tile_RanOff:
			outcomes["ran off"]++
		case *pb.Tile_DidNotMove:
			outcomes["did not move"]++
		case *pb.Tile_RunInterval:
			outcomes["interval"]++
		case *pb.Tile_RunMm:
			outcomes["run"]++
		}
	}
	if n := outcomes["ran off"] + outcomes["did not move"] + outcomes["interval"] + outcomes["run"]; n != 120 || len(outcomes) != 4 {
		t.Errorf("%d tiles with the outcomes %v, want 120 with all four", n, outcomes)
	}
	load := &pb.PlanShelfRequest{}
	if err := protojson.Unmarshal(demo.Shelf, load); err != nil {
		t.Fatal(err)
	}
	load.Parent = demo.Studio
	plan, err := c.Scores.PlanShelf(ctx, load)
	if err != nil {
		t.Fatal(err)
	}
	pieces := int32(0)
	for _, line := range plan.Lines {
		pieces += line.Count
	}
	if pieces != 20 {
		t.Errorf("a load of %d pieces, want 20", pieces)
	}
}

func BenchmarkSeed(b *testing.B) {
	for b.Loop() {
		if err := demo.Seed(b.Context(), open(b)); err != nil {
			b.Fatal(err)
		}
	}
}
