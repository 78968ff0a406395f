package clustertest

import (
	"context"
	"fmt"
	"io"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/store/postgrestest"
)

const (
	studio  = "studios/s"
	writers = 8
)

// tile is the i-th that a writer logs.
func tile(writer, i int) *pb.CreateTileRequest {
	id := fmt.Sprintf("%d-%d", writer, i)
	return &pb.CreateTileRequest{Parent: studio, RequestId: "request " + id, Tile: &pb.Tile{
		Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: studio + "/glazes/g", Amount: &pb.Layer_Coats{Coats: 2}}}},
		FiringSource: &pb.Tile_Firing{Firing: studio + "/firings/f"},
		Outcome:      &pb.Tile_RunMm{RunMm: float64(i % 50)},
		Notes:        id,
	}}
}

// The primary dies while eight writers log tiles through two servers, and its synchronous standby is promoted. Servers and clients go
// on by themselves; each acknowledged tile is there, whole, once; requests sent again get the same tile.
func TestFailover(t *testing.T) {
	primary := postgrestest.Start(t, postgrestest.Options{})
	standby := primary.Standby(t, "standby", postgrestest.Options{})
	primary.Synchronous(t, "standby")
	c := settings(fmt.Sprintf("postgres://catchline@127.0.0.1:%d,127.0.0.1:%d/postgres?sslmode=disable", primary.Port, standby.Port))
	if err := process.Migrate(t.Context(), c, io.Discard); err != nil {
		t.Fatal(err)
	}
	servers := []*process.Program{start(t, c), start(t, c)}
	both := dial(t, client.Options{Patient: true}, servers...)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	if _, err := both.Studios.CreateStudio(ctx, &pb.CreateStudioRequest{StudioId: "s", Studio: &pb.Studio{DisplayName: "Invented"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := both.Glazes.CreateGlaze(ctx, &pb.CreateGlazeRequest{Parent: studio, GlazeId: "g", Glaze: seger(3)}); err != nil {
		t.Fatal(err)
	}
	if _, err := both.Firings.CreateFiring(ctx, &pb.CreateFiringRequest{Parent: studio, FiringId: "f", Firing: &pb.Firing{
		DisplayName: "Cone 6", Plan: &pb.FiringPlan{Heat: &pb.FiringPlan_Cone{Cone: &pb.ConeFiring{Cone: "6"}}},
	}}); err != nil {
		t.Fatal(err)
	}

	const after = 5 // tiles of each writer that are begun after the promotion
	var promoted atomic.Bool
	var group sync.WaitGroup
	var acknowledged [writers][]string // names
	begun := make(chan struct{}, writers)
	for w := range writers {
		group.Go(func() {
			for left := after; left > 0; {
				if promoted.Load() {
					left--
				}
				got, err := both.Tiles.CreateTile(ctx, tile(w, len(acknowledged[w])))
				if err != nil {
					t.Errorf("writer %d, tile %d: %v", w, len(acknowledged[w]), err)
					return
				}
				acknowledged[w] = append(acknowledged[w], got.Name)
				if len(acknowledged[w]) == 5 {
					begun <- struct{}{}
				}
			}
		})
	}
	for range writers {
		<-begun
	}
	primary.Kill()
	killed := time.Now()
	// Away for long enough that health says so, and clients find no server that is healthy.
	for _, s := range servers {
		waitForHealth(t, s, healthpb.HealthCheckResponse_NOT_SERVING)
	}
	if err := standby.Promote(); err != nil {
		t.Fatal(err)
	}
	promoted.Store(true)
	since := time.Now()
	group.Wait()
	t.Logf("promoted after %v; the last writer has finished %v later", since.Sub(killed).Round(time.Millisecond), time.Since(since).Round(time.Millisecond))

	for i, s := range servers {
		one := dial(t, client.Options{Patient: true}, s)
		found := map[string]*pb.Tile{}
		for got, err := range one.AllTiles(ctx, studio) {
			if err != nil {
				t.Fatal(err)
			}
			if found[got.Notes] != nil {
				t.Errorf("server %d: %s is there twice", i, got.Notes)
			}
			found[got.Notes] = got
		}
		total := 0
		for w, names := range acknowledged {
			total += len(names)
			for n, name := range names {
				want := tile(w, n).Tile
				got := found[want.Notes]
				if got.GetName() != name || got.GetRunMm() != want.GetRunMm() || !proto.Equal(got.GetLayering(), want.Layering) {
					t.Errorf("server %d: %s was acknowledged as %s and is %v", i, want.Notes, name, got)
				}
			}
			// Sent again, the first, the one that the failover met, and the last are what they were.
			for _, n := range []int{0, len(names) - after - 1, len(names) - 1} {
				if got, err := one.Tiles.CreateTile(ctx, tile(w, n)); err != nil || got.Name != names[n] {
					t.Errorf("server %d: %d-%d sent again is %s, not %s; %v", i, w, n, got.GetName(), names[n], err)
				}
			}
		}
		if len(found) != total {
			t.Errorf("server %d: %d tiles, %d acknowledged", i, len(found), total)
		}
		t.Logf("server %d: %d tiles acknowledged, all found", i, total)
	}
}

func waitForHealth(t *testing.T, s *process.Program, want healthpb.HealthCheckResponse_ServingStatus) {
	t.Helper()
	conn, err := grpc.NewClient("passthrough:///"+s.GRPCAddress(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	watch, err := healthpb.NewHealthClient(conn).Watch(t.Context(), &healthpb.HealthCheckRequest{})
	for err == nil {
		var got *healthpb.HealthCheckResponse
		if got, err = watch.Recv(); err == nil && got.Status == want {
			return
		}
	}
	t.Fatal(err)
}
