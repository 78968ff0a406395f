package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/postgrestest"
	"github.com/catchline/catchline/server/store/storetest"
)

func open(url string) (store.Store, error) {
	return postgres.Open(context.Background(), url, postgres.Options{})
}

func TestKill(t *testing.T) { storetest.Kill(t, migrated(t), open) }

func opened(t testing.TB, url string, o postgres.Options) *postgres.Store {
	t.Helper()
	s, err := postgres.Open(t.Context(), url, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func insert(t testing.TB, s store.Writer, r store.Record) {
	t.Helper()
	if _, err := s.Write(t.Context(), store.Write{Ops: []store.Op{store.Insert(r)}}); err != nil {
		t.Fatal(err)
	}
}

// TestOtherServersAreTold lets one server activate a calibration and another one hear of it.
func TestOtherServersAreTold(t *testing.T) {
	u := migrated(t)
	one, two := opened(t, u, postgres.Options{}), opened(t, u, postgres.Options{})
	insertStudio(t, one)
	changes := two.Changes(t.Context())
	if err := store.SetActive(t.Context(), one, "s", "1", 0, store.Request{}); err != nil {
		t.Fatal(err)
	}
	want := store.Change{Studio: "s", Kind: store.KindActive}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	for got := (store.Change{}); got != want; {
		select {
		case got = <-changes:
		case <-ctx.Done():
			t.Fatal("the other server was not told")
		}
	}
	if active, _, err := store.Active(t.Context(), two, "s"); err != nil || active != "1" {
		t.Fatalf("%q, %v", active, err)
	}
}

// TestWithoutNotices asks Versions instead, as a database without LISTEN demands.
func TestWithoutNotices(t *testing.T) {
	u := migrated(t)
	quiet := postgres.Options{Quiet: true}
	one, two := opened(t, u, quiet), opened(t, u, quiet)
	insertStudio(t, one)
	before, err := two.Versions(t.Context(), "s")
	if err != nil {
		t.Fatal(err)
	}
	if err := store.SetActive(t.Context(), one, "s", "1", 0, store.Request{}); err != nil {
		t.Fatal(err)
	}
	after, err := two.Versions(t.Context(), "s")
	if err != nil || after[store.KindActive] <= before[store.KindActive] {
		t.Fatalf("before %v, after %v, %v", before, after, err)
	}
}

// TestLostListener ends the connection that listens, and expects to be told to check everything.
func TestLostListener(t *testing.T) {
	u := migrated(t)
	s := opened(t, u, postgres.Options{})
	changes := s.Changes(t.Context())
	c, err := pgx.Connect(t.Context(), u)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	var ended int
	if err := c.QueryRow(t.Context(), `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
		WHERE datname = current_database() AND query LIKE 'LISTEN%'`).Scan(&ended); err != nil || ended == 0 {
		t.Fatalf("%d ended, %v", ended, err)
	}
	select {
	case got := <-changes:
		if got.Studio != store.AnyStudio {
			t.Fatalf("got %v", got)
		}
	case <-time.After(20 * time.Second):
		t.Fatal("nothing was told")
	}
}

func TestMigrationsAtOnce(t *testing.T) {
	u := postgrestest.URL(t)
	if _, err := postgres.Open(t.Context(), u, postgres.Options{}); !errors.Is(err, store.ErrNeedsMigration) {
		t.Fatalf("got the error %v", err)
	}
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			if err := postgres.Migrate(t.Context(), u); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	s := opened(t, u, postgres.Options{})
	insertStudio(t, s)
	if err := s.Ready(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func TestNewerSchema(t *testing.T) {
	u := migrated(t)
	s := opened(t, u, postgres.Options{})
	c, err := pgx.Connect(t.Context(), u)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	if _, err := c.Exec(t.Context(), "INSERT INTO goose_db_version (version_id, is_applied) VALUES (99999, true)"); err != nil {
		t.Fatal(err)
	}
	_, opening := postgres.Open(t.Context(), u, postgres.Options{})
	for name, err := range map[string]error{"Open": opening, "Migrate": postgres.Migrate(t.Context(), u), "Ready": s.Ready(t.Context())} {
		if !errors.Is(err, store.ErrTooNew) {
			t.Errorf("%s: got the error %v", name, err)
		}
	}
}

// TestNoServer expects an error that names the server and gives no password away.
func TestNoServer(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := l.Addr().String()
	l.Close()
	u := "postgres://someone:secret@" + address + "/nothing?sslmode=disable"
	_, err = postgres.Open(t.Context(), u, postgres.Options{})
	for name, err := range map[string]error{"Open": err, "Migrate": postgres.Migrate(t.Context(), u)} {
		if !errors.Is(err, store.ErrUnavailable) || !strings.Contains(err.Error(), address) || strings.Contains(err.Error(), "secret") {
			t.Errorf("%s: got the error %v", name, err)
		}
	}
}

// TestHangingServer stops all traffic with the server without closing anything, as a network does that
// drops packets.
func TestHangingServer(t *testing.T) {
	direct := migrated(t)
	proxied, hang, cut := proxy(t, direct)
	s := opened(t, proxied, postgres.Options{Patience: time.Second})
	insertStudio(t, s)
	hang()
	ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
	defer cancel()
	if err := s.Ready(ctx); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("Ready: %v", err)
	}
	_, get := s.Get(ctx, tileKey(0, 0))
	_, written := s.Write(ctx, store.Write{Ops: []store.Op{store.Insert(store.Record{Key: tileKey(0, 0)})}})
	for name, err := range map[string]error{"Get": get, "Write": written} {
		if !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("%s: %v", name, err)
		}
	}
	cut() // or Close would wait, as the driver does, for a server that may still answer
}

// proxy passes connections on to the server until hang is called, and closes them when cut is.
func proxy(t *testing.T, server string) (proxied string, hang, cut func()) {
	t.Helper()
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	target := u.Host
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var hanging atomic.Bool
	ctx, stop := context.WithCancel(context.Background())
	pass := func(from, to net.Conn) {
		buffer := make([]byte, 32<<10)
		for {
			n, err := from.Read(buffer)
			if hanging.Load() {
				<-ctx.Done()
			}
			if err != nil {
				to.Close()
				return
			}
			to.Write(buffer[:n])
		}
	}
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			out, err := net.Dial("tcp", target)
			if err != nil {
				in.Close()
				continue
			}
			context.AfterFunc(ctx, func() { in.Close(); out.Close() })
			go pass(in, out)
			go pass(out, in)
		}
	}()
	cut = func() { l.Close(); stop() }
	t.Cleanup(cut)
	u.Host = l.Addr().String()
	return u.String(), func() { hanging.Store(true) }, cut
}

// TestEndedConnections ends every connection of the database, again and again, under writes with requests and
// reads: none may fail.
func TestEndedConnections(t *testing.T) {
	u := migrated(t)
	s := opened(t, u, postgres.Options{})
	insertStudio(t, s)
	c, err := pgx.Connect(t.Context(), u)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	const writers, each = 4, 30
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for i := range each {
				r := store.Record{Key: tileKey(w, i)}
				if _, err := s.Write(t.Context(), store.Write{
					Request: store.Request{ID: r.ID, Hash: []byte{1}},
					Ops:     []store.Op{store.Insert(r)},
				}); err != nil {
					t.Errorf("%s: %v", r.ID, err)
				}
				if _, err := s.Get(t.Context(), r.Key); err != nil {
					t.Errorf("%s: %v", r.ID, err)
				}
			}
		})
	}
	for range 10 {
		if _, err := c.Exec(t.Context(), `SELECT pg_terminate_backend(pid) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid()`); err != nil {
			t.Fatal(err)
		}
	}
	wg.Wait()
	n := 0
	if err := s.Scan(t.Context(), "s", store.KindTile, func(store.Record) error { n++; return nil }); err != nil || n != writers*each {
		t.Fatalf("%d tiles, %v", n, err)
	}
}

// TestTwoServersOneStudio lets two servers write into one studio as fast as they can, and checks the order.
func TestTwoServersOneStudio(t *testing.T) {
	u := migrated(t)
	servers := []*postgres.Store{opened(t, u, postgres.Options{}), opened(t, u, postgres.Options{})}
	insertStudio(t, servers[0])
	var wg sync.WaitGroup
	for w := range 16 {
		wg.Go(func() {
			for i := range 20 {
				insert(t, servers[w%2], store.Record{Key: tileKey(w, i)})
			}
		})
	}
	wg.Wait()
	last, n := int64(0), 0
	if err := servers[1].Scan(t.Context(), "s", store.KindTile, func(r store.Record) error {
		n++
		if r.Sequence != last+1 {
			return fmt.Errorf("%d comes after %d", r.Sequence, last)
		}
		last = r.Sequence
		return nil
	}); err != nil || n != 320 {
		t.Fatalf("%d tiles, %v", n, err)
	}
}
