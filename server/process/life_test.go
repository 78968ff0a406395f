package process

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/status"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
)

// waitingScore is a service whose scores wait until they are let go.
func waitingScore() (services *stubs, entered, release chan struct{}) {
	entered, release = make(chan struct{}, 100), make(chan struct{})
	return &stubs{score: func(ctx context.Context, _ *pb.ScoreLayeringRequest) (*pb.Score, error) {
		entered <- struct{}{}
		select {
		case <-release:
			return &pb.Score{}, nil
		case <-ctx.Done():
			return nil, status.FromContextError(ctx.Err()).Err()
		}
	}}, entered, release
}

var scoreRequest = &pb.ScoreLayeringRequest{Parent: "studios/s"}

func TestStoppingLetsRequestsUnderWayEnd(t *testing.T) {
	services, entered, release := waitingScore()
	s := start(t, services)
	health := healthpb.NewHealthClient(s.conn)
	watch, err := health.Watch(t.Context(), &healthpb.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	for {
		m, err := watch.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if m.Status == healthpb.HealthCheckResponse_SERVING {
			break
		}
	}
	type answer struct {
		over string
		err  error
	}
	answers := make(chan answer, 2)
	go func() {
		_, err := pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), scoreRequest)
		answers <- answer{"gRPC", err}
	}()
	go func() {
		resp, err := http.Post(s.url+"/v1/studios/s:score", "application/json", strings.NewReader("{}"))
		if err == nil {
			if resp.StatusCode != http.StatusOK {
				err = errors.New(resp.Status)
			}
			resp.Body.Close()
		}
		answers <- answer{"HTTP", err}
	}()
	<-entered
	<-entered
	stopped := make(chan error, 1)
	go func() { stopped <- s.stop() }()
	// Health is the first to tell.
	if m, err := watch.Recv(); err != nil || m.Status != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health says %v, %v", m, err)
	}
	// Nobody new gets in over HTTP, while the two are still waited for.
	for {
		c, err := net.Dial("tcp", s.HTTPAddress())
		if err != nil {
			break
		}
		c.Close()
	}
	select {
	case err := <-stopped:
		t.Fatalf("it did not wait: %v", err)
	default:
	}
	if err := s.store.Ready(t.Context()); err != nil {
		t.Errorf("the store was closed before the requests had ended: %v", err)
	}
	close(release)
	for range 2 {
		if a := <-answers; a.err != nil {
			t.Errorf("over %s: %v", a.over, a.err)
		}
	}
	watch.CloseSend()
	s.conn.Close() // ends the watching of health, which has no end of its own
	if err := <-stopped; err != nil {
		t.Errorf("it ended with %v", err)
	}
	if err := s.store.Ready(t.Context()); !errors.Is(err, store.ErrClosed) {
		t.Errorf("the store is not closed: %v", err)
	}
}

// For the delay readiness says no and everything else goes on, on connections that are there and on new ones.
func TestStoppingTellsBeforeItCloses(t *testing.T) {
	s := start(t, &stubs{score: func(context.Context, *pb.ScoreLayeringRequest) (*pb.Score, error) { return &pb.Score{}, nil }},
		func(c *config.Config) { c.ShutdownDelay = time.Hour })
	over, asked := make(chan time.Time), make(chan time.Duration, 1)
	s.after = func(d time.Duration) <-chan time.Time { asked <- d; return over }
	if resp, _ := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}"); resp.StatusCode != http.StatusOK || resp.Close {
		t.Fatalf("before: %s, closing %v", resp.Status, resp.Close)
	}
	stopped := make(chan error, 1)
	go func() { stopped <- s.stop() }()
	if d := <-asked; d != time.Hour {
		t.Errorf("the delay is %s", d)
	}
	if resp, body := s.do(t, http.MethodGet, "/readyz", "", ""); resp.StatusCode != http.StatusServiceUnavailable || !resp.Close {
		t.Errorf("readiness says %s %s, closing %v", resp.Status, body, resp.Close)
	}
	if m, err := healthpb.NewHealthClient(s.conn).Check(t.Context(), &healthpb.HealthCheckRequest{}); err != nil || m.Status != healthpb.HealthCheckResponse_NOT_SERVING {
		t.Errorf("health says %v, %v", m, err)
	}
	if resp, _ := s.do(t, http.MethodGet, "/healthz", "", ""); resp.StatusCode != http.StatusOK {
		t.Errorf("it says that it is dead: %s", resp.Status)
	}
	fresh, err := grpc.NewClient("passthrough:///"+s.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	for what, conn := range map[string]*grpc.ClientConn{"an old connection": s.conn, "a new one": fresh} {
		if _, err := pb.NewScoreServiceClient(conn).ScoreLayering(t.Context(), scoreRequest); err != nil {
			t.Errorf("over %s: %v", what, err)
		}
	}
	fresh.Close()
	if resp, _ := s.do(t, http.MethodPost, "/v1/studios/s:score", "", "{}"); resp.StatusCode != http.StatusOK || !resp.Close {
		t.Errorf("over HTTP: %s, closing %v", resp.Status, resp.Close)
	}
	close(over)
	if err := <-stopped; err != nil {
		t.Errorf("it ended with %v", err)
	}
	if _, err := net.Dial("tcp", s.HTTPAddress()); err == nil {
		t.Error("it still listens")
	}
}

func TestStoppingCutsOffWhatDoesNotEnd(t *testing.T) {
	services, entered, _ := waitingScore()
	s := start(t, services, func(c *config.Config) { c.ShutdownGrace = 50 * time.Millisecond })
	failed := make(chan error, 1)
	go func() {
		_, err := pb.NewScoreServiceClient(s.conn).ScoreLayering(t.Context(), scoreRequest)
		failed <- err
	}()
	<-entered
	if err := s.stop(); err != nil {
		t.Errorf("it ended with %v", err)
	}
	if err := <-failed; err == nil {
		t.Error("the request was answered")
	}
	if !strings.Contains(s.log.String(), "cut off") {
		t.Error("the log does not say so")
	}
}

func TestReadiness(t *testing.T) {
	s := start(t, &stubs{})
	for path, want := range map[string]int{"/healthz": 200, "/readyz": 200} {
		if resp, body := s.do(t, http.MethodGet, path, "", ""); resp.StatusCode != want {
			t.Errorf("%s: %d %s", path, resp.StatusCode, body)
		}
	}
	s.store.Close() // as if the storage had gone
	if resp, body := s.do(t, http.MethodGet, "/readyz", "", ""); resp.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("/readyz without storage: %d %s", resp.StatusCode, body)
	}
	if resp, _ := s.do(t, http.MethodGet, "/healthz", "", ""); resp.StatusCode != http.StatusOK {
		t.Errorf("/healthz without storage: %d", resp.StatusCode)
	}
}

func open(t *testing.T, change func(*config.Config)) error {
	t.Helper()
	c := config.Default()
	c.Store, c.Create = config.Database(filepath.Join(t.TempDir(), "x.db")), true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", ""
	change(&c)
	p, err := Open(t.Context(), c, Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err == nil {
		p.Close()
	}
	return err
}

// Whatever keeps the server from starting says what and how to mend it.
func TestFailuresToStart(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	garbage := filepath.Join(t.TempDir(), "garbage")
	if err := os.WriteFile(garbage, []byte("this is not what it should be"), 0o600); err != nil {
		t.Fatal(err)
	}
	secret := config.NewSecret(operatorKey)
	for _, x := range []struct {
		what   string
		change func(*config.Config)
		want   []string
	}{
		{"settings", func(c *config.Config) { c.Limits.Concurrent = 0 }, []string{"settings", "limit-concurrent"}},
		{"port taken", func(c *config.Config) { c.GRPC.Address = taken.Addr().String() }, []string{"cannot listen", "another --grpc-address"}},
		{"no database", func(c *config.Config) { c.Create = false }, []string{"there is no database", "--create"}},
		{"not a database", func(c *config.Config) { c.Store = config.Database(garbage) }, []string{"not a database of this program"}},
		{"no directory", func(c *config.Config) { c.Store = "/nonexistent/x.db" }, []string{"directory"}},
		{"no certificate", func(c *config.Config) { c.TLS = config.TLS{Cert: garbage, Key: garbage} }, []string{"certificate", "tls-cert"}},
		{"no JWKS", func(c *config.Config) {
			c.Keys.OperatorKey = secret
			c.JWT = config.JWT{JWKS: garbage, Issuer: "i", Audience: "a", StudioClaim: "s", RoleClaim: "r"}
		}, []string{"identity provider", "jwt-jwks"}},
		{"no demo", func(c *config.Config) { c.Demo = true }, []string{"demo"}},
	} {
		err := open(t, x.change)
		if err == nil {
			t.Errorf("%s: it started", x.what)
			continue
		}
		for _, want := range x.want {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: %q is not in: %v", x.what, want, err)
			}
		}
	}
}

// A second server on a machine has its own ports for what it is for; that for its metrics is not worth failing for.
func TestTheMetricsPortAloneStopsNoServer(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	s := start(t, &stubs{}, func(c *config.Config) { c.Telemetry.MetricsAddress = taken.Addr().String() })
	if resp, _ := s.do(t, http.MethodGet, "/readyz", "", ""); resp.StatusCode != http.StatusOK || s.MetricsAddress() != "" {
		t.Errorf("ready: %s, metrics at %q", resp.Status, s.MetricsAddress())
	}
	if !strings.Contains(s.log.String(), "metrics are not served") {
		t.Error("the log does not say so")
	}
}

func TestEmbedded(t *testing.T) {
	s := start(t, nil, withKeys, func(c *config.Config) { c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "", "", "" })
	if s.GRPCAddress() != "" || s.HTTPAddress() != "" {
		t.Error("it listens")
	}
	studio, err := pb.NewStudioServiceClient(s.Local()).CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "mine", Studio: &pb.Studio{DisplayName: "Mine"}})
	if err != nil || studio.Name != "studios/mine" {
		t.Errorf("got %v, %v", studio, err)
	}
}

func TestOneServerFailingStopsTheOthers(t *testing.T) {
	c := config.Default()
	c.Store, c.Create = config.Database(filepath.Join(t.TempDir(), "x.db")), true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", "127.0.0.1:0"
	p, err := Open(t.Context(), c, Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	p.config.ShutdownDelay = time.Hour // not where one has failed
	p.httpListener.Close()
	if err := p.Run(t.Context()); err == nil {
		t.Error("it ended without an error")
	}
	if _, err := net.Dial("tcp", p.GRPCAddress()); err == nil {
		t.Error("gRPC is still served")
	}
}
