package model

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/firing"
)

// censoredLog is a calibration of a studio most of whose tiles did not move or ran off.
func censoredLog(t *testing.T, rows []*practiceRow) *calib.Calibration {
	t.Helper()
	rng := rand.New(rand.NewPCG(5, 5))
	h := fired(t, "6", 0, firing.Atmosphere{})
	var tiles []calib.Tile
	for i := range 40 {
		r := rows[i%10] // those of cone 6
		q := r.question(t, h)
		q.Where = Where{Body: []string{"pale", "dark"}[i%2]}
		e := estimate(t, q)
		run := 1e3 * e.Median * math.Exp(0.8*rng.NormFloat64())
		o := Outcome{Kind: calib.DidNotMove, ReadingError: UsualReadingError}
		switch {
		case i%5 == 0:
			o = Outcome{Kind: calib.Measured, Run: max(run, 1) * 1e-3, ReadingError: UsualReadingError}
		case run > 5:
			o.Kind = calib.RanOff
		}
		tile, _, err := q.Tile(fmt.Sprint("tile ", i), int64(i), o)
		if err != nil {
			t.Fatal(err)
		}
		tiles = append(tiles, tile)
	}
	c, err := calib.Fit(tiles, calib.DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The ends of the interval are those of sampled beads and drives, each run worked out on the edge of its own bead,
// within 5 %: without a tile, and with 40 of which 32 are censored.
func TestIntervalsAreThoseOfSampledBeads(t *testing.T) {
	rows := practiceRows(t)
	h := fired(t, "6", 0, firing.Atmosphere{})
	for name, c := range map[string]*calib.Calibration{"without a tile": blank(t), "with censored tiles": censoredLog(t, rows)} {
		for _, r := range rows[:10] {
			q := r.question(t, h)
			q.Calibration, q.Where = c, Where{Body: "pale"}
			var p Physics
			y, err := q.predict(&p)
			if err != nil {
				t.Fatal(err)
			}
			// The drive where the bead counts for nothing, and what is known of the bead beside it, from how the
			// prediction changes with what the bead counts for.
			none, one, two := y.At(0), y.At(1), y.At(2)
			v0, v1, v2 := none.KnownSD*none.KnownSD, one.KnownSD*one.KnownSD, two.KnownSD*two.KnownSD
			variance := (v2 - 2*v1 + v0) / 2
			covariance := (v1 - v0 - variance) / 2
			effect := one.Mean - none.Mean
			var runs []float64
			const across, along = 101, 401 // evenly in the probabilities of both
			for i := range across {
				z := distuv.UnitNormal.Quantile((float64(i) + 0.5) / across)
				// Of the drive, the part that goes with the bead, and the rest with the heavier tails of the
				// prediction.
				with := covariance / math.Sqrt(variance)
				rest := math.Sqrt(none.Scale*none.Scale-with*with) / none.Scale
				own := p.Course
				own.Edge.Bead *= math.Exp(-effect - math.Sqrt(variance)*z)
				for k := range along {
					lnDrive := none.LnPhysics + none.Mean + with*z + rest*none.Reach((float64(k)+0.5)/along)
					runs = append(runs, own.Run(math.Exp(lnDrive)))
				}
			}
			slices.Sort(runs)
			e := q.estimate(&p, &y)
			for _, v := range []struct {
				what      string
				got, want float64
			}{{"p10", e.P10, runs[len(runs)/10]}, {"median", e.Median, runs[len(runs)/2]}, {"p90", e.P90, runs[len(runs)*9/10]}} {
				if math.Abs(math.Log(v.got/v.want)) > 0.05 {
					t.Errorf("%s, %s: %s is %.3f mm, of samples %.3f mm", name, r.id, v.what, 1e3*v.got, 1e3*v.want)
				}
			}
		}
	}
}

// What the bead counts for: a third of a short run's drive, little of a long one's.
func TestBeadCountsForShortRuns(t *testing.T) {
	rows := practiceRows(t)
	q := rows[1].question(t, fired(t, "6", 0, firing.Atmosphere{}))
	var p Physics
	if _, err := q.Conditions(&p); err != nil {
		t.Fatal(err)
	}
	short, long := p.Course.BeadElasticity(1e-3), p.Course.BeadElasticity(0.1)
	if short < 0.15 || short > 0.5 || long > 0.3 || p.Course.BeadElasticity(0) != 0 {
		t.Errorf("a run of 1 mm depends on the bead by %.2f, one of 100 mm by %.2f", short, long)
	}
	if b := p.Course.bead("", 1e-3); b.Name == "" || b.Weight != short {
		t.Errorf("on a body of no name: %+v", b)
	}
}
