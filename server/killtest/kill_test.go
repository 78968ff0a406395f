// Package killtest kills the real server process while it is written to, and looks at what is left.
package killtest

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store/postgrestest"
)

func TestMain(m *testing.M) { os.Exit(postgrestest.Main(m)) }

// kills is how often the process is killed: CATCHLINE_KILLS, or a few.
func kills(t *testing.T) int {
	text := os.Getenv("CATCHLINE_KILLS")
	if text == "" {
		return 5
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatalf("CATCHLINE_KILLS: %v", err)
	}
	return n
}

func build(t *testing.T) (binary string) {
	t.Helper()
	binary = filepath.Join(t.TempDir(), "catchline-server")
	if out, err := exec.CommandContext(t.Context(), "go", "build", "-o", binary, "..").CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	return binary
}

// process is a running server.
type process struct {
	*exec.Cmd
	address string
}

// launch starts a server and waits until it says where it serves.
func launch(t *testing.T, binary string, stored ...string) *process {
	t.Helper()
	cmd := exec.Command(binary, append(stored, "--grpc-address", "127.0.0.1:0", "--http-address", "", "--metrics-address", "")...)
	logs, err := cmd.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(logs)
	var all string
	for lines.Scan() {
		all += lines.Text() + "\n"
		var line struct{ Msg, GRPC string }
		if json.Unmarshal(lines.Bytes(), &line) == nil && line.Msg == "serving" {
			go io.Copy(io.Discard, logs)
			return &process{cmd, line.GRPC}
		}
	}
	cmd.Wait()
	t.Fatalf("the server does not start:\n%s", all)
	return nil
}

const (
	studio  = "studios/kill"
	writers = 16
)

// setUp stores what tiles need.
func setUp(t *testing.T, conn grpc.ClientConnInterface) {
	t.Helper()
	ctx := t.Context()
	_, err := pb.NewStudioServiceClient(conn).CreateStudio(ctx, &pb.CreateStudioRequest{StudioId: "kill", Studio: &pb.Studio{DisplayName: "Kill"}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = pb.NewGlazeServiceClient(conn).CreateGlaze(ctx, &pb.CreateGlazeRequest{Parent: studio, GlazeId: "g", Glaze: &pb.Glaze{
		DisplayName: "Invented", Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{Moles: map[string]float64{"SiO2": 3, "Al2O3": 0.3, "CaO": 0.7, "Na2O": 0.3}}},
	}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = pb.NewFiringServiceClient(conn).CreateFiring(ctx, &pb.CreateFiringRequest{Parent: studio, FiringId: "f", Firing: &pb.Firing{
		DisplayName: "Cone 6", Plan: &pb.FiringPlan{Heat: &pb.FiringPlan_Cone{Cone: &pb.ConeFiring{Cone: "6"}}},
	}})
	if err != nil {
		t.Fatal(err)
	}
}

// request is the tile that a writer logs as its i-th; every field of it is told by the two numbers.
func request(writer, i int) *pb.CreateTileRequest {
	id := fmt.Sprintf("w%d-%d", writer, i)
	return &pb.CreateTileRequest{
		Parent: studio, RequestId: "request-" + id,
		Tile: &pb.Tile{
			Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: studio + "/glazes/g", Amount: &pb.Layer_Coats{Coats: 2}}}},
			FiringSource: &pb.Tile_Firing{Firing: studio + "/firings/f"},
			Placement:    &pb.Placement{ClearanceMm: proto.Float64(30)},
			Outcome:      &pb.Tile_RunMm{RunMm: float64(i % 100)},
			Notes:        id, Tester: id,
		},
	}
}

// retriable reports whether the same request may be sent again, as the contract says: the server could not be reached, or
// it went away under way.
func retriable(err error) bool {
	c := status.Code(err)
	return c == codes.Unavailable || c == codes.Canceled || c == codes.DeadlineExceeded || c == codes.ResourceExhausted
}

// acknowledged is what the writers were told.
type acknowledged struct {
	mu    sync.Mutex
	tiles map[string]string // notes of the tile -> its name
	twice []string
}

func (a *acknowledged) add(id, name string) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if old, ok := a.tiles[id]; ok && old != name {
		a.twice = append(a.twice, id+": "+old+" and "+name)
	}
	a.tiles[id] = name
}

// TestKill kills the server at random moments under concurrent writers, who repeat each request with its id until it is
// acknowledged, and some of them once more after that. In the end every acknowledged tile is there, whole, once, under the
// name that was acknowledged, and there is no other.
func TestKill(t *testing.T) {
	if testing.Short() {
		t.Skip("starts processes")
	}
	binary := build(t)
	t.Run("SQLite", func(t *testing.T) { kill(t, binary, "--store", filepath.Join(t.TempDir(), "kill.db"), "--create") })
	t.Run("PostgreSQL", func(t *testing.T) {
		u := postgrestest.URL(t)
		if out, err := exec.CommandContext(t.Context(), binary, "migrate", "--store", u).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		kill(t, binary, "--store", u)
	})
}

// kill is the test on one kind of store; stored are the settings for it.
func kill(t *testing.T, binary string, stored ...string) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))

	p := launch(t, binary, stored...)
	dial := func() *grpc.ClientConn {
		conn, err := grpc.NewClient("passthrough:///"+p.address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		if err != nil {
			t.Fatal(err)
		}
		return conn
	}
	conn := dial()
	setUp(t, conn)

	var told acknowledged
	told.tiles = map[string]string{}
	next := make([]int, writers)
	for n := range kills(t) {
		client := pb.NewTileServiceClient(conn)
		dead := make(chan struct{})
		var group sync.WaitGroup
		for w := range writers {
			group.Go(func() {
				for {
					i := next[w]
					got, err := client.CreateTile(t.Context(), request(w, i))
					switch {
					case err == nil:
						told.add(fmt.Sprintf("w%d-%d", w, i), got.Name)
						// The one after the last acknowledged may have been done or not: it is repeated with its id after the restart.
						// Now and then one that was acknowledged is, too.
						if i%7 != 3 || told.repeat(t, client, w, i) == nil {
							next[w]++
						}
					case !retriable(err):
						t.Errorf("writer %d, tile %d: %v", w, i, err)
						return
					}
					select {
					case <-dead:
						return
					default:
					}
				}
			})
		}
		time.Sleep(time.Duration(random.IntN(150_000)) * time.Microsecond)
		if err := p.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		close(dead)
		p.Wait()
		group.Wait()
		conn.Close()
		if t.Failed() {
			t.Fatalf("after %d kills", n+1)
		}
		p = launch(t, binary, stored...)
		conn = dial()
	}
	// What was under way at the last kill is finished with its ids.
	client := pb.NewTileServiceClient(conn)
	for w := range writers {
		got, err := client.CreateTile(t.Context(), request(w, next[w]))
		if err != nil {
			t.Fatal(err)
		}
		told.add(fmt.Sprintf("w%d-%d", w, next[w]), got.Name)
	}
	for _, s := range told.twice {
		t.Errorf("acknowledged under two names: %s", s)
	}

	found := map[string]string{}
	token := ""
	for {
		page, err := client.ListTiles(t.Context(), &pb.ListTilesRequest{Parent: studio, PageSize: 1000, PageToken: token})
		if err != nil {
			t.Fatal(err)
		}
		for _, tile := range page.Tiles {
			if other, ok := found[tile.Notes]; ok {
				t.Errorf("%s is there twice: %s and %s", tile.Notes, other, tile.Name)
			}
			found[tile.Notes] = tile.Name
			var w, i int
			if _, err := fmt.Sscanf(tile.Notes, "w%d-%d", &w, &i); err != nil {
				t.Errorf("%s: notes %q", tile.Name, tile.Notes)
				continue
			}
			want := request(w, i).Tile
			if tile.GetRunMm() != want.GetRunMm() || tile.Tester != want.Tester || !proto.Equal(tile.Layering, want.Layering) || len(tile.GlazesOfTheDay) != 1 || tile.FiringOfTheDay == nil || tile.Etag == "" {
				t.Errorf("%s is not whole: %v", tile.Name, tile)
			}
		}
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	for id, name := range told.tiles {
		if found[id] != name {
			t.Errorf("%s was acknowledged as %s and is %q", id, name, found[id])
		}
	}
	for id, name := range found {
		if _, ok := told.tiles[id]; !ok {
			t.Errorf("%s (%s) was never acknowledged and never repeated", id, name)
		}
	}
	t.Logf("%d kills, %d tiles acknowledged, %d found", kills(t), len(told.tiles), len(found))
	stop(t, p, conn)
}

// repeat sends an acknowledged request once more.
func (a *acknowledged) repeat(t *testing.T, client pb.TileServiceClient, w, i int) error {
	got, err := client.CreateTile(t.Context(), request(w, i))
	if err == nil {
		a.add(fmt.Sprintf("w%d-%d", w, i), got.Name)
	} else if !retriable(err) {
		t.Errorf("repeating: %v", err)
	}
	return err
}

func stop(t *testing.T, p *process, conn *grpc.ClientConn) {
	t.Helper()
	conn.Close()
	if err := p.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	if err := p.Wait(); err != nil {
		t.Errorf("the server did not stop well: %v", err)
	}
}
