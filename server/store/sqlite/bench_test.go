package sqlite_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"database/sql"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/sqlite"
)

// tileBody has the size of a logged tile of two layers in the demo studio, 2,340 bytes in the mean, and as deflate makes 54 % of those, it is
// half noise and half a text that repeats.
var tileBody = func() []byte {
	b := bytes.Repeat([]byte("what repeats in every tile"), 90)
	for i := 0; i < len(b); i += 52 {
		rand.Read(b[i : i+26])
	}
	return b
}()

func createForBenchmark(b *testing.B) *sqlite.Store {
	path := filepath.Join(b.TempDir(), "catchline.db")
	if err := sqlite.Create(b.Context(), path); err != nil {
		b.Fatal(err)
	}
	s, err := sqlite.Open(b.Context(), path, sqlite.Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	studio := store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: "s"}}
	if _, err := s.Write(b.Context(), store.Write{Ops: []store.Op{store.Insert(studio)}}); err != nil {
		b.Fatal(err)
	}
	return s
}

// ordered makes request IDs as our client does.
func ordered() string { return uuid.Must(uuid.NewV7()).String() }

func tileWrite(i int64, labels bool, request func() string) store.Write {
	r := store.Record{Key: store.Key{Studio: "s", Kind: store.KindTile, ID: fmt.Sprintf("t%08d", i)}, Body: tileBody}
	if labels {
		r.Labels = []string{fmt.Sprintf("glaze=g%d", i%50), fmt.Sprintf("glaze=g%d", i%50+50), fmt.Sprintf("firing=f%d", i/40)}
	}
	w := store.Write{Ops: []store.Op{store.Insert(r)}}
	if request != nil {
		w.Request = store.Request{ID: request(), Hash: tileBody[:32]}
	}
	return w
}

// by16 runs f for 1 to n from 16 goroutines and returns how long that took.
func by16(b *testing.B, n int64, f func(i int64) error) time.Duration {
	var next atomic.Int64
	var wg sync.WaitGroup
	start := time.Now()
	for range 16 {
		wg.Go(func() {
			for i := next.Add(1); i <= n; i = next.Add(1) {
				if err := f(i); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	return time.Since(start)
}

// BenchmarkSQLite16 compares 16 writers through the store with the floor: the same bytes by one batching
// goroutine into one table with one key, without anything that the store does for its contract. The two
// take turns, so that whatever else the machine does meets both.
func BenchmarkSQLite16(b *testing.B) {
	for _, c := range []struct {
		name    string
		labels  bool
		request func() string
	}{{"plain", false, nil}, {"labels", true, nil}, {"tile", true, ordered}, {"tile-random-request", true, rand.Text}} {
		b.Run(c.name, func(b *testing.B) {
			bare, s := bareWriter(b), createForBenchmark(b)
			const turn = 1000
			var floor, ours time.Duration
			rounds := 0
			for b.Loop() {
				base := int64(rounds * turn)
				floor += by16(b, turn, func(i int64) error { return bare(fmt.Sprintf("t%08d", base+i)) })
				ours += by16(b, turn, func(i int64) error {
					_, err := s.Write(context.Background(), tileWrite(base+i, c.labels, c.request))
					return err
				})
				rounds++
			}
			n := float64(rounds * turn)
			b.ReportMetric(n/floor.Seconds(), "floor-rows/s")
			b.ReportMetric(n/ours.Seconds(), "rows/s")
			b.ReportMetric(floor.Seconds()/ours.Seconds(), "ratio")
			b.ReportMetric(0.7, "goal")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func bareWriter(b *testing.B) func(id string) error {
	db, err := sql.Open("sqlite", "file:"+filepath.Join(b.TempDir(), "bare.db")+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { db.Close() })
	conn, err := db.Conn(b.Context())
	if err != nil {
		b.Fatal(err)
	}
	if _, err := conn.ExecContext(b.Context(), "CREATE TABLE row (studio TEXT, id TEXT, data BLOB, PRIMARY KEY (studio, id)) WITHOUT ROWID"); err != nil {
		b.Fatal(err)
	}
	statement := func(text string) *sql.Stmt {
		st, err := conn.PrepareContext(b.Context(), text)
		if err != nil {
			b.Fatal(err)
		}
		return st
	}
	begin, commit, insert := statement("BEGIN IMMEDIATE"), statement("COMMIT"), statement("INSERT INTO row VALUES (?, ?, ?)")
	type job struct {
		id   string
		done chan error
	}
	jobs := make(chan job, 64)
	b.Cleanup(func() { close(jobs) })
	go func() {
		ctx := context.Background()
		for j := range jobs {
			batch := []job{j}
			for more := true; more && len(batch) < 64; {
				select {
				case j := <-jobs:
					batch = append(batch, j)
				default:
					more = false
				}
			}
			_, err := begin.ExecContext(ctx)
			for _, j := range batch {
				if err == nil {
					_, err = insert.ExecContext(ctx, "s", j.id, tileBody)
				}
			}
			if err == nil {
				_, err = commit.ExecContext(ctx)
			}
			for _, j := range batch {
				j.done <- err
			}
		}
	}()
	return func(id string) error {
		j := job{id, make(chan error, 1)}
		jobs <- j
		return <-j.done
	}
}

// BenchmarkScan reads all tiles of a studio, in turns with the floor: the blobs alone, not decoded.
func BenchmarkScan(b *testing.B) {
	for _, n := range []int64{100, 10_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := createForBenchmark(b)
			w := store.Write{}
			for i := range n {
				w.Ops = append(w.Ops, tileWrite(i, true, nil).Ops...)
			}
			if _, err := s.Write(b.Context(), w); err != nil {
				b.Fatal(err)
			}
			var floor, ours time.Duration
			b.ReportAllocs()
			for b.Loop() {
				start := time.Now()
				got, err := s.ScanBlobs("s", "tile")
				if err != nil || got != n {
					b.Fatal(got, err)
				}
				middle := time.Now()
				got = 0
				if err := s.Scan(b.Context(), "s", store.KindTile, func(store.Record) error { got++; return nil }); err != nil || got != n {
					b.Fatal(got, err)
				}
				floor += middle.Sub(start)
				ours += time.Since(middle)
			}
			b.ReportMetric(ours.Seconds()*1000/float64(b.N), "ms")
			b.ReportMetric(floor.Seconds()/ours.Seconds(), "of-floor")
			b.ReportMetric(0, "ns/op")
		})
	}
}
