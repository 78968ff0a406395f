package api

import (
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/calib"
	pb "github.com/catchline/catchline/proto/catchline/v1"
)

// showCalibration tells callers what a calibration learnt, and how well.
func showCalibration(c *calib.Calibration, tiles []*loggedTile) *pb.Calibration {
	d := c.Diagnose()
	byName := map[string]*loggedTile{}
	for _, t := range tiles {
		byName[t.name] = t
	}
	return &pb.Calibration{
		Tiles:       int32(len(tiles)),
		Effects:     effects(c, tiles),
		Diagnostics: diagnostics(c, d, byName),
	}
}

// effects lists what was learnt.
func effects(c *calib.Calibration, tiles []*loggedTile) []*pb.Effect {
	var out []*pb.Effect
	for _, k := range c.Coefficients() {
		kind, of := k.Name, ""
		for f := range calib.NumFactors {
			if rest, ok := strings.CutPrefix(k.Name, f.String()+" "); ok {
				kind, of = f.String(), rest
			}
		}
		out = append(out, &pb.Effect{Kind: kind, Of: of, Value: k.Mean, Sd: k.SD, Tiles: int32(bearing(kind, of, tiles))})
	}
	return out
}

// bearing counts the tiles that bear on a group; all of them bear on what is common.
func bearing(kind, of string, tiles []*loggedTile) int {
	if of == "" {
		return len(tiles)
	}
	n := 0
	named := func(s calib.Share) bool { return s.Name == of }
	for _, t := range tiles {
		c := &t.calib.Conditions
		switch kind {
		case calib.Glaze.String():
			n += ones(slices.ContainsFunc(c.Glazes, named))
		case calib.Lot.String():
			n += ones(slices.ContainsFunc(c.Lots, named))
		case calib.Pair.String():
			n += ones(c.Pair.Name == of)
		case calib.Kiln.String():
			n += ones(c.Kiln == of)
		case calib.Body.String():
			n += ones(c.Body == of)
		case calib.Tester.String():
			n += ones(c.Tester == of)
		case calib.Bead.String():
			n += ones(c.Bead.Name == of)
		}
	}
	return n
}

func ones(is bool) int {
	if is {
		return 1
	}
	return 0
}

// maxTileDiagnostics is how many of the newest tiles a calibration is shown with, beside the suspect ones.
const maxTileDiagnostics = 5000

func diagnostics(c *calib.Calibration, d *calib.Diagnostics, tiles map[string]*loggedTile) *pb.Diagnostics {
	out := &pb.Diagnostics{
		RSquared:            d.R2,
		ConditionNumber:     finite(d.Search.Condition),
		EffectiveParameters: d.EffectiveParameters,
		ErrorSd:             d.VarianceComponents.Noise,
		ErrorDf:             finite(d.VarianceComponents.DF),
		Iterations:          int32(d.Search.Iterations),
		Converged:           d.Search.Converged,
		GroupSd:             map[string]float64{},
	}
	for f := range calib.NumFactors {
		out.GroupSd[f.String()] = d.VarianceComponents.Spread[f]
	}
	var leftOut []*calib.Judgement
	for i := range d.Tiles {
		t := &d.Tiles[i]
		leftOut = append(leftOut, &t.Judgement)
		out.CensoredTiles += int32(ones(t.Outcome != calib.Measured))
		one := &pb.TileDiagnostic{Tile: t.Tile, Leverage: t.Leverage, StandardisedResidual: t.StandardResidual, Weight: weight(t)}
		if logged := tiles[t.Tile]; logged != nil {
			one.Suspect = t.Sentence(logged.runMM)
		}
		out.Tiles = append(out.Tiles, one)
	}
	if extra := len(out.Tiles) - maxTileDiagnostics; extra > 0 {
		// The oldest go, but for those that somebody ought to look at.
		out.Tiles = append(slices.DeleteFunc(out.Tiles[:extra:extra], func(t *pb.TileDiagnostic) bool { return t.Suspect == "" }), out.Tiles[extra:]...)
	}
	record := c.Record()
	before := make([]*calib.Judgement, len(record))
	for i := range record {
		before[i] = &record[i]
	}
	out.LeaveOneOut = accuracy(&d.LeaveOneOut, leftOut, tiles)
	out.Prequential = accuracy(&d.Prequential, before, tiles)
	for i := range d.ByGlaze {
		s := &d.ByGlaze[i]
		out.PerGlaze = append(out.PerGlaze, &pb.AccuracyOf{Of: s.Label, Accuracy: accuracy(s, about(leftOut, func(j *calib.Judgement) bool { return slices.Contains(j.Glazes, s.Label) }), tiles)})
	}
	for i := range d.ByCone {
		s := &d.ByCone[i]
		out.PerCone = append(out.PerCone, &pb.AccuracyOf{Of: s.Label, Accuracy: accuracy(s, about(leftOut, func(j *calib.Judgement) bool { return j.Cone == s.Label }), tiles)})
	}
	return out
}

// weight is how much a tile counts against a tile in the middle: the weight of the Student-t error at its residual,
// (ν+1)/(ν+r²) over that at 0.
func weight(t *calib.TileDiagnosis) float64 {
	if math.IsInf(t.DF, 1) {
		return 1
	}
	return t.DF / (t.DF + t.StandardResidual*t.StandardResidual)
}

// finite stands 0 in for a number that JSON cannot hold; both uses document it.
func finite(v float64) float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return 0
	}
	return v
}

func about(all []*calib.Judgement, is func(*calib.Judgement) bool) []*calib.Judgement {
	var out []*calib.Judgement
	for _, j := range all {
		if is(j) {
			out = append(out, j)
		}
	}
	return out
}

// accuracy tells the scores of some judgements, with errors in millimetres where the tiles are known.
func accuracy(s *calib.Scores, judged []*calib.Judgement, tiles map[string]*loggedTile) *pb.Accuracy {
	a := &pb.Accuracy{Tiles: int32(s.Tiles), Brier: s.Brier}
	for k, level := range calib.IntervalProbabilities {
		a.Coverage = append(a.Coverage, &pb.Coverage{Nominal: level, Observed: s.Coverage[k], Tiles: int32(s.Tiles)})
	}
	for _, b := range s.Reliability {
		a.Reliability = append(a.Reliability, &pb.ReliabilityBin{Forecast: b.Forecast, Observed: b.Observed, Tiles: int32(b.Tiles)})
	}
	var squares float64
	var absolute []float64
	for _, j := range judged {
		t := tiles[j.Tile]
		if t == nil {
			continue
		}
		said := t.runMM(j.Mean)
		from, to := t.measured()
		seen := math.Min(math.Max(said, from), to) // what is known of a censored tile
		e := math.Log1p(seen) - math.Log1p(said)
		squares += e * e
		absolute = append(absolute, math.Abs(seen-said))
	}
	if n := len(absolute); n > 0 {
		a.RmsLnRun = math.Sqrt(squares / float64(n))
		sort.Float64s(absolute)
		a.MedianAbsMm = (absolute[(n-1)/2] + absolute[n/2]) / 2
	}
	return a
}

// runMM is the run in millimetres that ln drive makes on a course.
func runMM(c *model.Course, lnDrive float64) float64 { return 1e3 * c.Run(math.Exp(lnDrive)) }

// measured gives the bounds in millimetres of what came out.
func (t *loggedTile) measured() (from, to float64) {
	r := &t.calib.Reading
	return r.LowMM, r.HighMM
}
