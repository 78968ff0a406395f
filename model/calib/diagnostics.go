package calib

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/catchline/catchline/model/calib/internal/student"
)

// Diagnostics say how well a calibration describes its tiles and, what counts, tiles that it has not seen.
type Diagnostics struct {
	Search             Search
	VarianceComponents VarianceComponents
	// LeaveOneOut judges every tile by the fit without it (in closed form, at the same variances and weights).
	LeaveOneOut Scores
	// Prequential judges every tile by the tiles before it.
	Prequential Scores
	// ByGlaze and ByCone are from leave-one-out, by name.
	ByGlaze, ByCone []Scores
	// R2 is 1 - SSE/SST of the corrections of measured tiles; Adjusted takes the effective parameters into account;
	// R2LeaveOneOut takes errors of tiles left out. Each is nil where it has no meaning (nothing varies, or no degrees
	// of freedom are left). R2LeaveOneOut is negative when the calibration predicts worse than the mean.
	R2, R2Adjusted, R2LeaveOneOut *float64
	// EffectiveParameters is the trace of the hat matrix; ResidualDF the tiles less that.
	EffectiveParameters, ResidualDF float64
	Tiles                           []TileDiagnosis
}

// TileDiagnosis is one tile against the fit without it.
type TileDiagnosis struct {
	Judgement
	Reading Reading
	// Leverage is how much of its own fitted value the tile makes, 0 to 1.
	Leverage float64
	// StandardResidual is the distance of the reading from the prediction of the fit without it, over that prediction's
	// scale; for a censored tile the distance of the nearer end of what was seen, 0 if the prediction lies within.
	StandardResidual float64
	// Suspect is set where a tile so far out comes less than once in a hundred.
	Suspect bool
	// ExpectedLow and ExpectedHigh bound the 80 % interval of ln drive.
	ExpectedLow, ExpectedHigh float64
}

const suspectProbability = 0.01

// Sentence says in plain words why a tile is suspect; empty if it is not. runMM turns ln drive into millimetres of run
// on that tile.
func (t *TileDiagnosis) Sentence(runMM func(lnX float64) float64) string {
	if !t.Suspect {
		return ""
	}
	return fmt.Sprintf("%s where %s to %s mm was expected: check lot, coats, cone.",
		upperFirst(t.Reading.String()), mm(runMM(t.ExpectedLow)), mm(runMM(t.ExpectedHigh)))
}

func upperFirst(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// Diagnose the calibration. It takes a time that grows with tiles × groups².
func (c *Calibration) Diagnose() *Diagnostics {
	d := &Diagnostics{Search: c.search, VarianceComponents: c.components, Tiles: make([]TileDiagnosis, len(c.rows))}
	var observed, fitted, without []float64
	byGlaze, byCone := map[string][]*Judgement{}, map[string][]*Judgement{}
	all := make([]*Judgement, 0, len(c.rows))
	for i, r := range c.rows {
		mean, variance := c.linear(&r.designRow)
		leverage := math.Min(r.h*variance, 1-1e-12)
		// What the others say: take the tile's own row (h, z) out of the normal posterior of its predictor.
		less := mean - leverage/(1-leverage)*(r.z-mean)
		t := &d.Tiles[i]
		t.Judgement = c.judge(r, less, variance/(1-leverage))
		t.Reading, t.Leverage = r.reading, leverage
		d.EffectiveParameters += leverage
		half := t.Scale * student.Quantile(t.DF, 0.9)
		t.ExpectedLow, t.ExpectedHigh = t.Mean-half, t.Mean+half
		t.Suspect = t.surprise() < suspectProbability
		switch {
		case r.reading.Low > t.Mean:
			t.StandardResidual = (r.reading.Low - t.Mean) / t.Scale
		case r.reading.High < t.Mean:
			t.StandardResidual = (r.reading.High - t.Mean) / t.Scale
		}
		if r.reading.Outcome == Measured {
			y := r.reading.Low - r.lnPhysics
			observed, fitted, without = append(observed, y), append(fitted, mean), append(without, less)
		}
		all = append(all, &t.Judgement)
		for _, g := range t.Glazes {
			byGlaze[g] = append(byGlaze[g], &t.Judgement)
		}
		if r.cone != "" {
			byCone[r.cone] = append(byCone[r.cone], &t.Judgement)
		}
	}
	d.LeaveOneOut = SumUp("", all)
	d.ByGlaze, d.ByCone = group(byGlaze), group(byCone)
	record := make([]*Judgement, len(c.record))
	for i := range c.record {
		record[i] = &c.record[i]
	}
	d.Prequential = SumUp("", record)
	d.R2, d.R2LeaveOneOut = rSquared(observed, fitted), rSquared(observed, without)
	d.ResidualDF = float64(len(c.rows)) - d.EffectiveParameters
	if n := float64(len(observed)); d.R2 != nil && n-1-d.EffectiveParameters > 0 {
		v := 1 - (1-*d.R2)*(n-1)/(n-1-d.EffectiveParameters)
		d.R2Adjusted = &v
	}
	return d
}

func group(by map[string][]*Judgement) []Scores {
	out := make([]Scores, 0, len(by))
	for label, js := range by {
		out = append(out, SumUp(label, js))
	}
	slices.SortFunc(out, func(a, b Scores) int { return cmp.Compare(a.Label, b.Label) })
	return out
}
