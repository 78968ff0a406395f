package api

import (
	"context"
	"fmt"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// The comparison of lots when nobody says.
const (
	defaultLotCoats  = 3
	defaultLotMoreMM = 3
	tooManyToSettle  = 1000 // stands for more than anyone would count
)

// CompareLots compares two lots of a glaze at a reference.
func (s *calibrations) CompareLots(ctx context.Context, r *pb.CompareLotsRequest) (*pb.CompareLotsResponse, error) {
	glaze, err := parseName("parent", r.GetParent(), store.KindGlaze)
	if err != nil {
		return nil, err
	}
	more := float64(defaultLotMoreMM)
	if r.AmountMm != nil {
		more = r.GetAmountMm()
	}
	old, course, oldConditions, err := s.withLot(ctx, r, glaze.Studio, "old_lot", r.GetOldLot())
	if err != nil {
		return nil, err
	}
	_, _, newConditions, err := s.withLot(ctx, r, glaze.Studio, "new_lot", r.GetNewLot())
	if err != nil {
		return nil, err
	}
	question := risk.LotQuestion{Old: oldConditions, New: newConditions, RunMM: func(lnDrive float64) float64 { return runMM(course, lnDrive) }, MoreMM: more}
	d, err := question.LotDrift(old.Calibration)
	if err != nil {
		return nil, err
	}
	out := &pb.CompareLotsResponse{
		DifferenceLn: d.LnMobilityMean, DifferenceSd: d.LnMobilitySD,
		DifferenceMm: d.DifferenceMM.Median, DifferenceP10Mm: d.DifferenceMM.Low, DifferenceP90Mm: d.DifferenceMM.High,
		RunsMoreProbability: d.Probability, TilesToSettle: int32(d.MoreTiles), Sentence: d.Sentence,
	}
	if d.MoreTiles < 0 {
		out.TilesToSettle = tooManyToSettle
	}
	if out.OldTiles, err = s.tilesOfLot(ctx, glaze.Studio, r.GetOldLot()); err != nil {
		return nil, err
	}
	out.NewTiles, err = s.tilesOfLot(ctx, glaze.Studio, r.GetNewLot())
	return out, err
}

// withLot puts a lot into the reference, and gives the course of the film on it.
func (s *calibrations) withLot(ctx context.Context, r *pb.CompareLotsRequest, studio, field, lot string) (*question, *model.Course, calib.Conditions, error) {
	if lot == "" {
		return nil, nil, calib.Conditions{}, &fault.Error{Field: field, Value: "empty", Limit: "a lot of " + r.GetParent()}
	}
	reference := proto.CloneOf(r.GetReferenceLayering())
	if reference == nil {
		reference = &pb.Layering{Layers: []*pb.Layer{{Glaze: r.GetParent(), Amount: &pb.Layer_Coats{Coats: defaultLotCoats}}}}
	}
	found := false
	for _, l := range reference.GetLayers() {
		if l.GetGlaze() == r.GetParent() {
			l.Lot, found = lot, true
		}
	}
	if !found {
		return nil, nil, calib.Conditions{}, &fault.Error{Field: "reference_layering", Value: fmt.Sprintf("%d layers without that glaze", len(reference.GetLayers())), Limit: "a layering with " + r.GetParent()}
	}
	q, err := s.api.cache.ask(ctx, "", &pb.ScoreLayeringRequest{
		Parent: "studios/" + studio, Layering: reference, Placement: r.GetPlacement(),
		FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: r.GetFiring()},
	})
	if err != nil {
		return nil, nil, calib.Conditions{}, err
	}
	var p model.Physics
	c, err := q.Conditions(&p)
	return q, &p.Course, c, err
}

// tilesOfLot counts the logged tiles with a lot.
func (s *calibrations) tilesOfLot(ctx context.Context, studio, lot string) (int32, error) {
	var n int32
	err := scan(ctx, s.api.store, studio, store.KindTile, func(_ store.Key, t *pb.Tile) {
		for _, l := range t.GetLayering().GetLayers() {
			if l.GetLot() == lot {
				n++
				return
			}
		}
	})
	_, err = withoutDamaged(err)
	return n, err
}
