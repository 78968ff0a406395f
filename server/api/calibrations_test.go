package api

import (
	"context"
	"testing"

	"google.golang.org/grpc/codes"

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
