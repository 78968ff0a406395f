package calib

import (
	"math"

	"github.com/catchline/catchline/model/calib/internal/student"
	"gonum.org/v1/gonum/stat"
)

// Judgement is how one tile came out against a prediction that had not seen it.
type Judgement struct {
	Tile    string
	Order   int64
	Cone    string
	Glazes  []string // that the calibration knew it by
	Outcome Outcome
	// The prediction of what would be read, in ln drive: Student-t, reading error included.
	Mean, Scale, DF float64
	// Error is what was read less Mean, in ln drive; 0 for a censored tile.
	Error float64
	// LnScore is the log of the density (measured) or of the probability (censored) that the prediction gave to what
	// was seen: the higher the better.
	LnScore float64
	// Low and High are the prediction's distribution function at the ends of what was seen; equal for a measured tile.
	Low, High float64
	// Exceeds is the probability given to 'exceeds the clearance', and Exceeded whether it did, if Decided: a tile
	// without a clearance, or whose interval straddles it, decides nothing.
	Decided  bool
	Exceeds  float64
	Exceeded bool
}

// Quantile of the ln drive that was predicted to be read, 0 < prob < 1.
func (j *Judgement) Quantile(prob float64) float64 {
	return j.Mean + j.Scale*student.Quantile(j.DF, prob)
}

// IntervalProbabilities of the intervals whose coverage is kept.
var IntervalProbabilities = [3]float64{0.5, 0.8, 0.95}

// judge a tile against the mean and variance of a linear predictor that has not learnt from it.
func (c *Calibration) judge(r *row, mean, variance float64) Judgement {
	tileScale := r.errorScale(&c.used, &c.components)
	j := Judgement{Tile: r.name, Order: r.order, Cone: r.cone, Outcome: r.reading.Outcome, Mean: r.lnPhysics + mean}
	for _, e := range r.entries {
		if i := int(e.id) - int(NumEffects); i >= 0 && c.core.levels[i].factor == Glaze {
			j.Glazes = append(j.Glazes, c.core.levels[i].name)
		}
	}
	j.Scale, j.DF = c.convolution.Of(variance, tileScale*tileScale)
	e := newErrorModel(j.DF)
	if j.DF >= student.MaxDF {
		e = newErrorModel(math.Inf(1))
	}
	low, high := r.reading.Low-j.Mean, r.reading.High-j.Mean
	j.Low, j.High = e.t.CDF(low/j.Scale), e.t.CDF(high/j.Scale)
	if r.reading.Outcome == Measured {
		j.Error = low
		j.LnScore = e.measured(low, j.Scale).lnLikelihood
	} else {
		j.LnScore = e.within(low, high, j.Scale).lnLikelihood
	}
	if r.clearance != nil {
		limit := *r.clearance
		read2 := r.reading.SD * r.reading.SD
		p := Prediction{Mean: j.Mean}
		p.Scale, p.DF = c.convolution.Of(variance, tileScale*tileScale-read2)
		j.Exceeds = p.Exceedance(limit)
		switch {
		case r.reading.Low > limit || (r.reading.Outcome == RanOff && r.reading.Low >= limit):
			j.Decided, j.Exceeded = true, true
		case r.reading.High <= limit:
			j.Decided = true
		}
		if !j.Decided {
			j.Exceeds = 0
		}
	}
	return j
}

// covered is the part of the outcome that the central interval of a level holds: 0 or 1 for a measured tile; for a
// censored one the probability that it does, given what was seen (as in the nonrandomised probability integral
// transform of Czado, Gneiting & Held 2009, Biometrics 65, from memory).
func (j *Judgement) covered(level float64) float64 {
	a, b := (1-level)/2, (1+level)/2
	if j.High <= j.Low {
		if j.Low >= a && j.Low <= b {
			return 1
		}
		return 0
	}
	return math.Max(0, math.Min(b, j.High)-math.Max(a, j.Low)) / (j.High - j.Low)
}

// surprise is the two-sided probability of an outcome so far out or further.
func (j *Judgement) surprise() float64 {
	return math.Min(1, 2*math.Min(j.High, 1-j.Low))
}

// Scores sum up judgements.
type Scores struct {
	Label    string // the glaze or cone; empty for all
	Tiles    int
	Measured int
	RMSError float64 // of measured tiles, in ln drive; 0 if there is none
	Bias     float64 // mean error of measured tiles, in ln drive
	LnScore  float64 // mean
	Coverage [len(IntervalProbabilities)]float64
	Decided  int     // tiles that tell whether the clearance was exceeded
	Brier    float64 // mean squared error of that probability; 0 is perfect, 0.25 is a coin
	// Reliability of 'exceeds the clearance', in fifths of the probability; bins without a tile are left out.
	Reliability []Bin
}

// Bin compares the probability given with what happened.
type Bin struct {
	Low, High float64 // of the probabilities in it
	Tiles     int
	Forecast  float64 // mean probability given
	Observed  float64 // share that exceeded
}

const reliabilityBins = 5

// SumUp the judgements.
func SumUp(label string, js []*Judgement) Scores {
	s := Scores{Label: label, Tiles: len(js)}
	var bins [reliabilityBins]Bin
	squares := 0.0
	for _, j := range js {
		s.LnScore += j.LnScore
		for k, level := range IntervalProbabilities {
			s.Coverage[k] += j.covered(level)
		}
		if j.Outcome == Measured {
			s.Measured++
			s.Bias += j.Error
			squares += j.Error * j.Error
		}
		if j.Decided {
			s.Decided++
			happened := 0.0
			if j.Exceeded {
				happened = 1
			}
			s.Brier += (j.Exceeds - happened) * (j.Exceeds - happened)
			b := &bins[min(int(j.Exceeds*reliabilityBins), reliabilityBins-1)]
			b.Tiles++
			b.Forecast += j.Exceeds
			b.Observed += happened
		}
	}
	mean := func(sum *float64, n int) {
		if n > 0 {
			*sum /= float64(n)
		}
	}
	mean(&s.LnScore, s.Tiles)
	for k := range s.Coverage {
		mean(&s.Coverage[k], s.Tiles)
	}
	mean(&s.Bias, s.Measured)
	mean(&squares, s.Measured)
	s.RMSError = math.Sqrt(squares)
	mean(&s.Brier, s.Decided)
	for k := range bins {
		if b := &bins[k]; b.Tiles > 0 {
			b.Low, b.High = float64(k)/reliabilityBins, float64(k+1)/reliabilityBins
			mean(&b.Forecast, b.Tiles)
			mean(&b.Observed, b.Tiles)
			s.Reliability = append(s.Reliability, *b)
		}
	}
	return s
}

// rSquared is 1 - SSE/SST, nil when the observations do not vary.
func rSquared(observed, fitted []float64) *float64 {
	if len(observed) < 2 {
		return nil
	}
	mean := stat.Mean(observed, nil)
	sse, sst := 0.0, 0.0
	for i, y := range observed {
		sse += (y - fitted[i]) * (y - fitted[i])
		sst += (y - mean) * (y - mean)
	}
	if sst == 0 {
		return nil
	}
	v := 1 - sse/sst
	return &v
}
