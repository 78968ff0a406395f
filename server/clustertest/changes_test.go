package clustertest

import (
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/client"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/process"
	"github.com/catchline/catchline/testdata/demo"
)

const operatorKey = "operator-operator-operator-operator-"

// scoreOf scores two coats of a glaze.
func scoreOf(t *testing.T, c *client.Client, glaze string) *pb.Score {
	t.Helper()
	score, err := tryScore(t, c, glaze)
	if err != nil {
		t.Fatal(err)
	}
	return score
}

func tryScore(t *testing.T, c *client.Client, glaze string) (*pb.Score, error) {
	return c.Scores.ScoreLayering(t.Context(), &pb.ScoreLayeringRequest{
		Parent:       demo.Studio,
		Layering:     &pb.Layering{Layers: []*pb.Layer{{Glaze: glaze, Amount: &pb.Layer_Coats{Coats: 2}}}},
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: demo.Studio + "/firings/cone-6"},
	})
}

func seger(silica float64) *pb.Glaze {
	return &pb.Glaze{DisplayName: "Invented", Chemistry: &pb.Glaze_Seger{Seger: &pb.SegerFormula{
		Moles: map[string]float64{"SiO2": silica, "Al2O3": 0.3, "CaO": 0.7, "Na2O": 0.3}}}}
}

// What is written through one server counts on the other one within a second, with the database's notifications and without.
func TestChangesReachTheOtherServer(t *testing.T) {
	for _, cut := range []bool{false, true} {
		name := "notified"
		if cut {
			name = "notifications cut"
		}
		t.Run(name, func(t *testing.T) {
			direct := migrated(t)
			database := direct
			if cut {
				database = muted(t, direct)
			}
			withKeys := settings(database)
			withKeys.Keys.OperatorKey = config.NewSecret(operatorKey)
			servers := []*process.Program{start(t, withKeys), start(t, withKeys)}
			a := dial(t, client.Options{Key: operatorKey}, servers[0])
			b := dial(t, client.Options{Key: operatorKey}, servers[1])
			if err := demo.Seed(t.Context(), a); err != nil {
				t.Fatal(err)
			}
			heard := listener(t, direct)

			t.Run("calibration", func(t *testing.T) {
				glaze := demo.Studio + "/glazes/tarn-clear"
				if got := scoreOf(t, b, glaze).Calibration; got != demo.Studio+"/calibrations/1" {
					t.Fatalf("at first by %s", got)
				}
				fitted, err := a.Calibrations.FitCalibration(t.Context(), &pb.FitCalibrationRequest{Parent: demo.Studio})
				changed := time.Now()
				if err != nil || !fitted.Active {
					t.Fatalf("%v, %v", fitted, err)
				}
				soon(t, "fitted", changed, func() bool { return scoreOf(t, b, glaze).Calibration == fitted.Name })
				if _, err := a.Calibrations.ActivateCalibration(t.Context(), &pb.ActivateCalibrationRequest{Name: demo.Studio + "/calibrations/1"}); err != nil {
					t.Fatal(err)
				}
				changed = time.Now()
				soon(t, "an earlier one made active", changed, func() bool { return scoreOf(t, b, glaze).Calibration == demo.Studio+"/calibrations/1" })
			})

			t.Run("glaze", func(t *testing.T) {
				made, err := a.Glazes.CreateGlaze(t.Context(), &pb.CreateGlazeRequest{Parent: demo.Studio, GlazeId: "shared", Glaze: seger(3)})
				if err != nil {
					t.Fatal(err)
				}
				// Also a glaze that is new is known at once where it was made, and soon elsewhere.
				before := scoreOf(t, a, made.Name).MedianRunMm
				soon(t, "a new glaze", time.Now(), func() bool {
					_, err := tryScore(t, b, made.Name)
					return err == nil
				})
				if got := scoreOf(t, b, made.Name).MedianRunMm; got != before {
					t.Fatalf("%g mm on one server, %g mm on the other", before, got)
				}
				changed := seger(4.5)
				changed.Name = made.Name
				if _, err := a.Glazes.UpdateGlaze(t.Context(), &pb.UpdateGlazeRequest{Glaze: changed}); err != nil {
					t.Fatal(err)
				}
				at := time.Now()
				want := scoreOf(t, a, made.Name).MedianRunMm
				if want == before {
					t.Fatalf("half as much silica again changed nothing: %g mm", want)
				}
				soon(t, "a glaze changed", at, func() bool { return scoreOf(t, b, made.Name).MedianRunMm == want })
			})

			t.Run("key", func(t *testing.T) {
				made, err := a.Keys.CreateKey(t.Context(), &pb.CreateKeyRequest{Parent: demo.Studio, Key: &pb.Key{DisplayName: "shared", Role: pb.Role_ROLE_VIEW}})
				if err != nil {
					t.Fatal(err)
				}
				holder := dial(t, client.Options{Key: made.Secret}, servers[1])
				ask := func() error {
					_, err := holder.Studios.GetStudio(t.Context(), &pb.GetStudioRequest{Name: demo.Studio})
					return err
				}
				if err := ask(); err != nil {
					t.Fatal(err)
				}
				if _, err := a.Keys.DeleteKey(t.Context(), &pb.DeleteKeyRequest{Name: made.Key.Name}); err != nil {
					t.Fatal(err)
				}
				soon(t, "a key revoked", time.Now(), func() bool { return status.Code(ask()) == codes.Unauthenticated })
			})

			if note := heard(); (note == "none") != cut {
				t.Errorf("the servers' first note was %q", note)
			}
		})
	}
}
