package clustertest

import (
	"context"
	"fmt"
	"io"
	"strings"
	"sync"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/server/store/postgrestest"
	"github.com/catchline/catchline/testdata/demo"
)

// Two servers that find an empty database at once bring it to their schema once, and both serve.
func TestMigrationsAtOnce(t *testing.T) {
	c := settings(postgrestest.URL(t))
	var group sync.WaitGroup
	for range 2 {
		group.Go(func() {
			if err := process.Migrate(t.Context(), c, io.Discard); err != nil {
				t.Error(err)
			}
		})
	}
	group.Wait()
	if t.Failed() {
		return
	}
	a, b := dial(t, client.Options{}, start(t, c)), dial(t, client.Options{}, start(t, c))
	made, err := a.Studios.CreateStudio(t.Context(), &pb.CreateStudioRequest{StudioId: "s", Studio: &pb.Studio{DisplayName: "Invented"}})
	if err != nil {
		t.Fatal(err)
	}
	got, err := b.Studios.GetStudio(t.Context(), &pb.GetStudioRequest{Name: made.Name})
	if err != nil || !proto.Equal(got, made) {
		t.Errorf("made %v, got %v, %v", made, got, err)
	}
}

// Fits and activations at once on two servers leave every calibration whole, numbered without gaps, and exactly one of them active,
// the same for both.
func TestCalibrationsAtOnce(t *testing.T) {
	c := settings(migrated(t))
	clients := []*client.Client{dial(t, client.Options{}, start(t, c)), dial(t, client.Options{}, start(t, c))}
	if err := demo.Create(t.Context(), clients[0]); err != nil {
		t.Fatal(err)
	}
	some := strings.Join(strings.SplitAfter(demo.Tiles, "\n")[:25], "") // so that a fit is quick
	if answer, err := clients[0].Tiles.ImportTiles(t.Context(), &pb.ImportTilesRequest{Parent: demo.Studio, Csv: some}); err != nil || len(answer.Faults) > 0 {
		t.Fatal(answer, err)
	}
	const total = 8
	var made [total]*pb.Calibration
	atOnce(total, func(i int) {
		var err error
		made[i], err = clients[i%2].Calibrations.FitCalibration(t.Context(), &pb.FitCalibrationRequest{Parent: demo.Studio})
		if err != nil {
			t.Errorf("fit %d: %v", i, err)
		}
	})
	names := map[string]bool{}
	for _, m := range made {
		if names[m.GetName()] {
			t.Errorf("%s was made twice", m.GetName())
		}
		names[m.GetName()] = true
	}
	for n := 1; n <= total; n++ {
		name := fmt.Sprintf("%s/calibrations/%d", demo.Studio, n)
		if !names[name] {
			t.Errorf("there is no %s", name)
		}
		for _, c := range clients {
			if err := usable(t.Context(), c, name); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
	checkCalibrations(t, clients, total)

	won, lost := 0, 0
	for range 10 {
		var errs [2]error
		atOnce(2, func(i int) {
			_, errs[i] = clients[i].Calibrations.ActivateCalibration(t.Context(), &pb.ActivateCalibrationRequest{
				Name: fmt.Sprintf("%s/calibrations/%d", demo.Studio, i+1)})
		})
		allowed := map[string]bool{}
		for i, err := range errs {
			switch status.Code(err) {
			case codes.OK:
				won++
				allowed[fmt.Sprintf("%s/calibrations/%d", demo.Studio, i+1)] = true
			case codes.Aborted:
				lost++
			default:
				t.Errorf("activating: %v", err)
			}
		}
		if active := checkCalibrations(t, clients, total); !allowed[active] {
			t.Errorf("%s is active; acknowledged: %v", active, allowed)
		}
	}
	t.Logf("%d calibrations; of two activations at once %d were done, %d aborted", total, won, lost)
}

func atOnce(n int, f func(i int)) {
	var group sync.WaitGroup
	for i := range n {
		group.Go(func() { f(i) })
	}
	group.Wait()
}

// checkCalibrations looks from every server, and returns the active calibration's name.
func checkCalibrations(t *testing.T, clients []*client.Client, total int) (active string) {
	t.Helper()
	for i, c := range clients {
		n, actives := 0, []string{}
		for m, err := range c.AllCalibrations(t.Context(), demo.Studio) {
			if err != nil {
				t.Fatal(err)
			}
			if want := fmt.Sprintf("%s/calibrations/%d", demo.Studio, total-n); m.Name != want {
				t.Errorf("server %d lists %s, want %s", i, m.Name, want)
			}
			n++
			if m.Active {
				actives = append(actives, m.Name)
			}
		}
		if n != total || len(actives) != 1 {
			t.Fatalf("server %d: %d calibrations, want %d; active: %v", i, n, total, actives)
		}
		studio, err := c.Studios.GetStudio(t.Context(), &pb.GetStudioRequest{Name: demo.Studio})
		if err != nil || studio.ActiveCalibration != actives[0] {
			t.Errorf("server %d: the studio says %s, %v; the list %s", i, studio.GetActiveCalibration(), err, actives[0])
		}
		if active != "" && actives[0] != active {
			t.Errorf("one server says %s, the other %s", active, actives[0])
		}
		active = actives[0]
	}
	return active
}

// usable scores by a calibration, which reads the whole of it.
func usable(ctx context.Context, c *client.Client, calibration string) error {
	score, err := c.Scores.ScoreLayering(ctx, &pb.ScoreLayeringRequest{
		Parent: demo.Studio, Calibration: calibration,
		Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: demo.Studio + "/glazes/tarn-clear", Amount: &pb.Layer_Coats{Coats: 2}}}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: demo.Studio + "/firings/cone-6"},
	})
	if err == nil && score.Calibration != calibration {
		err = fmt.Errorf("scored by %s", score.Calibration)
	}
	return err
}
