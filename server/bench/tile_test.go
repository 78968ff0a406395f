package bench

import (
	"context"
	"crypto/rand"
	"database/sql"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"testing"

	_ "modernc.org/sqlite"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/testdata/demo"
)

const writers = 16

// tile is one to log, unlike all others.
func (a *asker) tile() *pb.CreateTileRequest {
	return &pb.CreateTileRequest{Parent: demo.Studio, Tile: &pb.Tile{
		Layering: &pb.Layering{Layers: []*pb.Layer{a.layer(), a.layer()}}, FiringSource: &pb.Tile_Firing{Firing: a.pick(a.firings)},
		Outcome: &pb.Tile_RunMm{RunMm: 30 * a.random.Float64()}, FireDate: "2026-03-01",
	}}
}

// BenchmarkLogTile compares logging tiles by 16 writers, each written durably before it is answered, with the bare engine: rows as
// large, one goroutine that writes what has gathered, one commit each time, and nothing else done. "Service" calls the services in
// this process, "GRPC" over a socket. What the store alone takes of it is measured in its own package.
func BenchmarkLogTile(b *testing.B) {
	for _, way := range []struct {
		name string
		of   func(*service) pb.TileServiceClient
	}{
		{"Service", func(s *service) pb.TileServiceClient { return client.Over(s.Local()).Tiles }},
		{"GRPC", func(s *service) pb.TileServiceClient { return s.Tiles }},
	} {
		b.Run(way.name, func(b *testing.B) {
			s := serve(b)
			ask := askers(b, s.Client, writers, pb.ScoreView_SCORE_VIEW_FULL)
			tiles := way.of(s)
			bare := bareEngine(b, 2340) // the mean of the demo studio's tiles of two layers
			floor := func() turn {
				return closedLoop(b, writers, oneTurn, func(context.Context, int) error { return bare() })
			}
			ours := func() turn {
				return closedLoop(b, writers, oneTurn, func(ctx context.Context, i int) error {
					_, err := tiles.CreateTile(ctx, ask[i].tile())
					return err
				})
			}
			floor()
			ours()
			compare(b, "tiles", 0.7, floor, ours)
		})
	}
}

// bareEngine returns what writes one durable row of a size to SQLite, together with the rows that others wait for.
func bareEngine(b *testing.B, size int) func() error {
	b.Helper()
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "bare.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		b.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	b.Cleanup(func() { db.Close() })
	if _, err := db.ExecContext(b.Context(), "CREATE TABLE row (id TEXT PRIMARY KEY, data BLOB) WITHOUT ROWID"); err != nil {
		b.Fatal(err)
	}
	insert, err := db.PrepareContext(b.Context(), "INSERT INTO row VALUES (?, ?)")
	if err != nil {
		b.Fatal(err)
	}
	data := make([]byte, size)
	rand.Read(data)
	jobs := make(chan chan error, 64)
	b.Cleanup(func() { close(jobs) })
	var next atomic.Int64
	commit := func(n int) error {
		tx, err := db.Begin()
		if err != nil {
			return err
		}
		defer tx.Rollback()
		for range n {
			if _, err := tx.Stmt(insert).Exec(strconv.FormatInt(next.Add(1), 36), data); err != nil {
				return err
			}
		}
		return tx.Commit()
	}
	go func() {
		for first := range jobs {
			batch := []chan error{first}
			for more := true; more && len(batch) < 64; {
				select {
				case j := <-jobs:
					batch = append(batch, j)
				default:
					more = false
				}
			}
			err := commit(len(batch))
			for _, j := range batch {
				j <- err
			}
		}
	}()
	return func() error {
		done := make(chan error, 1)
		jobs <- done
		return <-done
	}
}
