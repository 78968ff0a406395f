package risk

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
)

// On the boundary the chance of misjudging is arccos(√(r/v))/π: Sheppard's orthant probability of two normals with
// correlation √(r/v) (Sheppard 1899, from memory). Far from it and with nothing learnt it is the normal tail.
func TestMisjudgedIsSheppards(t *testing.T) {
	rule := newGauss()
	for _, share := range []float64{0.01, 0.3, 0.7, 0.99, 0.9999} {
		j := judgement{margin: 0, variance: 0.5}
		if got, want := j.misjudged(0.5*share, rule), math.Acos(math.Sqrt(share))/math.Pi; math.Abs(got-want) > 1e-8 {
			t.Errorf("learnt %v: %v, Sheppard %v", share, got, want)
		}
	}
	j := judgement{margin: 1.3, variance: 0.64}
	if got, want := j.misjudged(0, rule), 0.5*math.Erfc(1.3/0.8/math.Sqrt2); math.Abs(got-want) > 1e-9 {
		t.Errorf("nothing learnt: %v, want %v", got, want)
	}
	last := 1.0
	for r := 0.0; r <= 0.64; r += 0.02 {
		m := j.misjudged(r, rule)
		if !(m <= last+1e-10) {
			t.Errorf("learning %v makes it worse: %v after %v", r, m, last)
		}
		last = m
	}
}

func solo(glaze string, lnX float64) calib.Conditions {
	return calib.Conditions{LnPhysics: lnX, Glazes: []calib.Share{{Name: glaze, Weight: 1}}}
}

func search(candidates, concerns []calib.Conditions, clearance float64, count int) TileSearch {
	q := TileSearch{Count: count, Tolerated: 0.1, RunOff: 0.5}
	for i, c := range candidates {
		q.Candidates = append(q.Candidates, Candidate{Name: fmt.Sprint("tile ", i), Conditions: c, LnRunsOff: -1})
	}
	for i, c := range concerns {
		q.Concerns = append(q.Concerns, Concern{Name: fmt.Sprint("concern ", i), Conditions: c, LnClearance: clearance, Weight: 1})
	}
	return q
}

// Tiles of the glazes that the studio cares about come first, one of each before a second of any, and none of a
// glaze that is far from any clearance or of one that would run off.
func TestNextTilesSpreadAndKeepOff(t *testing.T) {
	c, err := calib.Fit(nil, calib.DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	candidates := []calib.Conditions{
		solo("a", -3.2), solo("a", -3.2), solo("a", -3.2), // the same three times
		solo("b", -3.2),
		solo("c", -3.2),
		solo("elsewhere", -3.2), // no concern has it
		solo("runny", 1),        // would run off
	}
	q := search(candidates, []calib.Conditions{solo("a", -3.2), solo("b", -3.2), solo("c", -3.2), solo("runny", -3.2)}, -2.6, 3)
	got, err := q.NextTiles(c)
	if err != nil {
		t.Fatal(err)
	}
	glazes := map[string]int{}
	for _, s := range got {
		t.Log(s.Sentence)
		glazes[candidates[s.Candidate].Glazes[0].Name]++
		if !(s.Gain > 0 && s.After < s.Before) {
			t.Errorf("teaches nothing: %+v", s)
		}
	}
	if len(got) != 3 || glazes["a"] != 1 || glazes["b"] != 1 || glazes["c"] != 1 {
		t.Errorf("picked %v", glazes)
	}
	for i := 1; i < len(got); i++ {
		if math.Abs(got[i].Before-got[i-1].After) > 1e-9 {
			t.Errorf("suggestion %d begins at %v where the last ended at %v", i, got[i].Before, got[i-1].After)
		}
	}
	q.Candidates = q.Candidates[6:]
	if got, err = q.NextTiles(c); err != nil || len(got) != 0 {
		t.Errorf("a tile that runs off: %v, %v", got, err)
	}
	q.AllowRunOff = true
	if got, err = q.NextTiles(c); err != nil || len(got) != 1 || got[0].RunsOff < 0.5 {
		t.Errorf("allowed to run off: %v, %v", got, err)
	}
}

// The gain that is promised is had: with truths drawn from what is known, firing the suggested tile lowers the share
// of concerns that are judged wrongly by about as much.
func TestGainIsHad(t *testing.T) {
	prior := knownWidths()
	c, err := calib.Fit(nil, prior)
	if err != nil {
		t.Fatal(err)
	}
	concern := solo("a", -3.2)
	q := search([]calib.Conditions{solo("a", -3.4)}, []calib.Conditions{concern}, -2.6, 1)
	got, err := q.NextTiles(c)
	if err != nil || len(got) != 1 {
		t.Fatal(got, err)
	}
	j, err := c.Posterior([]calib.Conditions{concern, q.Candidates[0].Conditions})
	if err != nil {
		t.Fatal(err)
	}
	// Truth T of the layering is normal; the tile reads it with noise. Both on a fixed grid of probabilities.
	const n = 60
	sd, boundary := math.Sqrt(j.Covariance.At(0, 0)), -2.6-1.2815515655*lotNoise
	wrongBefore, wrongAfter := 0.0, 0.0
	grid := func(i int) float64 { return math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/n-1) }
	for i := range n {
		truth := sd * grid(i)
		above := concern.LnPhysics+truth > boundary
		if above != (concern.LnPhysics > boundary) {
			wrongBefore++
		}
		for k := range n {
			tile := calib.Tile{Name: "t", Conditions: q.Candidates[0].Conditions}
			tile.Reading = calib.Read(tile.LnPhysics+truth+lotNoise*grid(k), 0, 5)
			after, err := c.Add(&tile)
			if err != nil {
				t.Fatal(err)
			}
			subject, err := after.Subject(&concern)
			if err != nil {
				t.Fatal(err)
			}
			p, err := subject.Predict()
			if err != nil {
				t.Fatal(err)
			}
			if above != (p.LnPhysics+p.Mean > boundary) {
				wrongAfter += 1. / n
			}
		}
	}
	if math.Abs(wrongBefore/n-got[0].Before) > 0.02 || math.Abs(wrongAfter/n-got[0].After) > 0.02 {
		t.Errorf("promised %.3f to %.3f, had %.3f to %.3f", got[0].Before, got[0].After, wrongBefore/n, wrongAfter/n)
	}
}

func TestNextTilesRefuses(t *testing.T) {
	c, _ := calib.Fit(nil, calib.DefaultPrior())
	good := func() TileSearch {
		return search([]calib.Conditions{solo("a", -3)}, []calib.Conditions{solo("a", -3)}, -2.6, 1)
	}
	for field, spoil := range map[string]func(*TileSearch){
		"candidates":               func(q *TileSearch) { q.Candidates = nil },
		"concerns":                 func(q *TileSearch) { q.Concerns = nil },
		"count":                    func(q *TileSearch) { q.Count = 0 },
		"tolerated":                func(q *TileSearch) { q.Tolerated = math.NaN() },
		"run_off":                  func(q *TileSearch) { q.RunOff = 0 },
		"concerns[0].weight":       func(q *TileSearch) { q.Concerns[0].Weight = -1 },
		"concerns[0].ln_clearance": func(q *TileSearch) { q.Concerns[0].LnClearance = math.Inf(1) },
		"candidates[0].ln_runs_off": func(q *TileSearch) {
			q.Candidates[0].LnRunsOff = math.NaN()
		},
	} {
		q := good()
		spoil(&q)
		var e *fault.Error
		if _, err := q.NextTiles(c); !errors.As(err, &e) || e.Field != field {
			t.Errorf("%s: %v", field, err)
		}
	}
}

// BenchmarkNextTiles picks 10 of 200 candidates for 200 concerns.
func BenchmarkNextTiles(b *testing.B) {
	c, err := calib.Fit(nil, calib.DefaultPrior())
	if err != nil {
		b.Fatal(err)
	}
	var all []calib.Conditions
	for i := range 200 {
		q := solo(fmt.Sprint(i%20), -3.5)
		q.Pair = calib.Share{Name: fmt.Sprint(i), Weight: 1}
		all = append(all, q)
	}
	q := search(all, all, -2.6, 10)
	b.ReportAllocs()
	for b.Loop() {
		if got, err := q.NextTiles(c); err != nil || len(got) != 10 {
			b.Fatal(len(got), err)
		}
	}
}
