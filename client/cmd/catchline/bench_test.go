package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/sync/errgroup"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// BenchmarkSheet is all ordered pairs of 200 glazes in 2 firings, 80,000 scores, by the command line from a local server, with a
// studio's calibration in use.
func BenchmarkSheet(b *testing.B) {
	p, err := startServer(b.Context(), filepath.Join(b.TempDir(), "bench.db"), nil)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { p.Close() })
	c := client.Over(p.Local())
	var group errgroup.Group
	group.SetLimit(16)
	for i := range 200 {
		group.Go(func() error { // invented
			_, err := c.Glazes.CreateGlaze(b.Context(), &pb.CreateGlazeRequest{Parent: "studios/demo", GlazeId: fmt.Sprintf("bench-%03d", i), Glaze: &pb.Glaze{
				DisplayName: fmt.Sprintf("Bench %03d", i), ConeFrom: "6",
				Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{
					"Na2O": 0.2, "K2O": 0.1, "CaO": 0.7 - 0.001*float64(i), "MgO": 0.001 * float64(i),
					"Al2O3": 0.35 + 0.001*float64(i%40), "B2O3": 0.2 + 0.004*float64(i%50), "SiO2": 2.8 + 0.01*float64(i%100),
				}}},
			}})
			return err
		})
	}
	if err := group.Wait(); err != nil {
		b.Fatal(err)
	}
	for _, format := range []string{"csv", "json", "table"} {
		b.Run(format, func(b *testing.B) {
			for b.Loop() {
				var errs strings.Builder
				code := run(b.Context(), []string{"--server", p.GRPCAddress(), "--format", format, "sheet", "--under=bench-*", "--over=bench-*", "--firing=cone-6,cone-6-hold"}, streams{strings.NewReader(""), io.Discard, &errs})
				if code != exitDone {
					b.Fatalf("exit code %d: %s", code, errs.String())
				}
			}
			b.ReportMetric(80_000*float64(b.N)/b.Elapsed().Seconds(), "scores/s")
		})
	}
}

// BenchmarkMelt is 20,000 rows of melts without a server.
func BenchmarkMelt(b *testing.B) {
	const row = "0.62,0.01,0,0.09,0.05,0,0.002,0,0,0.03,0.11,0,0,0.01,0,0.05,0.028,0,%d\n" // invented
	var in strings.Builder
	in.WriteString("SiO2,TiO2,ZrO2,Al2O3,B2O3,P2O5,Fe2O3,FeO,MnO,MgO,CaO,SrO,BaO,ZnO,Li2O,Na2O,K2O,PbO,T_K\n")
	for i := range 20_000 {
		fmt.Fprintf(&in, row, 1100+i%500)
	}
	for b.Loop() {
		var errs strings.Builder
		if code := run(b.Context(), []string{"--embedded", "melt", "--in=-"}, streams{strings.NewReader(in.String()), io.Discard, &errs}); code != exitDone {
			b.Fatalf("exit code %d: %s", code, errs.String())
		}
	}
	b.ReportMetric(20_000*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
