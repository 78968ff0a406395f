package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/postgrestest"
)

// TestFailover kills a primary under concurrent writes, promotes the synchronous standby, and expects that
// two servers go on by themselves and that nothing acknowledged is lost, halved or doubled.
func TestFailover(t *testing.T) {
	primary := postgrestest.Start(t, postgrestest.Options{})
	standby := primary.Standby(t, "standby", postgrestest.Options{})
	primary.Synchronous(t, "standby")
	url := fmt.Sprintf("postgres://catchline@127.0.0.1:%d,127.0.0.1:%d/postgres?sslmode=disable", primary.Port, standby.Port)
	if err := postgres.Migrate(t.Context(), url); err != nil {
		t.Fatal(err)
	}
	var servers []*postgres.Store
	for range 2 {
		s, err := postgres.Open(t.Context(), url, postgres.Options{Patience: time.Minute})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		servers = append(servers, s)
	}
	insertStudio(t, servers[0])

	// Before the kill, during it, and after it: each writer goes on until it has written that often
	// after the promotion.
	const writers, after = 8, 20
	var promoted atomic.Bool
	var wg sync.WaitGroup
	acknowledged := make([]int, writers)
	started := make(chan struct{}, writers)
	for w := range writers {
		wg.Go(func() {
			s := servers[w%2]
			for i, left := 0, after; left > 0; i++ {
				r := store.Record{Key: tileKey(w, i), Body: []byte(fmt.Sprint(w, i)), Labels: []string{fmt.Sprint("writer=", w)}}
				answer, err := s.Write(context.Background(), store.Write{
					Request: store.Request{ID: r.ID, Hash: []byte{1}},
					Ops:     []store.Op{store.Insert(r)},
				})
				if err != nil {
					t.Errorf("writer %d, tile %d: %v", w, i, err)
					return
				}
				if string(answer.Records[0].Body) != string(r.Body) {
					t.Errorf("writer %d, tile %d: answered %+v", w, i, answer)
				}
				acknowledged[w] = i + 1
				if i == 10 {
					started <- struct{}{}
				}
				if promoted.Load() {
					left--
				}
			}
		})
	}
	for range writers {
		<-started
	}
	primary.Kill()
	if err := standby.Promote(); err != nil {
		t.Fatal(err)
	}
	since := time.Now()
	promoted.Store(true)
	wg.Wait()
	t.Logf("all writers went on; the last has finished %.1f s after the promotion", time.Since(since).Seconds())

	total := 0
	found := map[string]string{}
	for _, s := range servers {
		clear(found)
		err := s.Scan(t.Context(), "s", store.KindTile, func(r store.Record) error {
			if _, twice := found[r.ID]; twice {
				return fmt.Errorf("%s is there twice", r.ID)
			}
			found[r.ID] = string(r.Body)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		total = 0
		for w, n := range acknowledged {
			total += n
			for i := range n {
				if id := tileKey(w, i).ID; found[id] != fmt.Sprint(w, i) {
					t.Errorf("%s was acknowledged and is %q", id, found[id])
				}
			}
		}
		if len(found) != total {
			t.Errorf("%d tiles, %d acknowledged", len(found), total)
		}
		if err := s.Ready(t.Context()); err != nil {
			t.Error(err)
		}
	}
	t.Logf("%d tiles acknowledged, all found", total)
}

// TestWarnedCommit lets the server give up waiting for its standby: it then reports success with a warning,
// which must not become an acknowledgement.
func TestWarnedCommit(t *testing.T) {
	primary := postgrestest.Start(t, postgrestest.Options{})
	if err := postgres.Migrate(t.Context(), primary.URL); err != nil {
		t.Fatal(err)
	}
	s, err := postgres.Open(t.Context(), primary.URL, postgres.Options{Patience: 30 * time.Second})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	insertStudio(t, s)
	c, err := pgx.Connect(t.Context(), primary.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	exec := func(statement string) {
		t.Helper()
		if _, err := c.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	exec("ALTER SYSTEM SET synchronous_standby_names = 'nobody'")
	exec("SELECT pg_reload_conf()")

	// The server's processes hear of the setting one after the other, some time after it is made: what is written before
	// commits as usual.
	outcome := make(chan error, 1)
	go func() {
		for i := 0; ; i++ {
			r := store.Record{Key: tileKey(0, i)}
			if _, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(r)}}); err != nil {
				outcome <- err
				return
			}
		}
	}()
	for cancelled := false; !cancelled && len(outcome) == 0; {
		err := c.QueryRow(t.Context(), `SELECT coalesce(bool_or(pg_cancel_backend(pid)), false) FROM pg_stat_activity
			WHERE wait_event = 'SyncRep'`).Scan(&cancelled)
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := <-outcome; !errors.Is(err, store.ErrUncertain) {
		t.Fatalf("got the error %v, want ErrUncertain", err)
	}
	exec("ALTER SYSTEM RESET synchronous_standby_names")
	exec("SELECT pg_reload_conf()")
}

func insertStudio(t testing.TB, s store.Writer) {
	t.Helper()
	r := store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: "s"}}
	if _, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(r)}}); err != nil {
		t.Fatal(err)
	}
}

func tileKey(writer, i int) store.Key {
	return store.Key{Studio: "s", Kind: store.KindTile, ID: fmt.Sprintf("%d-%d", writer, i)}
}
