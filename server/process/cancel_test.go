package process

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/encoding/protojson"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

// A sheet of a million scores that nobody waits for any more stops, over gRPC and over HTTP. How soon is logged (50 ms is
// what we want); that it stops at all rather than runs to its end is the test.
func TestCancelledSheetStopsComputing(t *testing.T) {
	s := start(t, nil)
	if err := demo.Create(t.Context(), client.Over(s.Local())); err != nil {
		t.Fatal(err)
	}
	firings, err := pb.NewFiringServiceClient(s.conn).ListFirings(t.Context(), &pb.ListFiringsRequest{Parent: demo.Studio})
	if err != nil {
		t.Fatal(err)
	}
	glazes, err := pb.NewGlazeServiceClient(s.conn).ListGlazes(t.Context(), &pb.ListGlazesRequest{Parent: demo.Studio})
	if err != nil {
		t.Fatal(err)
	}
	plan := &pb.SheetPlan{Firings: []string{firings.Firings[0].Name}}
	for range 3 {
		p := &pb.SheetPosition{}
		for i := range 100 {
			p.Choices = append(p.Choices, &pb.Layer{Glaze: glazes.Glazes[i%len(glazes.Glazes)].Name, Amount: &pb.Layer_Coats{Coats: 1 + float64(i)/50}})
		}
		plan.Positions = append(plan.Positions, p)
	}
	under := func() bool {
		resp, err := http.Get("http://" + s.MetricsAddress() + "/metrics")
		if err != nil {
			t.Fatal(err)
		}
		defer resp.Body.Close()
		text, _ := io.ReadAll(resp.Body)
		return !strings.Contains(string(text), "catchline_calls_in_flight 0")
	}
	stops := func(way string, cancel func()) {
		t.Helper()
		cancelled := time.Now()
		cancel()
		for under() {
			if time.Since(cancelled) > 10*time.Second {
				t.Fatalf("over %s the sheet goes on", way)
			}
		}
		t.Logf("over %s it stopped within %s", way, time.Since(cancelled).Round(time.Millisecond))
	}

	ctx, cancel := context.WithCancel(t.Context())
	stream, err := pb.NewScoreServiceClient(s.conn).ScoreSheet(ctx, &pb.ScoreSheetRequest{Parent: demo.Studio, Source: &pb.ScoreSheetRequest_Plan{Plan: plan}})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := stream.Recv(); err != nil {
		t.Fatal(err)
	}
	stops("gRPC", cancel)

	text, err := protojson.Marshal(plan)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithCancel(t.Context())
	defer cancel()
	r, _ := http.NewRequestWithContext(ctx, http.MethodPost, s.url+"/v1/"+demo.Studio+":scoreSheet", strings.NewReader(fmt.Sprintf(`{"plan": %s}`, text)))
	resp, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if _, err := resp.Body.Read(make([]byte, 1)); err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%d, %v", resp.StatusCode, err)
	}
	stops("HTTP", cancel)
}
