package client_test

import (
	"context"
	"net"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// counter is one of several servers; it counts the calls that reach it.
type counter struct {
	pb.UnimplementedGlazeServiceServer
	address string
	calls   atomic.Int64
	health  *health.Server
	server  *grpc.Server
	hold    atomic.Pointer[chan struct{}] // what calls wait for; nil: nothing
}

func (c *counter) DeleteGlaze(context.Context, *pb.DeleteGlazeRequest) (*emptypb.Empty, error) {
	c.calls.Add(1)
	if hold := c.hold.Load(); hold != nil {
		<-*hold
	}
	return &emptypb.Empty{}, nil
}

func count(t *testing.T, n int) []*counter {
	t.Helper()
	var servers []*counter
	for range n {
		listener, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		c := &counter{address: listener.Addr().String(), health: health.NewServer(), server: grpc.NewServer()}
		pb.RegisterGlazeServiceServer(c.server, c)
		healthpb.RegisterHealthServer(c.server, c.health)
		go c.server.Serve(listener)
		t.Cleanup(c.server.Stop)
		servers = append(servers, c)
	}
	return servers
}

// balance makes a client that knows the servers from a resolver, as it would from DNS.
func balance(t *testing.T, o client.Options, servers []*counter) *client.Client {
	t.Helper()
	var state resolver.State
	for _, s := range servers {
		state.Addresses = append(state.Addresses, resolver.Address{Addr: s.address})
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

// round makes ten calls, none of which may fail, and tells how many of them each server got.
func round(t *testing.T, c *client.Client, servers []*counter) []int64 {
	t.Helper()
	before := make([]int64, len(servers))
	for i, s := range servers {
		before[i] = s.calls.Load()
	}
	for range 10 {
		if _, err := c.Glazes.DeleteGlaze(t.Context(), &pb.DeleteGlazeRequest{}); err != nil {
			t.Fatal(err)
		}
	}
	for i, s := range servers {
		before[i] = s.calls.Load() - before[i]
	}
	return before
}

// until makes rounds until the servers share the calls as wanted: connections and health are known a moment later.
func until(t *testing.T, what string, c *client.Client, servers []*counter, want ...int64) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	for {
		got := round(t, c, servers)
		same := true
		for i := range want {
			same = same && got[i] == want[i]
		}
		if same {
			return
		}
		if ctx.Err() != nil {
			t.Fatalf("%s: calls are shared as %v, want %v", what, got, want)
		}
	}
}

func TestServersAreUsedInTurn(t *testing.T) {
	servers := count(t, 2)
	c := balance(t, client.Options{}, servers)
	until(t, "two servers", c, servers, 5, 5)

	servers[0].health.SetServingStatus("", healthpb.HealthCheckResponse_NOT_SERVING)
	until(t, "one not healthy", c, servers, 0, 10)
	servers[0].health.SetServingStatus("", healthpb.HealthCheckResponse_SERVING)
	until(t, "healthy again", c, servers, 5, 5)

	servers[1].server.Stop()
	until(t, "one dead", c, servers, 10, 0)
}

// A call that takes its time is not sent to another server meanwhile, nor twice to the same.
func TestNothingIsHedged(t *testing.T) {
	servers := count(t, 2)
	c := balance(t, client.Options{}, servers)
	until(t, "two servers", c, servers, 5, 5)
	start := servers[0].calls.Load() + servers[1].calls.Load()
	hold := make(chan struct{})
	for _, s := range servers {
		s.hold.Store(&hold)
	}
	done := make(chan error)
	go func() {
		_, err := c.Glazes.DeleteGlaze(t.Context(), &pb.DeleteGlazeRequest{})
		done <- err
	}()
	for servers[0].calls.Load()+servers[1].calls.Load() == start {
		time.Sleep(time.Millisecond)
	}
	// Other calls go on in the meantime: were there a second copy of the first, it would be counted with them.
	for _, s := range servers {
		s.hold.Store(nil)
	}
	round(t, c, servers)
	close(hold)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if got := servers[0].calls.Load() + servers[1].calls.Load() - start; got != 11 {
		t.Errorf("11 calls arrived as %d", got)
	}
}

// While no server is healthy a call fails, but a patient one waits.
func TestWithoutAHealthyServer(t *testing.T) {
	servers := count(t, 2)
	for _, s := range servers {
		s.health.SetServingStatus("", healthpb.HealthCheckResponse_NOT_SERVING)
	}
	call := func(o client.Options) error {
		_, err := balance(t, o, servers).Glazes.DeleteGlaze(t.Context(), &pb.DeleteGlazeRequest{})
		return err
	}
	patient := make(chan error, 1)
	go func() { patient <- call(client.Options{Patient: true}) }()
	for range 2 { // the patient one has been at it for longer than at least the second of them
		if err := call(client.Options{}); status.Code(err) != codes.Unavailable {
			t.Errorf("got %v, want Unavailable", err)
		}
	}
	select {
	case err := <-patient:
		t.Fatalf("the patient call ended before there was a server: %v", err)
	default:
	}
	servers[1].health.SetServingStatus("", healthpb.HealthCheckResponse_SERVING)
	if err := <-patient; err != nil {
		t.Error(err)
	}
	if servers[0].calls.Load() != 0 || servers[1].calls.Load() != 1 {
		t.Errorf("the one call that was possible arrived as %d and %d", servers[0].calls.Load(), servers[1].calls.Load())
	}
}
