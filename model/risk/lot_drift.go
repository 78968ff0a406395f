package risk

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
)

// LotQuestion asks whether a new lot of a glaze runs more than the old one.
type LotQuestion struct {
	// Old and New are one reference layering and firing, alike in all but the lot.
	Old, New calib.Conditions
	// RunMM turns ln drive into millimetres of run at the reference; it must not fall.
	RunMM func(lnX float64) float64
	// MoreMM is how much more run would matter, in mm, 0 or more.
	MoreMM float64
}

// Range is a median with an 80 % interval.
type Range struct{ Low, Median, High float64 }

// LotDrift is how the run of a new lot differs from that of the old one: of the lots themselves, without the noise from
// tile to tile.
type LotDrift struct {
	// The posterior of ln mobility of the new lot less that of the old is normal with this mean and standard deviation.
	LnMobilityMean, LnMobilitySD float64
	// OldMM is the run of the old lot at the reference, DifferenceMM the additional run of the new lot when the old is
	// at its median.
	OldMM, DifferenceMM Range
	// Probability that the new lot runs further by at least MoreMM.
	Probability float64
	// Settled is true if this probability is at most 5 % or at least 95 %.
	Settled bool
	// MoreTiles is how many more tiles of the two lots at the reference are expected to settle it, if the difference is
	// as it now seems; 0 if it is settled, -1 if more than MaxSettlingTiles.
	MoreTiles int
	Sentence  string
}

const (
	settledAt = 0.95
	// MaxSettlingTiles is where counting stops: a difference that needs more tiles equals MoreMM for all that anyone
	// can tell.
	MaxSettlingTiles = 200
)

// LotDrift compares the two lots of the question by a calibration.
// Errors: *fault.Error.
func (q *LotQuestion) LotDrift(c *calib.Calibration) (LotDrift, error) {
	if q.RunMM == nil {
		return LotDrift{}, &fault.Error{Field: "run_mm", Value: "nil", Limit: "a function"}
	}
	if !(q.MoreMM >= 0 && q.MoreMM <= 1000) {
		return LotDrift{}, &fault.Error{Field: "more_mm", Value: fmt.Sprint(q.MoreMM), Limit: "0 to 1000"}
	}
	j, err := c.Posterior([]calib.Conditions{q.Old, q.New})
	if err != nil {
		return LotDrift{}, err
	}
	old, mean := q.Old.LnPhysics+j.Mean[0], q.New.LnPhysics+j.Mean[1]-q.Old.LnPhysics-j.Mean[0]
	v := pairOfLots{j.Covariance.At(0, 0), j.Covariance.At(0, 1), j.Covariance.At(1, 1)}
	oldSD, sd := math.Sqrt(v.old), math.Sqrt(v.difference())
	d := LotDrift{LnMobilityMean: mean, LnMobilitySD: sd}
	z := distuv.UnitNormal.Quantile(0.9)
	d.OldMM = Range{q.RunMM(old - z*oldSD), q.RunMM(old), q.RunMM(old + z*oldSD)}
	more := func(by float64) float64 { return q.RunMM(old+by) - d.OldMM.Median }
	d.DifferenceMM = Range{more(mean - z*sd), more(mean), more(mean + z*sd)}
	need := q.driveFor(old, d.OldMM.Median+q.MoreMM) - old
	d.Probability = chance(mean-need, sd)
	d.Settled = d.Probability >= settledAt || d.Probability <= 1-settledAt
	d.MoreTiles = v.tilesToSettle(mean-need, information(j, 0), information(j, 1))
	d.Sentence = q.sentence(&d)
	for _, x := range []float64{d.LnMobilityMean, d.LnMobilitySD, d.OldMM.Low, d.OldMM.High, d.DifferenceMM.Low, d.DifferenceMM.High, d.Probability} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return LotDrift{}, fmt.Errorf("the comparison of lots is not finite: %+v", d)
		}
	}
	return d, nil
}

// chance is the probability that a normal number is above zero. The standard deviation of two lots that are the same is
// zero.
func chance(mean, sd float64) float64 {
	if sd == 0 {
		if mean > 0 {
			return 1
		}
		return 0
	}
	return distuv.UnitNormal.CDF(mean / sd)
}

// driveFor finds the smallest ln drive, from a given one upwards, at which the run reaches mm. The run is monotone, so
// bisection does.
func (q *LotQuestion) driveFor(from, mm float64) float64 {
	low, high := from, from
	if q.RunMM(from) >= mm {
		return from
	}
	for step := 0.5; q.RunMM(high) < mm; step *= 2 {
		low, high = high, high+step
		if step > 1e3 {
			return high // the run never gets there: the wall ends before
		}
	}
	for range 60 {
		if mid := (low + high) / 2; q.RunMM(mid) < mm {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// information is the Fisher information of one more tile about its conditions: (ν+1)/((ν+3) σ²) for a Student-t of ν
// degrees of freedom and scale σ, 1/σ² in the normal limit (Lange, Little & Taylor 1989, JASA 84, 881, from memory).
func information(j *calib.Joint, i int) float64 {
	share := 1.0
	if !math.IsInf(j.DF, 1) {
		share = (j.DF + 1) / (j.DF + 3)
	}
	return share / j.Noise2[i]
}

// pairOfLots is the covariance matrix of the two lots' means.
type pairOfLots struct{ old, both, new float64 }

func (v pairOfLots) difference() float64 { return math.Max(0, v.old+v.new-2*v.both) }

// with gives the covariance after one more tile of the new or the old lot: the rank-one update Σ - Σe eᵀΣ i/(1 + i
// eᵀΣe).
func (v pairOfLots) with(info float64, ofNew bool) pairOfLots {
	if ofNew {
		gain := info / (1 + info*v.new)
		return pairOfLots{v.old - gain*v.both*v.both, v.both - gain*v.both*v.new, v.new - gain*v.new*v.new}
	}
	gain := info / (1 + info*v.old)
	return pairOfLots{v.old - gain*v.old*v.old, v.both - gain*v.old*v.both, v.new - gain*v.both*v.both}
}

// tilesToSettle counts tiles until a margin of this size is settled. Each tile is of the lot that narrows the
// difference more.
func (v pairOfLots) tilesToSettle(margin, ofOld, ofNew float64) int {
	z := distuv.UnitNormal.Quantile(settledAt)
	for n := 0; n <= MaxSettlingTiles; n++ {
		if math.Abs(margin) >= z*math.Sqrt(v.difference()) {
			return n
		}
		a, b := v.with(ofOld, false), v.with(ofNew, true)
		if b.difference() <= a.difference() {
			v = b
		} else {
			v = a
		}
	}
	return -1
}

// sentence words the comparison.
func (q *LotQuestion) sentence(d *LotDrift) string {
	sure := d.DifferenceMM.Low > 0 || d.DifferenceMM.High < 0 // the whole interval lies on one side
	runs := "seems to run"
	if sure {
		runs = "runs"
	}
	s := fmt.Sprintf("The new lot %s %s than the old one, which runs %.1f mm here (80 %% interval: %s to %s).",
		runs, further(d.DifferenceMM.Median), d.OldMM.Median, further(d.DifferenceMM.Low), further(d.DifferenceMM.High))
	what := "further"
	if q.MoreMM > 0 {
		what = fmt.Sprintf("at least %.1f mm further", q.MoreMM)
	}
	s += fmt.Sprintf(" The probability that it runs %s is %.0f %%", what, 100*d.Probability)
	switch {
	case d.Settled:
		return s + "; that settles it."
	case d.MoreTiles < 0:
		return s + fmt.Sprintf("; the difference is so close to that amount that %d more tiles would hardly settle it.", MaxSettlingTiles)
	case d.MoreTiles == 1:
		return s + "; about one more tile would settle it."
	default:
		return s + fmt.Sprintf("; about %d more tiles would settle it.", d.MoreTiles)
	}
}

// further words a difference of run in mm, such as "1.5 mm further" or "0.4 mm less".
func further(mm float64) string {
	if mm < 0 {
		return fmt.Sprintf("%.1f mm less", -mm)
	}
	return fmt.Sprintf("%.1f mm further", mm)
}
