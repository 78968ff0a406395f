package risk

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
)

const (
	lotNoise  = 0.25
	lotSpread = 0.2
)

// knownWidths is a prior whose variances are as good as known and whose errors are normal, so that answers can be
// had by hand.
func knownWidths() calib.Prior {
	p := calib.DefaultPrior()
	for f := range p.Spread {
		p.Spread[f].LnSD = 1e-9
	}
	p.Spread[calib.Lot].Median = lotSpread
	p.Noise = calib.LogNormal{Median: lotNoise, LnSD: 1e-9}
	p.DF = []float64{math.Inf(1)}
	return p
}

func ofLot(lot string) calib.Conditions {
	return calib.Conditions{LnPhysics: -4.2, Glazes: []calib.Share{{Name: "celadon", Weight: 1}}, Lots: []calib.Share{{Name: lot, Weight: 1}}}
}

// lotTiles are n tiles of each lot with fixed corrections around a mean.
func lotTiles(n int, oldMean, newMean float64) []calib.Tile {
	var tiles []calib.Tile
	for i := range n {
		for lot, mean := range map[string]float64{"celadon/1": oldMean, "celadon/2": newMean} {
			x := -4.2 + mean + 0.1*float64(i%3-1)
			tiles = append(tiles, calib.Tile{Name: fmt.Sprint(lot, i), Order: int64(i), Conditions: ofLot(lot), Reading: calib.Read(x, 0, 5)})
		}
	}
	return tiles
}

func runMM(lnX float64) float64 { return 1000 * math.Exp(lnX) / 3 } // the front law of a long band

// Two lots with n tiles each: the difference of two random effects is shrunk by τ²/(τ²+σ²/n), with variance
// 2τ²(σ²/n)/(τ²+σ²/n) (textbook BLUP of a one-way layout, as in Searle, Casella & McCulloch, Variance Components, from
// memory). Everything that both share cancels.
func TestLotDriftIsTheTextbookBLUP(t *testing.T) {
	const n = 6
	c, err := calib.Fit(lotTiles(n, 0.1, 0.5), knownWidths())
	if err != nil {
		t.Fatal(err)
	}
	q := LotQuestion{Old: ofLot("celadon/1"), New: ofLot("celadon/2"), RunMM: runMM, MoreMM: 1}
	d, err := q.LotDrift(c)
	if err != nil {
		t.Fatal(err)
	}
	s2, t2 := lotNoise*lotNoise/n, lotSpread*lotSpread
	mean, sd := 0.4*t2/(t2+s2), math.Sqrt(2*t2*s2/(t2+s2))
	if math.Abs(d.LnMobilityMean-mean) > 1e-6 || math.Abs(d.LnMobilitySD-sd) > 1e-6 {
		t.Errorf("difference %v ± %v, by hand %v ± %v", d.LnMobilityMean, d.LnMobilitySD, mean, sd)
	}
	// In mm, by hand: the run is exp(ln X)/3 m, so 1 mm more than the median is a ratio.
	need := math.Log((d.OldMM.Median + 1) / d.OldMM.Median)
	if want := 0.5 * math.Erfc((need-mean)/sd/math.Sqrt2); math.Abs(d.Probability-want) > 1e-6 {
		t.Errorf("probability %v, by hand %v", d.Probability, want)
	}
	if want := d.OldMM.Median * (math.Exp(mean) - 1); math.Abs(d.DifferenceMM.Median-want) > 1e-5 {
		t.Errorf("runs %v mm more, by hand %v", d.DifferenceMM.Median, want)
	}
	t.Log(d.Sentence)
	if !strings.Contains(d.Sentence, "mm further than the old one") {
		t.Error("the sentence does not say which way:", d.Sentence)
	}
}

func TestSentenceOfLots(t *testing.T) {
	for _, c := range []struct {
		moreMM float64
		drift  LotDrift
		want   string
	}{
		{0, LotDrift{OldMM: Range{9, 12, 15}, DifferenceMM: Range{1, 3, 5.25}, Probability: 0.97, Settled: true},
			"The new lot runs 3.0 mm further than the old one, which runs 12.0 mm here (80 % interval: 1.0 mm further to 5.2 mm further). " +
				"The probability that it runs further is 97 %; that settles it."},
		{2, LotDrift{OldMM: Range{9, 12, 15}, DifferenceMM: Range{-4, -1, 2}, Probability: 0.1, MoreTiles: 3},
			"The new lot seems to run 1.0 mm less than the old one, which runs 12.0 mm here (80 % interval: 4.0 mm less to 2.0 mm further). " +
				"The probability that it runs at least 2.0 mm further is 10 %; about 3 more tiles would settle it."},
	} {
		if got := (&LotQuestion{MoreMM: c.moreMM}).sentence(&c.drift); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// One more tile narrows the difference as the count of tiles to settle supposes.
func TestOneMoreTileNarrowsAsCounted(t *testing.T) {
	tiles := lotTiles(3, 0, 0.3)
	c, err := calib.Fit(tiles, knownWidths())
	if err != nil {
		t.Fatal(err)
	}
	ask := func(c *calib.Calibration) *calib.Joint {
		j, err := c.Posterior([]calib.Conditions{ofLot("celadon/1"), ofLot("celadon/2")})
		if err != nil {
			t.Fatal(err)
		}
		return j
	}
	j := ask(c)
	v := pairOfLots{j.Covariance.At(0, 0), j.Covariance.At(0, 1), j.Covariance.At(1, 1)}.with(information(j, 1), true)
	more := tiles[1]
	more.Name, more.Conditions = "one more", ofLot("celadon/2")
	after, err := c.Add(&more)
	if err != nil {
		t.Fatal(err)
	}
	j = ask(after)
	if got := (pairOfLots{j.Covariance.At(0, 0), j.Covariance.At(0, 1), j.Covariance.At(1, 1)}); math.Abs(got.difference()-v.difference()) > 1e-9 {
		t.Errorf("variance of the difference %v with the tile, counted %v", got.difference(), v.difference())
	}
}

// The clearer the difference and the more the tiles, the fewer more are needed; the same lot twice differs by nothing.
func TestTilesToSettle(t *testing.T) {
	ask := func(n int, newMean float64) LotDrift {
		c, err := calib.Fit(lotTiles(n, 0, newMean), knownWidths())
		if err != nil {
			t.Fatal(err)
		}
		q := LotQuestion{Old: ofLot("celadon/1"), New: ofLot("celadon/2"), RunMM: runMM}
		d, err := q.LotDrift(c)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	few, many, clear := ask(2, 0.2), ask(8, 0.2), ask(20, 1.2)
	if !(few.MoreTiles > many.MoreTiles && many.MoreTiles >= 0) {
		t.Errorf("%d more tiles after 2, %d after 8", few.MoreTiles, many.MoreTiles)
	}
	if !clear.Settled || clear.MoreTiles != 0 || clear.Probability < 0.99 {
		t.Errorf("a clear difference is not settled: %+v", clear)
	}
	if same := ask(8, 0); same.MoreTiles != -1 || same.Settled {
		t.Errorf("no difference, yet %+v", same)
	}
	c, _ := calib.Fit(nil, knownWidths())
	q := LotQuestion{Old: ofLot("celadon/1"), New: ofLot("celadon/2"), RunMM: runMM}
	if d, err := q.LotDrift(c); err != nil || d.Settled || math.Abs(d.LnMobilitySD-lotSpread*math.Sqrt2) > 1e-9 || d.Probability != 0.5 {
		t.Errorf("two lots of which nothing is known: %+v, %v", d, err)
	}
	c, _ = calib.Fit(lotTiles(2, 0, 0), knownWidths())
	q = LotQuestion{Old: ofLot("celadon/1"), New: ofLot("celadon/1"), RunMM: runMM, MoreMM: 1}
	if d, err := q.LotDrift(c); err != nil || d.LnMobilitySD != 0 || d.Probability != 0 {
		t.Errorf("a lot against itself: %+v, %v", d, err)
	}
	q.MoreMM = math.NaN()
	var field *fault.Error
	if _, err := q.LotDrift(c); !errors.As(err, &field) || field.Field != "more_mm" {
		t.Errorf("NaN: %v", err)
	}
}
