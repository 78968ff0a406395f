// Package clustertest runs several servers on one PostgreSQL database, and looks at what each sees of the others, and at what is
// left when the database's primary dies.
package clustertest

import (
	"context"
	"io"
	"log/slog"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"google.golang.org/grpc"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/store/postgrestest"
)

func TestMain(m *testing.M) { os.Exit(postgrestest.Main(m)) }

// settings are those of a server on a database, on free ports.
func settings(database string) config.Config {
	c := config.Default()
	c.Limits.QueueTime, c.Limits.StandingQueueTime = 10*time.Second, 10*time.Second // whatever else runs on this machine
	c.Store = config.Database(database)
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "", ""
	c.ShutdownGrace = 5 * time.Second
	// A busy machine is not what is looked at here.
	c.Limits.QueueTime, c.Limits.StandingQueueTime, c.Limits.StudioRequestsPerSecond = 20*time.Second, 20*time.Second, 0
	return c
}

// start runs a server until the test ends.
func start(t testing.TB, c config.Config) *process.Program {
	t.Helper()
	p, err := process.Open(t.Context(), c, process.Options{Version: "test", Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	var run sync.WaitGroup
	run.Go(func() {
		if err := p.Run(ctx); err != nil {
			t.Errorf("the server ended with %v", err)
		}
	})
	t.Cleanup(func() {
		cancel()
		run.Wait()
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
	return p
}

// dial gives a client that balances over the servers.
func dial(t testing.TB, o client.Options, servers ...*process.Program) *client.Client {
	t.Helper()
	var state resolver.State
	for _, s := range servers {
		state.Addresses = append(state.Addresses, resolver.Address{Addr: s.GRPCAddress()})
	}
	r := manual.NewBuilderWithScheme("servers")
	r.InitialState(state)
	o.Dial = append(o.Dial, grpc.WithResolvers(r))
	c, err := client.New("servers:///localhost", o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

// migrated returns the URL of a new database of the latest schema.
func migrated(t testing.TB) string {
	t.Helper()
	u := postgrestest.URL(t)
	if err := process.Migrate(t.Context(), settings(u), io.Discard); err != nil {
		t.Fatal(err)
	}
	return u
}

// muted returns the URL of the same database where what the servers send each other goes nowhere: a function that does nothing
// stands before PostgreSQL's own.
func muted(t *testing.T, database string) string {
	t.Helper()
	c, err := pgx.Connect(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(context.Background())
	for _, statement := range []string{
		"CREATE SCHEMA muted",
		"CREATE FUNCTION muted.pg_notify(text, text) RETURNS void LANGUAGE sql AS ''",
	} {
		if _, err := c.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	u, err := url.Parse(database)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", "muted,public,pg_catalog")
	u.RawQuery = q.Encode()
	return u.String()
}

// listener returns a function that gives the first note that was sent from now on.
func listener(t *testing.T, database string) (first func() string) {
	t.Helper()
	c, err := pgx.Connect(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close(context.Background()) })
	exec := func(statement string) {
		t.Helper()
		if _, err := c.Exec(t.Context(), statement); err != nil {
			t.Fatal(err)
		}
	}
	exec("LISTEN catchline_changes")
	return func() string {
		t.Helper()
		// Notes arrive in the order of their commits, so if this is the first there was none before.
		exec("NOTIFY catchline_changes, 'none'")
		n, err := c.WaitForNotification(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return n.Payload
	}
}

// soon asks until the answer is the new one. A question put more than a second after the change must get it, however slow the
// machine is in answering.
func soon(t *testing.T, what string, changed time.Time, ask func() bool) {
	t.Helper()
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for questions := 1; ; questions++ {
		asked := time.Now()
		if ask() {
			t.Logf("%s: seen by question %d, put %v after the change", what, questions, asked.Sub(changed).Round(time.Millisecond))
			return
		}
		if late := asked.Sub(changed); late > time.Second {
			t.Fatalf("%s: not seen by a question put %v after the change", what, late)
		}
		<-tick.C
	}
}
