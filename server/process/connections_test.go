package process

import (
	"io"
	"net"
	"net/http"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
)

// Idle connections without a key take neither port from health checks and from who has a key, with TLS and without.
func TestIdleConnectionsWithoutAKey(t *testing.T) {
	s := start(t, quick(), withKeys, func(c *config.Config) {
		c.GRPC.MaxConnections, c.HTTP.MaxConnections, c.Limits.KeylessConnections, c.Limits.AddressConnections = 8, 8, 2, 0
		c.Limits.KeylessIdle = time.Hour
	})
	key := s.addStudio(t, "s")[pb.Role_ROLE_VIEW]
	for _, address := range []string{s.GRPCAddress(), s.HTTPAddress()} {
		for range 50 {
			c, err := net.Dial("tcp", address)
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
		}
	}
	for range 3 {
		conn, err := grpc.NewClient("passthrough:///"+s.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		if _, err := healthpb.NewHealthClient(conn).Check(t.Context(), &healthpb.HealthCheckRequest{}); err != nil {
			t.Errorf("health over gRPC: %v", err)
		}
		if _, err := pb.NewScoreServiceClient(conn).ScoreLayering(bearing(t.Context(), key), scoreRequest); err != nil {
			t.Errorf("with a key over gRPC: %v", err)
		}
		plain := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
		resp, err := plain.Get(s.url + "/readyz")
		if err != nil || resp.StatusCode != http.StatusOK {
			t.Fatalf("health over HTTP: %v, %v", resp, err)
		}
		resp.Body.Close()
	}
	if resp, body := s.do(t, http.MethodPost, "/v1/studios/s:score", key, "{}"); resp.StatusCode != http.StatusOK {
		t.Errorf("with a key over HTTP: %d %s", resp.StatusCode, body)
	}
}

// On a connection without a key nothing is waited for that does not come.
func TestConnectionWithoutAKeyIsClosedSoon(t *testing.T) {
	s := start(t, quick(), withKeys, func(c *config.Config) { c.Limits.KeylessIdle = 100 * time.Millisecond })
	key := s.addStudio(t, "s")[pb.Role_ROLE_VIEW]
	client := pb.NewScoreServiceClient(s.conn)
	if _, err := client.ScoreLayering(bearing(t.Context(), key), scoreRequest); err != nil {
		t.Fatal(err)
	}
	stays := s.conn.GetState()
	for _, address := range []string{s.GRPCAddress(), s.HTTPAddress()} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		c.SetReadDeadline(time.Now().Add(4 * time.Second)) // less than what else would close it
		if _, err := io.Copy(io.Discard, c); err != nil {
			t.Errorf("it stays open: %v", err)
		}
	}
	if got := s.conn.GetState(); got != stays {
		t.Errorf("that with a key is %v, and was %v", got, stays)
	}
}
