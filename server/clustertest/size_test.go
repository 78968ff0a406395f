package clustertest

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/store/postgrestest"
	"github.com/catchline/catchline/testdata/demo"
)

// BenchmarkLogTile logs tiles of two layers from 16 callers through one server, on a PostgreSQL that syncs, and tells how fast that is
// and what a tile takes on the disk, with its indexes, with the answer that is kept for a month, and in the write-ahead log.
func BenchmarkLogTile(b *testing.B) {
	node := postgrestest.Start(b, postgrestest.Options{})
	c := settings(node.URL)
	if err := process.Migrate(b.Context(), c, io.Discard); err != nil {
		b.Fatal(err)
	}
	one := dial(b, client.Options{}, start(b, c))
	if err := demo.Create(b.Context(), one); err != nil {
		b.Fatal(err)
	}
	db, err := pgx.Connect(b.Context(), node.URL)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close(context.Background())
	number := func(query string) (n float64) {
		b.Helper()
		if err := db.QueryRow(b.Context(), query).Scan(&n); err != nil {
			b.Fatal(err)
		}
		return n
	}
	const (
		records  = "SELECT pg_total_relation_size('record')::float8"
		requests = "SELECT pg_total_relation_size('request')::float8"
		log      = "SELECT pg_wal_lsn_diff(pg_current_wal_lsn(), '0/0')::float8"
	)
	before := []float64{number(records), number(requests), number(log)}
	var next atomic.Int64
	var group sync.WaitGroup
	b.ResetTimer()
	for range 16 {
		group.Go(func() {
			for i := next.Add(1); i <= int64(b.N); i = next.Add(1) {
				_, err := one.Tiles.CreateTile(b.Context(), &pb.CreateTileRequest{Parent: demo.Studio, Tile: &pb.Tile{
					Layering: &pb.Layering{Layers: []*pb.Layer{
						{Glaze: demo.Studio + "/glazes/tarn-clear", Amount: &pb.Layer_Coats{Coats: 2}},
						{Glaze: demo.Studio + "/glazes/skerry-blue", Amount: &pb.Layer_Coats{Coats: 2}},
					}},
					FiringSource: &pb.Tile_Firing{Firing: demo.Studio + "/firings/cone-6"},
					Outcome:      &pb.Tile_RunMm{RunMm: float64(i % 40)},
					Tester:       "tester one", Notes: fmt.Sprintf("Row %d of the kiln, invented.", i),
				}})
				if err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	group.Wait()
	b.StopTimer()
	n := float64(b.N)
	b.ReportMetric(n/b.Elapsed().Seconds(), "tiles/s")
	b.ReportMetric((number(records)-before[0])/n, "record-B/tile")
	b.ReportMetric((number(requests)-before[1])/n, "answer-B/tile")
	b.ReportMetric((number(log)-before[2])/n, "log-B/tile")
}

// renamed is a connection on which the demo studio has another name of as many letters.
type renamed struct {
	grpc.ClientConnInterface
	name string
}

func (r renamed) Invoke(ctx context.Context, method string, request, reply any, opts ...grpc.CallOption) error {
	m := proto.Clone(request.(proto.Message))
	text, err := proto.Marshal(m)
	if err != nil {
		return err
	}
	if err := proto.Unmarshal(bytes.ReplaceAll(text, []byte("demo"), []byte(r.name)), m); err != nil {
		return err
	}
	return r.ClientConnInterface.Invoke(ctx, method, m, reply, opts...)
}

// BenchmarkPreparedStudio tells how much memory a server keeps for a studio like the demo one after it has scored all pairs of its
// glazes in all of its firings.
func BenchmarkPreparedStudio(b *testing.B) {
	c := settings(migrated(b))
	first := dial(b, client.Options{}, start(b, c))
	names := make([]string, b.N+1)
	for i := range names {
		names[i] = fmt.Sprintf("d%03d", i)
		if err := demo.Seed(b.Context(), client.Over(renamed{first.Conn, names[i]})); err != nil {
			b.Fatal(err)
		}
	}
	fresh := dial(b, client.Options{}, start(b, c))
	score := func(name string) {
		b.Helper()
		studio := "studios/" + name
		var choices []*pb.Layer
		for g, err := range fresh.AllGlazes(b.Context(), studio) {
			if err != nil {
				b.Fatal(err)
			}
			choices = append(choices, &pb.Layer{Glaze: g.Name})
		}
		var firings []string
		for f, err := range fresh.AllFirings(b.Context(), studio) {
			if err != nil {
				b.Fatal(err)
			}
			firings = append(firings, f.Name)
		}
		scores := 0
		for chunk, err := range fresh.Sheet(b.Context(), &pb.ScoreSheetRequest{Parent: studio, Source: &pb.ScoreSheetRequest_Plan{Plan: &pb.SheetPlan{
			Positions: []*pb.SheetPosition{{Choices: choices}, {Choices: choices}}, Firings: firings,
		}}}) {
			if err != nil {
				b.Fatal(err)
			}
			scores += len(chunk.MedianRunMm)
		}
		b.Logf("%d glazes, %d firings, %d scores", len(choices), len(firings), scores)
	}
	heap := func() float64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.GC()
		runtime.ReadMemStats(&m)
		return float64(m.HeapAlloc)
	}
	score(names[0]) // what a server needs anyway
	before := heap()
	b.ResetTimer()
	for _, name := range names[1:] {
		score(name)
	}
	b.StopTimer()
	b.ReportMetric((heap()-before)/float64(b.N), "B/studio")
}
