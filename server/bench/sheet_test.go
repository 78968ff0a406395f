package bench

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"runtime/metrics"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/encoding/protojson"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

// sheet is a plan of as many scores as are asked for, none like another: pairs of layers of all glazes, each glaze as thick as
// nowhere else, in four firings.
func (a *asker) sheet(scores int) *pb.SheetPlan {
	const firings = 4
	plan := &pb.SheetPlan{Firings: a.firings[:firings], Positions: []*pb.SheetPosition{{}, {}}}
	for range 500 {
		plan.Positions[0].Choices = append(plan.Positions[0].Choices, a.layer())
	}
	for range scores / firings / 500 {
		plan.Positions[1].Choices = append(plan.Positions[1].Choices, a.layer())
	}
	return plan
}

const chunkSize = 10_000 // as the command line asks for

// direct calls the sheet's service without anything between, and drops what it says.
type direct struct {
	grpc.ServerStream
	ctx     context.Context
	request *pb.ScoreSheetRequest
	got     int
}

func (d *direct) Context() context.Context { return d.ctx }

func (d *direct) RecvMsg(m any) error {
	r := m.(*pb.ScoreSheetRequest)
	r.Parent, r.Source, r.ChunkSize = d.request.Parent, d.request.Source, d.request.ChunkSize
	return nil
}

func (d *direct) SendMsg(m any) error {
	d.got += len(m.(*pb.ScoreSheetResponse).MedianRunMm)
	return nil
}

// find keeps the service that is asked for.
type find struct {
	method  string
	handler grpc.StreamHandler
	service any
}

func (f *find) RegisterService(d *grpc.ServiceDesc, service any) {
	for _, m := range d.Streams {
		if m.StreamName == f.method {
			f.handler, f.service = m.Handler, service
		}
	}
}

func (s *service) sheetRequest(a *asker, scores int) *pb.ScoreSheetRequest {
	return &pb.ScoreSheetRequest{Parent: demo.Studio, Source: &pb.ScoreSheetRequest_Plan{Plan: a.sheet(scores)}, ChunkSize: chunkSize}
}

// one measures a sheet.
func one(b *testing.B, score func() (int, error)) turn {
	b.Helper()
	start, cpu := time.Now(), cpuTime(b)
	n, err := score()
	if err != nil {
		b.Fatal(err)
	}
	return turn{perSecond: float64(n) / time.Since(start).Seconds(), cpu: (cpuTime(b) - cpu) / time.Duration(n)}
}

func overGRPC(c pb.ScoreServiceClient, r *pb.ScoreSheetRequest) func() (int, error) {
	return func() (n int, err error) {
		stream, err := c.ScoreSheet(context.Background(), r)
		if err != nil {
			return 0, err
		}
		for {
			chunk, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				return n, nil
			}
			if err != nil {
				return n, err
			}
			n += len(chunk.MedianRunMm)
		}
	}
}

const aSheet = 1_000_000

// BenchmarkSheetGRPC compares a sheet over gRPC with the same service called directly, which scores on all cores. Its peak-MB of a
// small and a large sheet show whether memory grows with the sheet.
func BenchmarkSheetGRPC(b *testing.B) {
	s := serve(b)
	ask := askers(b, s.Client, 1, pb.ScoreView_SCORE_VIEW_FULL)[0]
	sheet := &find{method: "ScoreSheet"}
	s.direct.Register(sheet)
	floor := func() turn {
		d := &direct{ctx: b.Context(), request: s.sheetRequest(ask, aSheet)}
		return one(b, func() (int, error) { err := sheet.handler(sheet.service, d); return d.got, err })
	}
	ours := func() turn { return one(b, overGRPC(s.Scores, s.sheetRequest(ask, aSheet))) }
	floor()
	ours()
	compare(b, "scores", 0.8, floor, ours)
	b.ReportMetric(peak(func() { one(b, overGRPC(s.Scores, s.sheetRequest(ask, aSheet/10))) }), "peak-MB-100k")
	b.ReportMetric(peak(func() { one(b, overGRPC(s.Scores, s.sheetRequest(ask, aSheet))) }), "peak-MB-1M")
}

// peak is how large the heap becomes while f runs, in MB.
func peak(f func()) float64 {
	var most atomic.Uint64
	stop, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}}
		for tick := time.NewTicker(2 * time.Millisecond); ; {
			select {
			case <-stop:
				tick.Stop()
				return
			case <-tick.C:
				metrics.Read(sample)
				most.Store(max(most.Load(), sample[0].Value.Uint64()))
			}
		}
	}()
	f()
	close(stop)
	<-stopped
	return float64(most.Load()) / 1e6
}

// BenchmarkSheetHTTP compares a sheet as lines of JSON with a plain gateway that dials a server of which each chunk is there already.
func BenchmarkSheetHTTP(b *testing.B) {
	s := serve(b)
	ask := askers(b, s.Client, 1, pb.ScoreView_SCORE_VIEW_FULL)[0]
	floorURL := dialingGateway(b, serveEcho(b, (&echo{chunks: s.recordedChunks(b, ask)}).register))
	web := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	b.Cleanup(web.CloseIdleConnections)
	side := func(url string) turn {
		return one(b, func() (int, error) {
			lines := &lineCounter{}
			body, err := protojson.Marshal(s.sheetRequest(ask, aSheet))
			if err != nil {
				return 0, err
			}
			err = post(b.Context(), web, url+"/v1/"+demo.Studio+":scoreSheet", s.key, body, lines)
			if lines.n*chunkSize < aSheet {
				b.Errorf("%d lines", lines.n)
			}
			return aSheet, err
		})
	}
	ours := "http://" + s.HTTPAddress()
	side(floorURL)
	side(ours)
	compare(b, "scores", 0.8, func() turn { return side(floorURL) }, func() turn { return side(ours) })
}

func (s *service) recordedChunks(b *testing.B, ask *asker) (chunks []*pb.ScoreSheetResponse) {
	b.Helper()
	for chunk, err := range s.Sheet(b.Context(), s.sheetRequest(ask, aSheet)) {
		if err != nil {
			b.Fatal(err)
		}
		chunks = append(chunks, chunk)
	}
	return chunks
}

// lineCounter counts the lines that are written to it.
type lineCounter struct{ n int }

func (c *lineCounter) Write(p []byte) (int, error) {
	c.n += bytes.Count(p, []byte("\n"))
	return len(p), nil
}
