package api

import (
	"context"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	storepb "github.com/catchline/catchline/proto/catchline/store/v1"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// lossy is a store that is lost once while the choice of the active calibration is written.
type lossy struct {
	store.Store
	lost bool
}

func (l *lossy) Write(ctx context.Context, w store.Write) (store.Answer, error) {
	if !l.lost && w.Ops[0].Record.Kind == store.KindActive {
		l.lost = true
		return store.Answer{}, store.ErrUncertain
	}
	return l.Store.Write(ctx, w)
}

// A fit that was broken off between storing and choosing is finished when it is asked for again, but not over somebody else's choice.
func TestFitBrokenOffIsFinished(t *testing.T) {
	for _, overtaken := range []bool{false, true} {
		w := newStudio(t)
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
		fit := func(request string) (*pb.Calibration, error) {
			return w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test", RequestId: request})
		}
		must(fit("first"))(t)
		whole := w.api.store
		w.api.store = &lossy{Store: whole}
		_, err := fit("second")
		refused(t, err, codes.Unavailable, "same request id")
		w.api.store = whole
		want := int64(2)
		if overtaken {
			want = must(fit("third"))(t).Number
		}
		again := must(fit("second"))(t)
		if again.Number != 2 || again.Active == overtaken {
			t.Errorf("asked again: %d, active %v", again.Number, again.Active)
		}
		list := must(w.calibrations.ListCalibrations(w, &pb.ListCalibrationsRequest{Parent: "studios/test"}))(t)
		for _, m := range list.Calibrations {
			if m.Active != (m.Number == want) {
				t.Errorf("%d is active: %v, want %d to be", m.Number, m.Active, want)
			}
		}
	}
}

// What tiles have taught belongs to the physics that it was fitted with: a calibration of another says so wherever it is used, and the next fit takes its place
// without being compared, whatever its own record was.
func TestCalibrationOfOtherPhysics(t *testing.T) {
	w := newStudio(t)
	for range 4 {
		must(w.tiles.CreateTile(w, &pb.CreateTileRequest{Parent: "studios/test", Tile: aTile()}))(t)
	}
	fit := func() *pb.Calibration {
		return must(w.calibrations.FitCalibration(w, &pb.FitCalibrationRequest{Parent: "studios/test"}))(t)
	}
	flagged := func(name string) bool {
		score := must(w.scores.ScoreLayering(w, &pb.ScoreLayeringRequest{Parent: "studios/test", Layering: aTile().Layering,
			FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: "studios/test/firings/cone-6"}, Calibration: name}))(t)
		return slices.ContainsFunc(score.Flags, func(f *pb.Flag) bool { return f.Code == "other_model" })
	}
	first := fit()
	if flagged("") || strings.Contains(first.Verdict, fitAnew) {
		t.Errorf("fresh: %q", first.Verdict)
	}

	// As a server of another physics left it.
	key, err := parseName("name", first.Name, store.KindCalibration)
	if err != nil {
		t.Fatal(err)
	}
	record := must(w.api.store.Get(w, key))(t)
	var stored storepb.CalibrationRecord
	if err := proto.Unmarshal(record.Body, &stored); err != nil {
		t.Fatal(err)
	}
	stored.PhysicsVersion = 0
	if record.Body, err = encode(&stored); err != nil {
		t.Fatal(err)
	}
	old := must(w.api.store.Write(w, store.Write{Ops: []store.Op{store.Insert(store.Record{Key: store.Key{Studio: key.Studio, Kind: store.KindCalibration}, Body: record.Body})}}))(t)
	other := must(w.calibrations.ActivateCalibration(w, &pb.ActivateCalibrationRequest{Name: nameOf(old.Records[0].Key)}))(t)
	if !flagged("") || !strings.Contains(other.Verdict, fitAnew) {
		t.Errorf("of another physics: %q", other.Verdict)
	}
	plan := must(w.scores.PlanShelf(w, &pb.PlanShelfRequest{Parent: "studios/test", Pieces: []*pb.ShelfPiece{{Label: "Tile", Layering: aTile().Layering}},
		FiringSource: &pb.PlanShelfRequest_Firing{Firing: "studios/test/firings/cone-6"}}))(t)
	if !slices.Contains(plan.Warnings, fitAnew) {
		t.Errorf("a shelf plan warns of %q", plan.Warnings)
	}
	if flagged(first.Name) {
		t.Errorf("%s is of this physics", first.Name)
	}

	next := fit()
	if !next.Active || flagged("") || !strings.Contains(next.Verdict, "not compared") {
		t.Errorf("fitted anew: active %v, %q", next.Active, next.Verdict)
	}
}
