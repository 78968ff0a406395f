package api

import (
	"context"
	"errors"
	"fmt"

	"golang.org/x/sync/errgroup"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/fault"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// Limits of a sheet.
const (
	maxSheetScores  = 20_000_000
	maxPositions    = 4
	maxChoices      = 2000
	maxFirings      = 50
	maxChunk        = 10_000
	defaultChunk    = 1000
	checkEveryCombo = 256 // combinations between two looks at whether anyone still listens: a few hundred microseconds
)

// combinations is a sheet made ready: every choice fired in every firing.
type combinations struct {
	studio      *prepared
	calibration *activeCalibration
	tolerated   float64
	bounds      riskBounds
	sheet       model.Sheet
	layers      [][][]model.Layer // by firing, position and choice
	total       int
}

// sheet reads a plan. Errors name its fields under path.
func (s *studioCache) sheet(ctx context.Context, path, parent string, plan *pb.SheetPlan, tolerated *float64) (*combinations, error) {
	key, err := parseName("parent", parent, store.KindStudio)
	if err != nil {
		return nil, err
	}
	p, err := s.get(ctx, key.ID)
	if err != nil {
		return nil, err
	}
	if err := checkPlan(path, plan); err != nil {
		return nil, err
	}
	if err := p.calibration.damaged; err != nil {
		return nil, err
	}
	c := &combinations{studio: p, calibration: p.calibration, bounds: boundsOf(p.settings), total: len(plan.GetFirings())}
	if c.tolerated, err = p.tolerated("tolerated_risk", tolerated); err != nil {
		return nil, err
	}
	for i, pos := range plan.GetPositions() {
		c.total *= len(pos.GetChoices())
		if c.total > maxSheetScores {
			return nil, &fault.Error{Field: fmt.Sprintf("%s.positions[%d]", path, i), Value: "more than 20,000,000 scores in all", Limit: "at most 20,000,000"}
		}
	}
	for i, name := range plan.GetFirings() {
		if err := c.addFiring(ctx, s, fmt.Sprintf("%s.firings[%d]", path, i), path, parent, name, plan); err != nil {
			return nil, err
		}
	}
	return c, nil
}

func checkPlan(path string, plan *pb.SheetPlan) error {
	if n := len(plan.GetPositions()); n < 1 || n > maxPositions {
		return &fault.Error{Field: path + ".positions", Value: fmt.Sprintf("%d positions", n), Limit: fmt.Sprintf("1 to %d", maxPositions)}
	}
	for i, pos := range plan.GetPositions() {
		if n := len(pos.GetChoices()); n < 1 || n > maxChoices {
			return &fault.Error{Field: fmt.Sprintf("%s.positions[%d].choices", path, i), Value: fmt.Sprintf("%d choices", n), Limit: fmt.Sprintf("1 to %d", maxChoices)}
		}
	}
	if n := len(plan.GetFirings()); n < 1 || n > maxFirings {
		return &fault.Error{Field: path + ".firings", Value: fmt.Sprintf("%d firings", n), Limit: fmt.Sprintf("1 to %d", maxFirings)}
	}
	return nil
}

// addFiring fires every choice in one firing. The wall is asked for once, by the first combination.
func (c *combinations) addFiring(ctx context.Context, s *studioCache, firingPath, path, parent, name string, plan *pb.SheetPlan) error {
	f, err := c.studio.firing("", name, nil)
	if err != nil {
		if one := (*fault.Error)(nil); errors.As(err, &one) {
			return &fault.Error{Field: firingPath, Value: one.Value, Limit: one.Limit}
		}
		return err
	}
	first := &pb.Layering{Body: plan.GetBody()}
	var positions [][]model.Layer
	for i, pos := range plan.GetPositions() {
		first.Layers = append(first.Layers, pos.GetChoices()[0])
		var choices []model.Layer
		for k, l := range pos.GetChoices() {
			layer, err := c.studio.layer(l, f, c.studio.glaze)
			if err != nil {
				return under(fmt.Sprintf("%s.positions[%d].choices[%d]", path, i, k), err)
			}
			choices = append(choices, layer)
		}
		positions = append(positions, choices)
	}
	q, err := s.ask(ctx, path+".", &pb.ScoreLayeringRequest{
		Parent: parent, Layering: first, FiringSource: &pb.ScoreLayeringRequest_Firing{Firing: name},
		Placement: plan.GetPlacement(), Kiln: plan.GetKiln(),
	})
	if err != nil {
		return err
	}
	q.Layers, q.Tolerated = nil, c.tolerated
	c.layers = append(c.layers, positions)
	c.sheet.Add(&q.Question, positions)
	return nil
}

// question asks about one combination.
func (c *combinations) question(index int) *model.Question { return c.sheet.Scorer().Question(index) }

// chunk scores the combinations from first up to, not including, end.
func (c *combinations) chunk(ctx context.Context, first, end int) (*pb.ScoreSheetResponse, error) {
	n := end - first
	out := &pb.ScoreSheetResponse{
		Total: int64(c.total), FirstIndex: int64(first),
		MedianRunMm: make([]float32, n), RunP10Mm: make([]float32, n), RunP90Mm: make([]float32, n),
		ExceedProbability: make([]float32, n), ClearanceNeededMm: make([]float32, n), Risk: make([]pb.Risk, n),
	}
	scorer := c.sheet.Scorer()
	var estimates [checkEveryCombo]model.Estimate
	for at := 0; at < n; at += len(estimates) {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		some := estimates[:min(len(estimates), n-at)]
		if done, err := scorer.Estimates(some, first+at); err != nil {
			return nil, fmt.Errorf("combination %d: %w", first+at+done, err)
		}
		for k := range some {
			e, i := &some[k], at+k
			out.MedianRunMm[i] = float32(1e3 * e.Median)
			out.RunP10Mm[i] = float32(1e3 * e.P10)
			out.RunP90Mm[i] = float32(1e3 * e.P90)
			out.ExceedProbability[i] = float32(e.Exceedance)
			out.ClearanceNeededMm[i] = float32(1e3 * e.ClearanceNeeded)
			out.Risk[i] = pb.Risk_RISK_LOW + pb.Risk(c.bounds.of(e))
		}
	}
	return out, nil
}

// ScoreSheet scores in chunks on all cores and sends them in order; no more chunks are made ahead of what is taken
// than a few for each core.
func (s *scores) ScoreSheet(r *pb.ScoreSheetRequest, stream pb.ScoreService_ScoreSheetServer) error {
	ctx := stream.Context()
	plan, path := r.GetPlan(), "plan"
	if name := r.GetSheet(); name != "" {
		sheet, err := s.api.sheets.get(ctx, name)
		if err != nil {
			return err
		}
		plan, path = sheet.GetPlan(), "sheet.plan"
	}
	c, err := s.api.cache.sheet(ctx, path, r.GetParent(), plan, r.ToleratedRisk)
	if err != nil {
		return err
	}
	size := int(r.GetChunkSize())
	switch {
	case size == 0:
		size = defaultChunk
	case size < 0 || size > maxChunk:
		return &fault.Error{Field: "chunk_size", Value: fmt.Sprint(size), Limit: fmt.Sprintf("1 to %d", maxChunk)}
	}
	return s.api.each(ctx, c, size, func(chunk *pb.ScoreSheetResponse) error {
		if chunk.FirstIndex == 0 {
			chunk.Calibration = c.calibration.name
			chunk.Cautions = c.cautions()
			chunk.Flags = c.flags(plan.GetFirings())
		}
		return stream.Send(chunk)
	})
}

// each makes all chunks on all cores and hands them over in order.
func (a *API) each(ctx context.Context, c *combinations, size int, hand func(*pb.ScoreSheetResponse) error) error {
	group, ctx := errgroup.WithContext(ctx)
	// A slot a chunk in the making or ready; the queue keeps their order. A few are ready ahead, so that nobody who
	// computes waits for the one that is being sent.
	queue := make(chan chan *pb.ScoreSheetResponse, 4*a.workers)
	group.SetLimit(a.workers + 2)
	group.Go(func() error {
		defer close(queue)
		for first := 0; first < c.total; first += size {
			slot := make(chan *pb.ScoreSheetResponse, 1)
			select {
			case queue <- slot:
			case <-ctx.Done():
				return ctx.Err()
			}
			end := min(first+size, c.total)
			group.Go(func() error {
				done, err := a.turn(ctx)
				if err != nil {
					return err
				}
				defer done()
				chunk, err := c.chunk(ctx, first, end)
				if err != nil {
					return err
				}
				slot <- chunk
				return nil
			})
		}
		return nil
	})
	group.Go(func() error {
		for slot := range queue {
			select {
			case chunk := <-slot:
				if err := hand(chunk); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return group.Wait()
}
