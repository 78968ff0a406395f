package clustertest

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/resolver"
	"google.golang.org/grpc/resolver/manual"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

// restartable is a server that stops and starts again at the same addresses.
type restartable struct {
	config config.Config
	stop   func() // waits until it has ended
}

func (r *restartable) start(t *testing.T) {
	t.Helper()
	p, err := process.Open(context.Background(), r.config, process.Options{Version: "test", Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	if r.stop == nil { // the first time; after that clients know the addresses, and read them at any time
		r.config.GRPC.Address, r.config.HTTP.Address = p.GRPCAddress(), p.HTTPAddress()
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	r.stop = sync.OnceFunc(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Errorf("the server ended with %v", err)
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
}

var errNobody = errors.New("over HTTP no server answered")

// askHTTP reads over HTTP as a balancer lets it: at the first server that says it is ready, and at the other when that cannot be reached.
func askHTTP(servers []*restartable) (at int, err error) {
	for range 3 {
		for i, s := range servers {
			url := "http://" + s.config.HTTP.Address
			ready, err := http.Get(url + "/readyz")
			if err != nil {
				continue
			}
			ready.Body.Close()
			if ready.StatusCode != http.StatusOK {
				continue
			}
			answer, err := http.Get(url + "/v1/" + demo.Studio + "/glazes")
			if err != nil {
				continue
			}
			text, err := io.ReadAll(answer.Body)
			answer.Body.Close()
			if err == nil && answer.StatusCode == http.StatusOK && strings.Contains(string(text), "tarn-clear") {
				return i, nil
			}
		}
	}
	return 0, errNobody
}

// Two servers are restarted one after the other while clients that try again score, log tiles and read lists: no call fails, and every tile
// is there once.
func TestRollingRestart(t *testing.T) {
	c := settings(migrated(t))
	c.HTTP.Address = "127.0.0.1:0"
	c.ShutdownDelay = 500 * time.Millisecond // as 5 s to a balancer that asks every second
	servers := []*restartable{{config: c}, {config: c}}
	var state resolver.State
	for _, s := range servers {
		s.start(t)
		defer func() { s.stop() }()
		state.Addresses = append(state.Addresses, resolver.Address{Addr: s.config.GRPC.Address})
	}
	r := manual.NewBuilderWithScheme("servers")
	r.InitialState(state)
	// Patient, since on a machine that is busy with other tests a connection to the server that has just started may take longer than four
	// attempts.
	both, err := client.New("servers:///localhost", client.Options{Patient: true, Dial: []grpc.DialOption{grpc.WithResolvers(r)}})
	if err != nil {
		t.Fatal(err)
	}
	defer both.Close()
	if err := demo.Create(t.Context(), both); err != nil {
		t.Fatal(err)
	}
	before := countTiles(t, both)

	ctx, cancel := context.WithCancel(t.Context())
	var group sync.WaitGroup
	var calls, logged atomic.Int64
	var restarts atomic.Int64
	var foundAfter [2]atomic.Int64 // how many restarts there had been when the call began that each server answered last
	answered := func(p *peer.Peer, began int64) {
		calls.Add(1)
		for i, s := range servers {
			if p.Addr != nil && p.Addr.String() == s.config.GRPC.Address {
				foundAfter[i].Store(began)
			}
		}
	}
	work := map[string]func(ctx context.Context, p *peer.Peer) error{
		"score": func(ctx context.Context, p *peer.Peer) error {
			_, err := both.Scores.ScoreLayering(ctx, &pb.ScoreLayeringRequest{
				Parent:       demo.Studio,
				Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: demo.Studio + "/glazes/tarn-clear", Amount: &pb.Layer_Coats{Coats: 2}}}},
				FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: demo.Studio + "/firings/cone-6"},
			}, grpc.Peer(p))
			return err
		},
		"tile": func(ctx context.Context, p *peer.Peer) error {
			_, err := both.Tiles.CreateTile(ctx, &pb.CreateTileRequest{Parent: demo.Studio, Tile: &pb.Tile{
				Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: demo.Studio + "/glazes/tarn-clear", Amount: &pb.Layer_Coats{Coats: 2}}}},
				FiringSource: &pb.Tile_Firing{Firing: demo.Studio + "/firings/cone-6"},
				Outcome:      &pb.Tile_RunMm{RunMm: 4},
			}}, grpc.Peer(p))
			if err == nil {
				logged.Add(1)
			}
			return err
		},
		"list": func(ctx context.Context, p *peer.Peer) error {
			_, err := both.Glazes.ListGlazes(ctx, &pb.ListGlazesRequest{Parent: demo.Studio}, grpc.Peer(p))
			return err
		},
	}
	for what, call := range work {
		group.Go(func() {
			for ctx.Err() == nil {
				p, began := new(peer.Peer), restarts.Load()
				one, done := context.WithTimeout(t.Context(), time.Minute)
				err := call(one, p)
				done()
				if err != nil {
					t.Errorf("%s: %v", what, err)
				}
				answered(p, began)
			}
		})
	}
	var overHTTP [2]atomic.Int64
	group.Go(func() {
		for ctx.Err() == nil {
			at, err := askHTTP(servers)
			if err != nil {
				t.Error(err)
			}
			overHTTP[at].Add(1)
		}
	})
	for range 2 {
		for i, s := range servers {
			s.stop()
			s.start(t)
			// The next is stopped only when clients have found this one again: an answer that began before may be of what it was.
			now := restarts.Add(1)
			for tick := time.NewTicker(10 * time.Millisecond); foundAfter[i].Load() < now; <-tick.C {
				if t.Context().Err() != nil || t.Failed() {
					break
				}
			}
		}
	}
	cancel()
	group.Wait()
	if got := countTiles(t, both) - before; got != logged.Load() {
		t.Errorf("%d tiles were logged and %d are there", logged.Load(), got)
	}
	if overHTTP[0].Load() == 0 || overHTTP[1].Load() == 0 {
		t.Errorf("over HTTP the servers answered %d and %d calls", overHTTP[0].Load(), overHTTP[1].Load())
	}
	t.Logf("4 restarts under %d calls over gRPC, %d of them tiles, and %d over HTTP", calls.Load(), logged.Load(), overHTTP[0].Load()+overHTTP[1].Load())
}

func countTiles(t *testing.T, c *client.Client) (n int64) {
	t.Helper()
	for _, err := range c.AllTiles(t.Context(), demo.Studio) {
		if err != nil {
			t.Fatal(err)
		}
		n++
	}
	return n
}
