package api

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// Limits of the search for the next tiles. Every candidate is held against every target, so larger sheets are thinned
// evenly.
const (
	maxSearched   = 400
	maxTargets    = 200
	maxSuggested  = 50
	defaultTiles  = 5
	probablyFalls = 0.5 // a tile that runs off as likely as not teaches little and costs a shelf
)

// SuggestTiles picks the tiles that teach most.
func (s *calibrations) SuggestTiles(ctx context.Context, r *pb.SuggestTilesRequest) (*pb.SuggestTilesResponse, error) {
	count := int(r.GetCount())
	switch {
	case count == 0:
		count = defaultTiles
	case count < 0 || count > maxSuggested:
		return nil, &fault.Error{Field: "count", Value: fmt.Sprint(count), Limit: fmt.Sprintf("1 to %d", maxSuggested)}
	}
	candidates, err := s.api.cache.sheet(ctx, "candidates", r.GetParent(), r.GetCandidates(), nil)
	if err != nil {
		return nil, err
	}
	targets := candidates
	if r.GetTargets() != nil {
		if targets, err = s.api.cache.sheet(ctx, "targets", r.GetParent(), r.GetTargets(), nil); err != nil {
			return nil, err
		}
	}
	search := risk.TileSearch{Count: count, Tolerated: candidates.tolerated, RunOff: probablyFalls, AllowRunOff: r.GetAllowRunOff()}
	searched := evenly(candidates.total, maxSearched)
	err = candidates.conditions(ctx, searched, func(i int, c calib.Conditions, lnClearance float64) {
		search.Candidates = append(search.Candidates, risk.Candidate{Name: candidates.name(i), Conditions: c, LnRunsOff: lnClearance})
	})
	if err != nil {
		return nil, err
	}
	err = targets.conditions(ctx, evenly(targets.total, maxTargets), func(i int, c calib.Conditions, lnClearance float64) {
		search.Concerns = append(search.Concerns, risk.Concern{Name: targets.name(i), Conditions: c, LnClearance: lnClearance, Weight: 1})
	})
	if err != nil {
		return nil, err
	}
	picks, err := search.NextTiles(candidates.calibration.Calibration)
	if err != nil {
		return nil, err
	}
	out := &pb.SuggestTilesResponse{Cautions: candidates.cautions(), Flags: candidates.flags(r.GetCandidates().GetFirings())}
	concerns := float64(targets.total) // the mean chance of a misjudgement, times their number, is how many are expected to be misjudged
	for k, pick := range picks {
		if k == 0 {
			out.MisjudgedBefore = pick.Before * concerns
		}
		out.MisjudgedAfter = pick.After * concerns
		one, err := candidates.suggested(r.GetCandidates(), searched[pick.Candidate])
		if err != nil {
			return nil, err
		}
		one.ExpectedGain, one.Sentence = pick.Gain*concerns, candidates.inWords(pick.Sentence, one.Layering)
		out.Tiles = append(out.Tiles, one)
	}
	return out, nil
}

// evenly picks at most so many of n indices, spread evenly.
func evenly(n, most int) []int {
	k := min(n, most)
	out := make([]int, k)
	for i := range out {
		out[i] = i * n / k
	}
	return out
}

// conditions hands over what the regression sees of combinations, and the ln drive at which each uses up its clearance.
func (c *combinations) conditions(ctx context.Context, indices []int, hand func(i int, conditions calib.Conditions, lnClearance float64)) error {
	scorer := c.sheet.Scorer()
	var p model.Physics
	for _, i := range indices {
		if err := ctx.Err(); err != nil {
			return err
		}
		q := scorer.Question(i)
		conditions, err := q.Conditions(&p)
		if err != nil {
			return err
		}
		hand(i, conditions, p.Course.LnDrive(q.Wall.Clearance()))
	}
	return nil
}

// name says in words which combination an index is.
func (c *combinations) name(index int) string {
	q := c.question(index)
	text := ""
	for i := len(q.Layers) - 1; i >= 0; i-- {
		if text != "" {
			text += " over "
		}
		text += c.studio.nameOfGlaze(resourceOf(q.Layers[i].Glaze))
	}
	return text
}

// inWords puts what people call glazes in the place of their resource names, the longest name first, as one may start
// with another.
func (c *combinations) inWords(sentence string, l *pb.Layering) string {
	var names []string
	for _, layer := range l.GetLayers() {
		names = append(names, layer.GetLot(), layer.GetGlaze())
	}
	slices.SortFunc(names, func(a, b string) int { return len(b) - len(a) })
	for _, name := range names {
		if g := c.studio.glazes[name]; g != nil {
			sentence = strings.ReplaceAll(sentence, name, g.displayName)
		}
	}
	return sentence
}

// suggested is a combination as a tile to fire.
func (c *combinations) suggested(plan *pb.SheetPlan, index int) (*pb.SuggestedTile, error) {
	q := c.question(index)
	var p model.Physics
	e, err := q.Estimate(&p)
	if err != nil {
		return nil, err
	}
	layering := &pb.Layering{Body: plan.GetBody()}
	rest := index
	for i := len(plan.GetPositions()) - 1; i >= 0; i-- {
		choices := plan.GetPositions()[i].GetChoices()
		layering.Layers = append([]*pb.Layer{proto.CloneOf(choices[rest%len(choices)])}, layering.Layers...)
		rest /= len(choices)
	}
	return &pb.SuggestedTile{
		Layering: layering, Firing: plan.GetFirings()[rest],
		MedianRunMm: 1e3 * e.Median, RunP90Mm: 1e3 * e.P90,
	}, nil
}
