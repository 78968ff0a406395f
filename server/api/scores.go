package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/risk"
	pb "github.com/catchline/catchline/proto/catchline/v1"
	"github.com/catchline/catchline/server/store"
)

// scores says beforehand how far a layering will run.
type scores struct {
	pb.UnimplementedScoreServiceServer
	api *API
}

func (s *scores) ScoreLayering(ctx context.Context, r *pb.ScoreLayeringRequest) (*pb.Score, error) {
	if r.GetView() == pb.ScoreView_SCORE_VIEW_NUMBERS {
		return s.numbers(ctx, r)
	}
	q, score, err := s.score(ctx, "", r)
	if err != nil {
		return nil, err
	}
	return s.show(ctx, q, score)
}

// workings are large, and written over each time.
var workings = sync.Pool{New: func() any { return new(model.Physics) }}

// numbers answers with what a decision depends on, and with the codes of what goes with it.
func (s *scores) numbers(ctx context.Context, r *pb.ScoreLayeringRequest) (*pb.Score, error) {
	q, err := s.api.cache.ask(ctx, "", r)
	if err != nil {
		return nil, err
	}
	physics := workings.Get().(*model.Physics)
	defer workings.Put(physics)
	e, err := q.Estimate(physics)
	if err != nil {
		return nil, err
	}
	out := q.showEstimate(&e)
	out.Flags = q.flags(q.Flags(physics))
	out.Cautions = q.cautions(boundsOf(q.studio.settings).of(&e), risk.None)
	for _, c := range out.Cautions {
		c.Text = ""
	}
	return out, nil
}

// showEstimate writes the numbers of a score as callers see them.
func (q *question) showEstimate(e *model.Estimate) *pb.Score {
	const mm = 1e3
	return &pb.Score{
		MedianRunMm: e.Median * mm, RunP10Mm: e.P10 * mm, RunP90Mm: e.P90 * mm,
		ExceedProbability: e.Exceedance,
		ClearanceMm:       q.Wall.Clearance() * mm, ClearanceNeededMm: e.ClearanceNeeded * mm,
		ToleratedRisk: q.Tolerated,
		Risk:          pb.Risk_RISK_LOW + pb.Risk(boundsOf(q.studio.settings).of(e)),
		Calibration:   q.calibration.name,
	}
}

// fitAnew is said of answers by a calibration of another physics.
const fitAnew = "What this studio's tiles have taught was fitted with another version of the model of melt and film; fit anew."

// flags tells what makes every answer by a calibration less sure.
func (c *activeCalibration) flags() []model.Flag {
	flags := model.CalibrationFlags(c.Calibration)
	if c.otherPhysics {
		flags = append(flags, model.Flag{Code: "other_model", Sentence: fitAnew})
	}
	return flags
}

// flags shows what the model flags of a question, and what makes every answer by its calibration less sure.
func (q *question) flags(flags []model.Flag) []*pb.Flag {
	flags = append(flags, q.calibration.flags()...)
	all, out := make([]pb.Flag, len(flags)), make([]*pb.Flag, len(flags))
	for i, f := range flags {
		all[i].Code, all[i].Sentence = f.Code, f.Sentence
		out[i] = &all[i]
	}
	return out
}

// score answers a request in the model's own terms.
func (s *scores) score(ctx context.Context, path string, r *pb.ScoreLayeringRequest) (*question, *model.Score, error) {
	q, err := s.api.cache.ask(ctx, path, r)
	if err != nil {
		return nil, nil, err
	}
	score, err := q.Score(q.studio.medianGlaze(q.firing))
	return q, score, err
}

// predictTile says how far a tile will run, before it is logged.
func (a *API) predictTile(ctx context.Context, today *day, tile *pb.Tile) (*pb.TilePrediction, error) {
	p, err := a.cache.get(ctx, today.studio)
	if err != nil {
		return nil, err
	}
	if err := p.calibration.damaged; err != nil {
		return nil, err
	}
	log := tileLog{p, p.calibration, today.model}
	q, err := log.question(tile)
	if err != nil {
		return nil, err
	}
	physics := workings.Get().(*model.Physics)
	defer workings.Put(physics)
	e, err := q.Estimate(physics)
	if err != nil {
		return nil, under("tile", err)
	}
	return &pb.TilePrediction{
		Calibration: p.calibration.name,
		MedianRunMm: 1e3 * e.Median, RunP10Mm: 1e3 * e.P10, RunP90Mm: 1e3 * e.P90, ExceedProbability: e.Exceedance,
	}, nil
}

// show writes a score as callers see it, in their units.
func (s *scores) show(ctx context.Context, q *question, score *model.Score) (*pb.Score, error) {
	const mm = 1e3
	foot, cookie, err := q.atFoot(score)
	if err != nil {
		return nil, err
	}
	out := q.showEstimate(&score.Estimate)
	out.RunP01Mm = score.Physics.Course.Quantile(&score.Prediction, 0.01) * mm
	out.RunP99Mm = score.Physics.Course.Quantile(&score.Prediction, 0.99) * mm
	out.Drivers = q.drivers(score)
	out.Evidence = s.evidence(ctx, q, score)
	out.Physics = q.physics(score)
	out.Foot = footAndShelf(foot, cookie)
	out.Cautions = q.cautions(boundsOf(q.studio.settings).of(&score.Estimate), cookie.Kind)
	out.Flags = q.flags(score.Flags)
	for _, r := range score.Solo {
		out.SoloRuns = append(out.SoloRuns, &pb.SoloRun{Glaze: r.Glaze, MedianRunMm: r.Median * mm, RunP10Mm: r.P10 * mm, RunP90Mm: r.P90 * mm})
	}
	return out, nil
}

// drivers tells in words what makes a layering run.
func (q *question) drivers(score *model.Score) []*pb.Driver {
	all, out := make([]pb.Driver, len(score.Drivers)), make([]*pb.Driver, len(score.Drivers))
	for i, d := range score.Drivers {
		one := &all[i]
		out[i] = one
		one.RunMm, one.Glaze = 1e3*d.Run, d.Glaze
		more := "adds "
		if d.Run < 0 {
			more = "takes off "
		}
		more += strconv.FormatFloat(math.Abs(one.RunMm), 'f', 1, 64) + " mm"
		switch d.Kind {
		case model.DriverThickness:
			one.Kind = pb.Driver_KIND_THICKNESS
			one.Sentence = "Being as thick as all its layers together " + more + ", against the thickest of them alone."
		case model.DriverGlaze:
			one.Kind = pb.Driver_KIND_GLAZE
			one.Sentence = q.studio.nameOfGlaze(d.Glaze) + " " + more + ", against the studio's median glaze in its place."
		case model.DriverBlend:
			one.Kind = pb.Driver_KIND_BLEND
			one.Sentence = "Mixing between the layers " + more + ", against layers that stay apart."
		case model.DriverHeatWork:
			one.Kind = pb.Driver_KIND_HEAT_WORK
			one.Sentence = "Firing to cone " + firing.FormatConeNumber(q.firing.heat.EquivalentCone) + " " + more + ", against one cone less."
		case model.DriverOrder:
			one.Kind = pb.Driver_KIND_ORDER
			one.Sentence = "This order " + more + ", against the reverse."
		default:
			one.Kind = pb.Driver_KIND_CORRECTION
			one.Sentence = "What this studio's tiles have taught " + more + ", against the physics alone."
		}
	}
	return out
}

func (s *scores) evidence(ctx context.Context, q *question, score *model.Score) *pb.Evidence {
	y := &score.Prediction
	out := &pb.Evidence{
		Tiles:          int32(q.Calibration.Search().Tiles),
		EffectiveTiles: y.EffectiveTiles,
		CorrectionLn:   y.Mean,
		ScaleLn:        y.Scale,
	}
	if y.DF < 1e5 {
		out.DegreesOfFreedom = y.DF
	}
	all := make([]pb.EvidenceTile, len(score.Evidence))
	out.MovedMost = make([]*pb.EvidenceTile, len(all))
	for i, e := range score.Evidence {
		moved := strconv.FormatFloat(100*math.Expm1(e.Moved), 'f', 0, 64)
		if !strings.HasPrefix(moved, "-") {
			moved = "+" + moved
		}
		all[i].Tile, all[i].Weight = e.Tile, e.Share
		all[i].Sentence = s.tileWords(ctx, q, e.Tile) + "; it moved the drive by " + moved + " %."
		out.MovedMost[i] = &all[i]
	}
	return out
}

// tileWords says in a few words what a tile was. What tiles a calibration learnt from does not change, so the words
// are kept with it.
func (s *scores) tileWords(ctx context.Context, q *question, name string) string {
	if w, ok := q.calibration.words.Load(name); ok {
		return w.(string)
	}
	t, err := s.api.tiles.get(ctx, name)
	if errors.Is(err, store.ErrDamaged) {
		return "A tile whose record is damaged, " + name
	}
	if err != nil {
		return "A tile that is no longer there" // deleted since, or the caller has gone
	}
	words := ""
	for _, l := range slices.Backward(t.GetLayering().GetLayers()) {
		if words != "" {
			words += " over "
		}
		words += q.studio.nameOfGlaze(l.GetGlaze())
	}
	switch o := t.GetOutcome().(type) {
	case *pb.Tile_RunMm:
		words += fmt.Sprintf(" ran %.0f mm", o.RunMm)
	case *pb.Tile_RunInterval:
		words += fmt.Sprintf(" ran %.0f to %.0f mm", o.RunInterval.GetFromMm(), o.RunInterval.GetToMm())
	case *pb.Tile_RanOff:
		words += " ran off"
	default:
		words += " did not move"
	}
	if t.GetFireDate() != "" {
		words += " on " + t.GetFireDate()
	}
	if ctx.Err() == nil {
		q.calibration.words.Store(name, words)
	}
	return words
}

func (q *question) physics(score *model.Score) *pb.PhysicsDetail {
	p := &score.Physics
	f := q.firing.heat
	out := &pb.PhysicsDetail{
		TotalThicknessUm: p.Flow.Thickness * 1e6,
		MobilityPerM:     p.Flow.Mobility,
		MedianRunMm:      score.PhysicsRun * 1e3,
		EquivalentCone:   firing.FormatConeNumber(f.EquivalentCone),
		PeakC:            f.PeakKelvin - 273.15,
		DensityKgM3:      score.Density,
		SurfaceTensionNM: score.Tension,
		FingerSpacingMm:  1e3 * film.HuppertSpacing(p.Flow.Thickness*q.Wall.Band(), score.Tension, score.Density, math.Max(q.Wall.Sin(), 0.01)),
	}
	for i := range q.Layers {
		l := &q.Layers[i]
		out.LayerThicknessUm = append(out.LayerThicknessUm, l.Thickness.Metres*1e6)
		out.LayerLog10Viscosity = append(out.LayerLog10Viscosity, l.PeakLog10)
		if i+1 < len(q.Layers) {
			out.BlendLog10Viscosity = append(out.BlendLog10Viscosity, p.BlendLog10(&q.Layering, i))
			out.MixedZoneUm = append(out.MixedZoneUm, p.ZoneWidth[i]*1e6)
		}
	}
	layers, zones := p.FlowShares(len(q.Layers))
	out.FlowShare = append(layers, zones...)
	return out
}

// riskBounds are a studio's thresholds for the words.
type riskBounds struct{ risk.Thresholds }

// boundsOf reads a studio's thresholds.
func boundsOf(s *pb.StudioSettings) riskBounds {
	t := risk.DefaultThresholds
	if v := s.GetThresholds(); v != nil {
		set(&t.Low, v.Low)
		set(&t.Moderate, v.Moderate)
		set(&t.High, v.High)
	}
	return riskBounds{t}
}

// of is the word for an estimate. What is under-fired is never said to be of low risk: that it does not run says
// nothing of how it fires on.
func (b riskBounds) of(e *model.Estimate) risk.Word {
	word := b.Word(e.Exceedance)
	if e.UnderFired {
		word = max(word, risk.Moderate)
	}
	return word
}
