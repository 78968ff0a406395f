package client_test

import (
	"context"
	"fmt"
	"log"
	"os"
	"sync"
	"testing"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/embedded"
	"github.com/catchline/catchline/testdata/demo"
)

// newStudio gives a client to a service in this process with the demo studio.
func newStudio() *client.Client {
	service, err := embedded.Open(context.Background(), embedded.Options{})
	if err != nil {
		log.Fatal(err)
	}
	services = append(services, service)
	c := client.Over(service.Conn())
	if err := demo.Seed(context.Background(), c); err != nil {
		log.Fatal(err)
	}
	return c
}

// services are closed at the end.
var services []*embedded.Service

func TestMain(m *testing.M) {
	code := m.Run()
	for _, s := range services {
		s.Close()
	}
	os.Exit(code)
}

// demoStudio is one that examples share which change nothing.
var demoStudio = sync.OnceValue(newStudio)

// A layering is scored before it goes on a pot.
func Example() {
	ctx := context.Background()
	c := demoStudio() // with a server: client.New("127.0.0.1:7400", client.Options{})

	score, err := c.Scores.ScoreLayering(ctx, &pb.ScoreLayeringRequest{
		Parent: "studios/demo",
		Layering: &pb.Layering{Layers: []*pb.Layer{
			{Glaze: "studios/demo/glazes/skerry-blue", Amount: &pb.Layer_Coats{Coats: 2}},
			{Glaze: "studios/demo/glazes/lintel-amber", Amount: &pb.Layer_Coats{Coats: 2}},
		}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/demo/firings/cone-6"},
	})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("it runs:", score.RunP10Mm < score.MedianRunMm && score.MedianRunMm < score.RunP90Mm)
	fmt.Println("by:", score.Calibration)
	// Output:
	// it runs: true
	// by: studios/demo/calibrations/1
}

func ExampleNew() {
	c, err := client.New("127.0.0.1:7400", client.Options{Key: "a studio's key, where the server asks for one"})
	if err != nil {
		log.Fatal(err)
	}
	defer c.Close()
	fmt.Println(client.New("studio.example:7400", client.Options{}))
	// Output:
	// <nil> studio.example:7400 is not on this machine: calls to it need TLS, or PlaintextAnywhere by whoever accepts that they can be read and changed on the way
}

func ExampleClient_AllGlazes() {
	ctx := context.Background()
	c := demoStudio()
	for glaze, err := range c.AllGlazes(ctx, "studios/demo") {
		if err != nil {
			log.Fatal(err)
		}
		if glaze.GetDescribed() != nil {
			fmt.Println(glaze.DisplayName)
		}
	}
	// Output:
	// Gift Jar
	// Unmarked Jar
}

// All pairs of three glazes, as they come.
func ExampleClient_Sheet() {
	ctx := context.Background()
	c := demoStudio()
	choices := []*pb.Layer{
		{Glaze: "studios/demo/glazes/tarn-clear"}, {Glaze: "studios/demo/glazes/skerry-blue"}, {Glaze: "studios/demo/glazes/quern-matte"},
	}
	scores := 0
	for chunk, err := range c.Sheet(ctx, &pb.ScoreSheetRequest{
		Parent: "studios/demo",
		Source: &pb.ScoreSheetRequest_Plan{Plan: &pb.SheetPlan{
			Positions: []*pb.SheetPosition{{Choices: choices}, {Choices: choices}},
			Firings:   []string{"studios/demo/firings/cone-6", "studios/demo/firings/cone-6-hold"},
		}},
	}) {
		if err != nil {
			log.Fatal(err)
		}
		scores += len(chunk.MedianRunMm)
	}
	fmt.Println(scores, "scores")
	// Output:
	// 18 scores
}

// A tile out of the kiln is logged, and the next calibration learns from it.
func ExampleClient_tiles() {
	ctx := context.Background()
	c := newStudio()
	tile, err := c.Tiles.CreateTile(ctx, &pb.CreateTileRequest{Parent: "studios/demo", Tile: &pb.Tile{
		Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: "studios/demo/glazes/tarn-clear", Amount: &pb.Layer_Coats{Coats: 3}}}},
		FiringSource: &pb.Tile_Firing{Firing: "studios/demo/firings/cone-6"},
		Outcome:      &pb.Tile_RunMm{RunMm: 9},
		FireDate:     "2026-06-01",
	}})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println("said beforehand by", tile.Prediction.Calibration)
	fitted, err := c.Calibrations.FitCalibration(ctx, &pb.FitCalibrationRequest{Parent: "studios/demo"})
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(fitted.Name, "learnt from", fitted.Tiles, "tiles")
	// Output:
	// said beforehand by studios/demo/calibrations/1
	// studios/demo/calibrations/2 learnt from 121 tiles
}
