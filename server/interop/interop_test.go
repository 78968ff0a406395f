// Package interop has the server spoken to by clients that others made.
//
// It needs Go's module proxy or cache, and for Node an installation of it and its package registry or cache, so it runs only
// when asked: CATCHLINE_INTEROP=1 go test ./server/interop. What is asked for and not there is a failure.
package interop

import (
	"context"
	"encoding/json"
	"log/slog"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"

	"github.com/catchline/catchline/client"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

// start runs a server with the demo studio.
func start(t *testing.T) *process.Program {
	t.Helper()
	if os.Getenv("CATCHLINE_INTEROP") == "" {
		t.Skip("needs clients that others made: CATCHLINE_INTEROP=1")
	}
	c := config.Default()
	c.Limits.QueueTime, c.Limits.StandingQueueTime = 10*time.Second, 10*time.Second // whatever else runs on this machine
	c.Store, c.Create, c.Demo = config.Database(filepath.Join(t.TempDir(), "interop.db")), true, true
	c.GRPC.Address, c.HTTP.Address, c.Telemetry.MetricsAddress = "127.0.0.1:0", "127.0.0.1:0", ""
	p, err := process.Open(t.Context(), c, process.Options{
		Version: "interop", Logger: slog.New(slog.DiscardHandler),
		Seed: func(ctx context.Context, conn grpc.ClientConnInterface) error {
			return demo.Seed(ctx, client.Over(conn))
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- p.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		p.Close()
	})
	return p
}

// output runs a program and returns what it says.
func output(t *testing.T, dir string, env []string, name string, args ...string) (string, error) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), env...)
	out, err := cmd.CombinedOutput()
	return string(out), err
}

func TestHealthProbe(t *testing.T) {
	p := start(t)
	out, err := output(t, "tools", nil, "go", "tool", "grpc-health-probe", "-addr="+p.GRPCAddress())
	if err != nil || !strings.Contains(out, "SERVING") {
		t.Errorf("%v: %s", err, out)
	}
	if out, err := output(t, "tools", nil, "go", "tool", "grpc-health-probe", "-addr="+p.GRPCAddress(), "-service=nothing"); err == nil {
		t.Errorf("a service that is not there: %s", out)
	}
}

const layering = `{"layers": [{"glaze": "studios/demo/glazes/%A", "coats": 2}, {"glaze": "studios/demo/glazes/%B", "coats": 2}]}`

// The same score by a command that finds the contract by reflection, and by plain HTTP, agrees to the last digit.
func TestReflectionClient(t *testing.T) {
	p := start(t)
	grpcurl := func(args ...string) string {
		t.Helper()
		out, err := output(t, "tools", nil, "go", append([]string{"tool", "grpcurl", "-plaintext"}, args...)...)
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return out
	}
	if out := grpcurl(p.GRPCAddress(), "list"); !strings.Contains(out, "catchline.v1.ScoreService") || !strings.Contains(out, "grpc.health.v1.Health") {
		t.Errorf("list: %s", out)
	}
	if out := grpcurl(p.GRPCAddress(), "describe", "catchline.v1.Layer"); !strings.Contains(out, "coats") {
		t.Errorf("describe: %s", out)
	}
	var glazes struct{ Glazes []struct{ Name string } }
	if err := json.Unmarshal([]byte(grpcurl("-d", `{"parent": "studios/demo"}`, p.GRPCAddress(), "catchline.v1.GlazeService/ListGlazes")), &glazes); err != nil || len(glazes.Glazes) < 2 {
		t.Fatalf("%d glazes, %v", len(glazes.Glazes), err)
	}
	var firings struct{ Firings []struct{ Name string } }
	if err := json.Unmarshal([]byte(grpcurl("-d", `{"parent": "studios/demo"}`, p.GRPCAddress(), "catchline.v1.FiringService/ListFirings")), &firings); err != nil || len(firings.Firings) < 1 {
		t.Fatalf("%d firings, %v", len(firings.Firings), err)
	}
	layers := strings.NewReplacer("studios/demo/glazes/%A", glazes.Glazes[0].Name, "studios/demo/glazes/%B", glazes.Glazes[1].Name).Replace(layering)
	body := `"layering": ` + layers + `, "firing": "` + firings.Firings[0].Name + `"}`
	var byGRPC, byHTTP struct{ MedianRunMm, RunP10Mm, RunP90Mm, ExceedProbability float64 }
	if err := json.Unmarshal([]byte(grpcurl("-d", `{"parent": "studios/demo", `+body, p.GRPCAddress(), "catchline.v1.ScoreService/ScoreLayering")), &byGRPC); err != nil {
		t.Fatal(err)
	}
	resp, err := http.Post("http://"+p.HTTPAddress()+"/v1/studios/demo:score", "application/json", strings.NewReader("{"+body))
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if err := json.NewDecoder(resp.Body).Decode(&byHTTP); err != nil {
		t.Fatal(err)
	}
	if byGRPC != byHTTP || !(byGRPC.MedianRunMm > 0) || math.IsInf(byGRPC.RunP90Mm, 0) {
		t.Errorf("gRPC %+v, HTTP %+v", byGRPC, byHTTP)
	}
}

// Node's gRPC with the committed protos, and types from the served description, compiled as strictly as TypeScript can.
func TestNode(t *testing.T) {
	p := start(t)
	if out, err := output(t, "node", nil, "npm", "ci", "--ignore-scripts", "--no-audit", "--no-fund"); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	env := []string{"CATCHLINE_GRPC=" + p.GRPCAddress(), "CATCHLINE_HTTP=http://" + p.HTTPAddress()}
	for _, script := range []string{"grpc", "types"} {
		out, err := output(t, "node", env, "npm", "run", "--silent", script)
		if err != nil {
			t.Errorf("%s: %v: %s", script, err, out)
		}
		t.Log(out)
	}
}
