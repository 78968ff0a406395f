package client_test

import (
	"context"
	"fmt"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// fake is a server that fails as often as it is told to, and keeps what it was sent.
type fake struct {
	pb.UnimplementedGlazeServiceServer
	pb.UnimplementedKeyServiceServer
	pb.UnimplementedScoreServiceServer

	mu       sync.Mutex
	failures int // calls that are still to be turned away
	requests []string
	keys     []string
	ended    chan error // how the sheet's stream ended
}

func (f *fake) turnAway(ctx context.Context, requestID string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.requests = append(f.requests, requestID)
	md, _ := metadata.FromIncomingContext(ctx)
	f.keys = append(f.keys, md["authorization"]...)
	if f.failures > 0 {
		f.failures--
		return status.Error(codes.Unavailable, "try again")
	}
	return nil
}

func (f *fake) DeleteGlaze(ctx context.Context, r *pb.DeleteGlazeRequest) (*emptypb.Empty, error) {
	return &emptypb.Empty{}, f.turnAway(ctx, r.RequestId)
}

func (f *fake) CreateKey(ctx context.Context, _ *pb.CreateKeyRequest) (*pb.CreateKeyResponse, error) {
	return &pb.CreateKeyResponse{}, f.turnAway(ctx, "")
}

// ListGlazes has seven glazes, three a page.
func (f *fake) ListGlazes(_ context.Context, r *pb.ListGlazesRequest) (*pb.ListGlazesResponse, error) {
	first := 0
	if r.PageToken != "" {
		if _, err := fmt.Sscan(r.PageToken, &first); err != nil {
			return nil, status.Error(codes.InvalidArgument, "page_token")
		}
	}
	out := &pb.ListGlazesResponse{}
	for i := first; i < min(first+3, 7); i++ {
		out.Glazes = append(out.Glazes, &pb.Glaze{Name: fmt.Sprintf("%s/glazes/%d", r.Parent, i)})
	}
	if first+3 < 7 {
		out.NextPageToken = fmt.Sprint(first + 3)
	}
	return out, nil
}

// ScoreSheet sends chunks until nobody listens.
func (f *fake) ScoreSheet(_ *pb.ScoreSheetRequest, stream pb.ScoreService_ScoreSheetServer) error {
	for i := int64(0); ; i++ {
		if err := stream.Send(&pb.ScoreSheetResponse{FirstIndex: i}); err != nil {
			f.ended <- stream.Context().Err()
			return err
		}
	}
}

// serve starts the fake and gives a client to it.
func serve(t *testing.T, f *fake, o client.Options) *client.Client {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	pb.RegisterGlazeServiceServer(server, f)
	pb.RegisterKeyServiceServer(server, f)
	pb.RegisterScoreServiceServer(server, f)
	healthpb.RegisterHealthServer(server, health.NewServer())
	go server.Serve(listener)
	t.Cleanup(server.Stop)
	c, err := client.New(listener.Addr().String(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	return c
}

func TestWriteIsTriedAgainWithTheSameRequestID(t *testing.T) {
	f := &fake{failures: 2}
	c := serve(t, f, client.Options{})
	r := &pb.DeleteGlazeRequest{Name: "studios/s/glazes/g"}
	if _, err := c.Glazes.DeleteGlaze(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	if len(f.requests) != 3 || f.requests[0] == "" || f.requests[1] != f.requests[0] || f.requests[2] != f.requests[0] {
		t.Errorf("request ids %q, want the same one three times", f.requests)
	}
	if r.RequestId != "" {
		t.Error("the caller's message was changed")
	}
	r.RequestId = "mine"
	if _, err := c.Glazes.DeleteGlaze(t.Context(), r); err != nil {
		t.Fatal(err)
	}
	if last := f.requests[len(f.requests)-1]; last != "mine" {
		t.Errorf("request id %q, want the caller's own", last)
	}
}

func TestMakingAKeyIsNotTriedAgain(t *testing.T) {
	f := &fake{failures: 1}
	c := serve(t, f, client.Options{})
	if _, err := c.Keys.CreateKey(t.Context(), &pb.CreateKeyRequest{}); status.Code(err) != codes.Unavailable {
		t.Errorf("got %v, want Unavailable", err)
	}
	if len(f.requests) != 1 {
		t.Errorf("sent %d times, want once: a second key might have been made", len(f.requests))
	}
}

func TestKeyGoesWithEveryCall(t *testing.T) {
	f := &fake{}
	c := serve(t, f, client.Options{Key: "the key"})
	if _, err := c.Glazes.DeleteGlaze(t.Context(), &pb.DeleteGlazeRequest{}); err != nil {
		t.Fatal(err)
	}
	if len(f.keys) != 1 || f.keys[0] != "Bearer the key" {
		t.Errorf("sent %q", f.keys)
	}
}

func TestPlaintextOnlyOnThisMachine(t *testing.T) {
	for _, c := range []struct {
		target string
		ok     bool
	}{
		{"127.0.0.1:7400", true},
		{"[::1]:7400", true},
		{"localhost:7400", true},
		{"dns:///localhost:7400", true},
		{"unix:/run/catchline", true},
		{"192.0.2.7:7400", false},
		{"studio.example:7400", false},
		{"dns:///studio.example:7400", false},
		{"localhost.example:7400", false},
		{"0.0.0.0:7400", false},
	} {
		made, err := client.New(c.target, client.Options{})
		if (err == nil) != c.ok {
			t.Errorf("%s: %v", c.target, err)
		}
		if err == nil {
			made.Close()
		} else if !strings.Contains(err.Error(), c.target) {
			t.Errorf("the error does not name %s: %v", c.target, err)
		}
		made, err = client.New(c.target, client.Options{PlaintextAnywhere: true})
		if err != nil {
			t.Errorf("%s with PlaintextAnywhere: %v", c.target, err)
			continue
		}
		made.Close()
	}
}

func TestPages(t *testing.T) {
	c := serve(t, &fake{}, client.Options{})
	var names []string
	for g, err := range c.AllGlazes(t.Context(), "studios/s") {
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, g.Name)
	}
	if len(names) != 7 || names[6] != "studios/s/glazes/6" {
		t.Errorf("walked %q, want 7 glazes", names)
	}
	n := 0
	for range c.AllGlazes(t.Context(), "studios/s") {
		if n++; n == 4 {
			break
		}
	}
	if n != 4 {
		t.Errorf("walked %d before the break, want 4", n)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	failures := 0
	for g, err := range c.AllGlazes(ctx, "studios/s") {
		if err == nil || g != nil {
			t.Errorf("a glaze %v from a call that was cancelled", g)
		}
		failures++
	}
	if failures != 1 {
		t.Errorf("%d errors, want one", failures)
	}
}

func TestLeavingASheetEndsItsStream(t *testing.T) {
	f := &fake{ended: make(chan error, 1)}
	c := serve(t, f, client.Options{})
	want := int64(0)
	for chunk, err := range c.Sheet(t.Context(), &pb.ScoreSheetRequest{}) {
		if err != nil {
			t.Fatal(err)
		}
		if chunk.FirstIndex != want {
			t.Fatalf("chunk %d, want %d", chunk.FirstIndex, want)
		}
		if want++; want == 3 {
			break
		}
	}
	select {
	case <-f.ended:
	case <-time.After(10 * time.Second):
		t.Error("the server was not told that nobody listens")
	}
}
