package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Pooler starts PgBouncer in front of the server of a URL, in the mode "session" or "transaction", until the test ends, and returns a function
// that leads a URL of any database there through it. All settings but the size of its pools are the defaults. Where PgBouncer is not installed
// the test is skipped, but fails if the variable CI is "true".
func Pooler(t testing.TB, server, mode string, size int) (through func(database string) string) {
	t.Helper()
	n, err := newNode("pooler")
	require(t, err)
	t.Cleanup(n.Stop)
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	settings := fmt.Sprintf(`[databases]
* = host=%s port=%s user=%s
[pgbouncer]
listen_addr = 127.0.0.1
listen_port = %d
unix_socket_dir =
auth_type = any
pool_mode = %s
default_pool_size = %d
`, u.Hostname(), u.Port(), u.User.Username(), n.Port, mode, size)
	file := filepath.Join(n.dir, "pgbouncer.ini")
	if err := os.WriteFile(file, []byte(settings), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd, err := n.command("pgbouncer", "--quiet", file)
	if errors.Is(err, errNotInstalled) && os.Getenv("CI") != "true" {
		t.Skip("PgBouncer is not installed; install the pgbouncer package")
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	n.server, n.ended = cmd, make(chan struct{})
	go func() {
		cmd.Wait()
		close(n.ended)
	}()
	through = func(database string) string {
		u, err := url.Parse(database)
		if err != nil {
			t.Fatal(err)
		}
		u.Host = fmt.Sprintf("127.0.0.1:%d", n.Port)
		return u.String()
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	for {
		c, err := pgx.Connect(ctx, through(server))
		if err == nil {
			c.Close(ctx)
			return through
		}
		select {
		case <-n.ended:
			t.Fatalf("PgBouncer ended at once: %s", cmd.Stderr)
		case <-ctx.Done():
			t.Fatal(err)
		case <-time.After(50 * time.Millisecond):
		}
	}
}
