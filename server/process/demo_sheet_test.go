package process

import (
	"encoding/json"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"testing"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

var record = flag.Bool("record", false, "write testdata/demo_sheet.json anew instead of comparing with it")

// demoSheetFile is a record of the demo studio's sheet: medians, both ends and clearances in mm, probabilities. It was
// taken from this service before the formulas of its model were rewritten, to show that the rewriting moved none of
// them. It is no check of the physics: nothing in it comes from outside.
const demoSheetFile = "testdata/demo_sheet.json"

// The demo studio, loaded, fitted and asked for its stored sheet, gives the sheet of the record, as closely as the
// contract's single-precision numbers say.
func TestDemoSheetIsThatOfTheRecord(t *testing.T) {
	s := start(t, nil)
	if err := demo.Seed(t.Context(), client.Over(s.Local())); err != nil {
		t.Fatal(err)
	}
	sheets, err := pb.NewSheetServiceClient(s.conn).ListSheets(t.Context(), &pb.ListSheetsRequest{Parent: demo.Studio})
	if err != nil {
		t.Fatal(err)
	}
	stream, err := pb.NewScoreServiceClient(s.conn).ScoreSheet(t.Context(), &pb.ScoreSheetRequest{
		Parent: demo.Studio, Source: &pb.ScoreSheetRequest_Sheet{Sheet: sheets.Sheets[0].Name}})
	if err != nil {
		t.Fatal(err)
	}
	var got [5][]float32
	for {
		chunk, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		for i, column := range [][]float32{chunk.MedianRunMm, chunk.RunP10Mm, chunk.RunP90Mm, chunk.ClearanceNeededMm, chunk.ExceedProbability} {
			got[i] = append(got[i], column...)
		}
	}
	if *record {
		text, err := json.Marshal(got)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(demoSheetFile, append(text, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	text, err := os.ReadFile(demoSheetFile)
	if err != nil {
		t.Fatal(err)
	}
	var want [5][]float32
	if err := json.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	for i := range want {
		if len(got[i]) != len(want[i]) {
			t.Fatalf("%d scores, recorded were %d", len(got[i]), len(want[i]))
		}
		for k, w := range want[i] {
			// Two neighbouring numbers of single precision differ by at most 1.2e-7 of them.
			if math.Abs(float64(got[i][k]-w)) > 1.3e-7*math.Max(math.Abs(float64(w)), 1e-2) {
				t.Errorf("column %d of score %d is %v, recorded was %v", i, k, got[i][k], w)
			}
		}
	}
}
