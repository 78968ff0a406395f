package postgres_test

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/postgrestest"
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

// BenchmarkPostgreSQL16 compares 16 writers through the store, all into one studio, with two floors that take
// turns with it: the same bytes by one batching goroutine into one table with one key, and by 16
// connections of which each commits its own rows. Every server syncs.
func BenchmarkPostgreSQL16(b *testing.B) {
	node := postgrestest.Start(b, postgrestest.Options{})
	if err := postgres.Migrate(b.Context(), node.URL); err != nil {
		b.Fatal(err)
	}
	s := opened(b, node.URL, postgres.Options{})
	insertStudio(b, s)
	pool, err := pgxpool.New(b.Context(), node.URL+"&pool_max_conns=17&pool_min_conns=17")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(pool.Close)
	if _, err := pool.Exec(b.Context(), "CREATE TABLE bare (studio text, id text, data bytea COMPRESSION lz4, PRIMARY KEY (studio, id))"); err != nil {
		b.Fatal(err)
	}
	batching := batchingWriter(b, pool)

	const turn = 500
	var batched, each, ours time.Duration
	rounds := int64(0)
	for b.Loop() {
		base := rounds * turn
		batched += by16(b, turn, func(i int64) error { return batching(fmt.Sprintf("b%08d", base+i)) })
		each += by16(b, turn, func(i int64) error {
			_, err := pool.Exec(context.Background(), "INSERT INTO bare VALUES ($1, $2, $3)", "s", fmt.Sprintf("e%08d", base+i), tileBody)
			return err
		})
		ours += by16(b, turn, func(i int64) error {
			i += base
			r := store.Record{Key: store.Key{Studio: "s", Kind: store.KindTile, ID: fmt.Sprintf("t%08d", i)}, Body: tileBody,
				Labels: []string{fmt.Sprintf("glaze=g%d", i%50), fmt.Sprintf("glaze=g%d", i%50+50), fmt.Sprintf("firing=f%d", i/40)}}
			_, err := s.Write(context.Background(), store.Write{
				Request: store.Request{ID: uuid.Must(uuid.NewV7()).String(), Hash: tileBody[:32]},
				Ops:     []store.Op{store.Insert(r)},
			})
			return err
		})
		rounds++
	}
	n := float64(rounds * turn)
	b.ReportMetric(n/batched.Seconds(), "floor-rows/s")
	b.ReportMetric(n/each.Seconds(), "each-rows/s")
	b.ReportMetric(n/ours.Seconds(), "rows/s")
	b.ReportMetric(batched.Seconds()/ours.Seconds(), "ratio")
	b.ReportMetric(0.7, "goal")
	b.ReportMetric(each.Seconds()/ours.Seconds(), "of-each")
	b.ReportMetric(0, "ns/op")
}

func batchingWriter(b *testing.B, pool *pgxpool.Pool) func(id string) error {
	type job struct {
		id   string
		done chan error
	}
	jobs := make(chan job, 64)
	b.Cleanup(func() { close(jobs) })
	go func() {
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
			var ids []string
			var data [][]byte
			for _, j := range batch {
				ids = append(ids, j.id)
				data = append(data, tileBody)
			}
			_, err := pool.Exec(context.Background(), "INSERT INTO bare SELECT 's', * FROM unnest($1::text[], $2::bytea[])", ids, data)
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
