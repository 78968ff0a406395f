// Package bench measures the finished server against the floor of its transport and its storage. The floor is built beside it, of
// the same parts, with the same messages, and does nothing; the two take turns within one run, so that whatever else the machine
// does meets both. Client and server share all cores, as they do on one small machine. Every request differs from all before it.
package bench

import (
	"context"
	"flag"
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/api"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

const operatorKey = "operator-operator-operator-operator-"

func TestMain(m *testing.M) {
	flag.Parse()
	// As the program does at its start, for the floors too.
	process.TuneProcessors()
	process.TuneMemory()
	gc := debug.SetGCPercent(-1)
	debug.SetGCPercent(gc)
	fmt.Printf("gogc: %d\ncores: %d\n", gc, runtime.GOMAXPROCS(0))
	os.Exit(m.Run())
}

// service is the whole server with the demo studio and a key, as anyone would run it but for the limits that are there to turn callers
// away: they are so high that they are counted and never met.
type service struct {
	*process.Program
	*client.Client
	key    string
	direct process.Services // the services alone
}

func serve(b *testing.B) *service {
	b.Helper()
	return serveWith(b, func(s process.Services) process.Services { return s })
}

// serveWith is serve with the services changed.
func serveWith(b *testing.B, change func(process.Services) process.Services) *service {
	b.Helper()
	c := config.Default()
	c.Store, c.Create = config.Database(filepath.Join(b.TempDir(), "catchline.db")), true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", ""
	c.Keys.OperatorKey = config.NewSecret(operatorKey)
	c.Limits.RequestsPerSecond, c.Limits.StudioRequestsPerSecond = 1e9, 1e9
	c.Limits.QueueTime, c.Limits.StandingQueueTime = 20*time.Second, 20*time.Second
	c.Limits.StreamMessages = 10_000_000
	log := slog.New(slog.NewJSONHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
	var direct process.Services
	p, err := process.Open(b.Context(), c, process.Options{Version: "bench", Logger: log, Services: func(o api.Options) process.Services {
		direct = api.New(o)
		return change(direct)
	}})
	if err != nil {
		b.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	b.Cleanup(func() {
		stop()
		if err := <-ended; err != nil {
			b.Error(err)
		}
		if err := p.Close(); err != nil {
			b.Error(err)
		}
	})
	local := client.Over(p.Local())
	if err := demo.Seed(b.Context(), local); err != nil {
		b.Fatal(err)
	}
	key, err := local.Keys.CreateKey(b.Context(), &pb.CreateKeyRequest{
		Parent: demo.Studio, Key: &pb.Key{DisplayName: "bench", Role: pb.Role_ROLE_RECORD},
	})
	if err != nil {
		b.Fatal(err)
	}
	return &service{p, dial(b, p.GRPCAddress(), key.Secret), key.Secret, direct}
}

// dial connects as users of the client do.
func dial(b *testing.B, address, key string) *client.Client {
	b.Helper()
	c, err := client.New(address, client.Options{Key: key})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { c.Close() })
	return c
}

// serveEcho serves a service that does nothing, over the same transport.
func serveEcho(b *testing.B, register func(grpc.ServiceRegistrar)) (address string) {
	b.Helper()
	c := config.Default()
	s := grpc.NewServer(process.Transport(&c.GRPC)...)
	register(s)
	healthpb.RegisterHealthServer(s, health.NewServer()) // the client asks
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	go s.Serve(l)
	b.Cleanup(s.Stop)
	return l.Addr().String()
}

// echoing are services of which the scores are an echo's.
type echoing struct {
	process.Services
	echo *echo
}

// Register implements process.Services.
func (e echoing) Register(r grpc.ServiceRegistrar) { e.Services.Register(insteadOfScores{r, e.echo}) }

type insteadOfScores struct {
	grpc.ServiceRegistrar
	echo *echo
}

// RegisterService implements grpc.ServiceRegistrar.
func (r insteadOfScores) RegisterService(d *grpc.ServiceDesc, service any) {
	if d.ServiceName == pb.ScoreService_ServiceDesc.ServiceName {
		d, service = &pb.ScoreService_ServiceDesc, r.echo
	}
	r.ServiceRegistrar.RegisterService(d, service)
}

// warm lets connections, caches and the heap settle before anything is measured.
const warm = 300 * time.Millisecond
