package limits

import (
	"context"
	"net"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/mem"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/chain"
)

// slowConn sends at 1 Mbit/s, by the clock of the test.
type slowConn struct{ net.Conn }

func (c slowConn) Write(b []byte) (int, error) {
	const packet, takes = 1250, 10 * time.Millisecond
	sent := 0
	for sent < len(b) {
		time.Sleep(takes)
		n, err := c.Conn.Write(b[sent:min(sent+packet, len(b))])
		if sent += n; err != nil {
			return sent, err
		}
	}
	return sent, nil
}

// importing is a service that takes every file.
type importing struct {
	pb.UnimplementedTileServiceServer
	bytes int
}

func (s *importing) ImportTiles(_ context.Context, r *pb.ImportTilesRequest) (*pb.ImportTilesResponse, error) {
	s.bytes = len(r.GetCsv())
	return &pb.ImportTilesResponse{}, nil
}

func known(context.Context, string) error { return nil }

// serveSlow serves imports to a client behind a slow line.
func serveSlow(t *testing.T, l *Limits, s *importing) pb.TileServiceClient {
	links := []chain.Link{l.Link()}
	server := grpc.NewServer(
		grpc.UnaryInterceptor(chain.Unary("grpc", links)),
		grpc.InTapHandle(chain.Taps(chain.HeadTap, l.Tap(nil))), Codec(),
	)
	pb.RegisterTileServiceServer(l.Registrar(server, known), s)
	listener := bufconn.Listen(1 << 20)
	go server.Serve(listener)
	conn, err := grpc.NewClient("passthrough:///slow", grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) {
			c, err := listener.DialContext(ctx)
			return slowConn{c}, err
		}))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		conn.Close()
		server.Stop()
	})
	return pb.NewTileServiceClient(conn)
}

// A body that takes a second on the way is not called too old: an import of 104 kB at 1 Mbit/s, to a server that has nothing else to do, with the
// usual waits.
func TestSlowBodyIsNotBusy(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.BodyBytes, o.Arriving = 64*mb, 100
		o.QueueTime, o.StandingQueueTime = 200*time.Millisecond, 5*time.Millisecond
		l, s := New(o, nil), &importing{}
		client := serveSlow(t, l, s)
		file := strings.Repeat("a line of a file\n", 104_000/17)
		for range 6 {
			start := time.Now()
			_, err := client.ImportTiles(t.Context(), &pb.ImportTilesRequest{Csv: file})
			if took := time.Since(start); err != nil || s.bytes != len(file) || took < 800*time.Millisecond {
				t.Errorf("%v after %s, %d bytes", err, took, s.bytes)
			}
		}
		if l.bodies.free != 64*mb || len(l.arriving.heads) != 0 {
			t.Errorf("%d bytes are held, %d are arriving", 64*mb-l.bodies.free, len(l.arriving.heads))
		}
	})
}

// What is no message, or takes too much to read, is the caller's fault.
func TestRequestsThatCannotBeRead(t *testing.T) {
	o := roomy
	o.BodyBytes = 6 * mb
	l := New(o, nil)
	handler := l.received(func(context.Context) error { return nil }, func(_ any, _ context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
		return nil, decode(&pb.ScoreLayeringRequest{})
	})
	layers := strings.Repeat("\x0a\x00", 30_000) // empty ones
	for what, x := range map[string]struct {
		bytes string
		want  codes.Code
	}{
		"an empty one":      {"", codes.OK},
		"no message":        {"\x0a\xff", codes.InvalidArgument},
		"too many messages": {"\x12\xe0\xd4\x03" + layers, codes.InvalidArgument},
	} {
		_, err := handler(nil, chain.NewHead(t.Context()), func(v any) error {
			v.(*raw).data = dataOf(x.bytes)
			return nil
		}, nil)
		if status.Code(err) != x.want {
			t.Errorf("%s: %v", what, err)
		}
	}
	if l.bodies.free != 6*mb {
		t.Errorf("%d bytes are free", l.bodies.free)
	}
}

func dataOf(s string) mem.BufferSlice { return mem.BufferSlice{mem.SliceBuffer(s)} }
