// Package postgrestest starts private PostgreSQL servers for tests, from the programs that the operating
// system's package has installed.
package postgrestest

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Env names the variable with the URL of a server to use instead of a private one. Its user must be
// allowed to create databases.
const Env = "CATCHLINE_TEST_POSTGRES"

// shared is the server of this test binary.
var shared struct {
	once sync.Once
	node *Node
	err  error
}

// Main runs the tests and then stops the shared server. Call it from TestMain.
func Main(m *testing.M) int {
	defer func() {
		if shared.node != nil {
			shared.node.Stop()
		}
	}()
	return m.Run()
}

// URL returns the URL of a new, empty database, which is dropped when the test ends. Where no PostgreSQL
// is installed the test is skipped, but fails if the variable CI is "true".
func URL(t testing.TB) string {
	t.Helper()
	server := os.Getenv(Env)
	if server == "" {
		shared.once.Do(func() {
			// It makes and drops many databases; what must survive a crash is tested on servers
			// that sync.
			shared.node, shared.err = start("shared", Options{Settings: map[string]string{"fsync": "off"}})
		})
		require(t, shared.err)
		server = shared.node.URL
	}
	name := "test_" + strings.ToLower(rand.Text())
	execute(t, server, "CREATE DATABASE "+name)
	t.Cleanup(func() { execute(t, server, "DROP DATABASE "+name+" WITH (FORCE)") })
	u, err := url.Parse(server)
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	return u.String()
}

func require(t testing.TB, err error) {
	t.Helper()
	if errors.Is(err, errNotInstalled) && os.Getenv("CI") != "true" {
		t.Skipf("%v; install the postgresql package, or give a URL in %s", err, Env)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func execute(t testing.TB, server, statement string) {
	t.Helper()
	ctx := context.WithoutCancel(t.Context())
	c, err := pgx.Connect(ctx, server)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(ctx)
	if _, err := c.Exec(ctx, statement); err != nil {
		t.Fatal(err)
	}
}

// Options of a server.
type Options struct {
	Settings map[string]string // as in postgresql.conf
}

// Node is one PostgreSQL server.
type Node struct {
	URL  string // of the database "postgres"
	Port int

	dir    string
	server *exec.Cmd
	ended  chan struct{}
}

var errNotInstalled = errors.New("PostgreSQL's server programs are not installed")

// Start starts a server with an empty cluster, which is removed when the test ends.
func Start(t testing.TB, o Options) *Node {
	t.Helper()
	n, err := start("node", o)
	require(t, err)
	t.Cleanup(n.Stop)
	return n
}

func start(name string, o Options) (*Node, error) {
	n, err := newNode(name)
	if err != nil {
		return nil, err
	}
	// A collation by language, so that the tests notice a comparison that is not byte by byte.
	if err := n.run("initdb", "-D", n.data(), "-U", "catchline", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8",
		"--locale-provider=icu", "--icu-locale=en", "--no-sync"); err != nil {
		n.Stop()
		return nil, err
	}
	if err := os.WriteFile(filepath.Join(n.data(), "pg_hba.conf"),
		[]byte("host all all 127.0.0.1/32 trust\nhost replication all 127.0.0.1/32 trust\n"), 0o644); err != nil {
		n.Stop()
		return nil, err
	}
	if err := n.serve(o.Settings); err != nil {
		n.Stop()
		return nil, err
	}
	return n, nil
}

// Standby starts a copy of the server that follows it under the given application name.
func (n *Node) Standby(t testing.TB, application string, o Options) *Node {
	t.Helper()
	s, err := newNode(application)
	require(t, err)
	t.Cleanup(s.Stop)
	source := fmt.Sprintf("host=127.0.0.1 port=%d user=catchline application_name=%s", n.Port, application)
	if err := s.run("pg_basebackup", "-D", s.data(), "-d", source, "-R", "-X", "stream", "-c", "fast", "--no-sync"); err != nil {
		t.Fatal(err)
	}
	if err := s.serve(o.Settings); err != nil {
		t.Fatal(err)
	}
	return s
}

// Synchronous makes every commit wait for the standby of this application name, and waits until it does.
func (n *Node) Synchronous(t testing.TB, application string) {
	t.Helper()
	execute(t, n.URL, "ALTER SYSTEM SET synchronous_standby_names = '"+application+"'")
	execute(t, n.URL, "SELECT pg_reload_conf()")
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	c, err := pgx.Connect(ctx, n.URL)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(ctx)
	for state := ""; state != "sync"; {
		if err := c.QueryRow(ctx, "SELECT coalesce(max(sync_state), '') FROM pg_stat_replication").Scan(&state); err != nil {
			t.Fatal(err)
		}
	}
}

// Promote makes a standby a server that takes writes.
func (n *Node) Promote() error { return n.run("pg_ctl", "promote", "-D", n.data(), "-w") }

// Kill ends the server at once, without a chance to write or to say anything.
func (n *Node) Kill() {
	// All processes of the server, which share a process group. It is ours: serve has made it.
	syscall.Kill(-n.server.Process.Pid, syscall.SIGKILL)
	<-n.ended
}

// Stop ends the server and removes its files.
func (n *Node) Stop() {
	if n.server != nil {
		n.Kill()
	}
	os.RemoveAll(n.dir)
}

func (n *Node) data() string { return filepath.Join(n.dir, "data") }

func newNode(name string) (*Node, error) {
	dir, err := os.MkdirTemp("", "catchline-postgres-"+name+"-")
	if err != nil {
		return nil, err
	}
	n := &Node{dir: dir}
	if credential, err := serverUser(); err != nil {
		n.Stop()
		return nil, err
	} else if credential != nil {
		if err := os.Chown(dir, int(credential.Uid), int(credential.Gid)); err != nil {
			n.Stop()
			return nil, err
		}
	}
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		n.Stop()
		return nil, err
	}
	n.Port = free.Addr().(*net.TCPAddr).Port
	free.Close()
	n.URL = fmt.Sprintf("postgres://catchline@127.0.0.1:%d/postgres?sslmode=disable", n.Port)
	return n, nil
}

// serve starts the server and waits until it answers.
func (n *Node) serve(settings map[string]string) error {
	args := []string{"-D", n.data(), "-c", "listen_addresses=127.0.0.1", "-p", strconv.Itoa(n.Port),
		"-c", "unix_socket_directories=", "-c", "max_connections=200", "-c", "wal_level=replica", "-c", "log_min_messages=fatal"}
	for name, value := range settings {
		args = append(args, "-c", name+"="+value)
	}
	cmd, err := n.command("postgres", args...)
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	n.server, n.ended = cmd, make(chan struct{})
	go func() {
		cmd.Wait()
		close(n.ended)
	}()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for {
		c, err := pgx.Connect(ctx, n.URL)
		if err == nil {
			return c.Close(ctx)
		}
		select {
		case <-n.ended:
			return fmt.Errorf("the PostgreSQL server ended at once: %s", cmd.Stderr)
		case <-ctx.Done():
			return err
		case <-time.After(50 * time.Millisecond):
		}
	}
}

func (n *Node) run(program string, args ...string) error {
	cmd, err := n.command(program, args...)
	if err != nil {
		return err
	}
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("%s: %w\n%s", program, err, cmd.Stderr)
	}
	return nil
}

func (n *Node) command(program string, args ...string) (*exec.Cmd, error) {
	path, err := find(program)
	if err != nil {
		return nil, err
	}
	credential, err := serverUser()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(path, args...)
	cmd.Dir = n.dir
	cmd.Env = []string{"PATH=" + os.Getenv("PATH"), "LC_ALL=C.UTF-8"}
	cmd.Stderr = &strings.Builder{}
	// A group of its own, to be killed as a whole; and an end if the tests are killed.
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Credential: credential, Pdeathsig: syscall.SIGQUIT}
	return cmd, nil
}

// find looks in the path, then where Debian puts the programs that are not for users, newest first.
func find(program string) (string, error) {
	if path, err := exec.LookPath(program); err == nil {
		return path, nil
	}
	if path, err := exec.LookPath("/usr/sbin/" + program); err == nil { // not in everybody's path
		return path, nil
	}
	paths, err := filepath.Glob("/usr/lib/postgresql/*/bin/" + program)
	if err != nil || len(paths) == 0 {
		return "", errNotInstalled
	}
	return slices.Max(paths), nil
}

// serverUser is whom to run the server as: it refuses to run as root, so root runs it as postgres.
func serverUser() (*syscall.Credential, error) {
	if os.Getuid() != 0 {
		return nil, nil
	}
	u, err := user.Lookup("postgres")
	if err != nil {
		return nil, errNotInstalled
	}
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	if err != nil {
		return nil, err
	}
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	if err != nil {
		return nil, err
	}
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
}
