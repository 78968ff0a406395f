package model

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

// ordinary draws glazes as the ranges of practice_ranges.csv have them, and what pieces differ by.
type ordinary struct {
	rng       *rand.Rand
	low, high map[string]float64
}

func newOrdinary(t testing.TB, seed uint64) *ordinary {
	o := &ordinary{rand.New(rand.NewPCG(seed, 12)), map[string]float64{}, map[string]float64{}}
	for _, row := range table(t, "practice_ranges.csv") {
		o.low[row["quantity"]], o.high[row["quantity"]] = parse(t, row["low"]), parse(t, row["high"])
	}
	return o
}

func (o *ordinary) draw(quantity string) float64 {
	return o.low[quantity] + (o.high[quantity]-o.low[quantity])*o.rng.Float64()
}

// spread is the standard deviation that the file gives, of the quantity that begins so.
func (o *ordinary) spread(t testing.TB, begins string) float64 {
	t.Helper()
	for name, v := range o.low {
		if strings.HasPrefix(name, begins) {
			return v
		}
	}
	t.Fatalf("no %q", begins)
	return 0
}

// glaze draws one for cone 6.
func (o *ordinary) glaze(t testing.TB, name string) *Glaze {
	t.Helper()
	alkali, sodium := o.draw("Na2O + K2O"), 0.5+0.2*o.rng.Float64()
	flux := map[string]float64{"Na2O": alkali * sodium, "K2O": alkali * (1 - sodium), "CaO": o.draw("CaO"), "MgO": o.draw("MgO")}
	if zinc := o.draw("ZnO"); o.rng.Float64() < 1./2 {
		flux["ZnO"] = zinc
	}
	if strontium := o.draw("SrO"); o.rng.Float64() < 1./3 {
		flux["SrO"] = strontium
	}
	sum := 0.0
	for _, oxide := range []string{"Na2O", "K2O", "CaO", "MgO", "ZnO", "SrO"} {
		sum += flux[oxide]
	}
	var parts []chem.Part
	for _, oxide := range []string{"Na2O", "K2O", "CaO", "MgO", "ZnO", "SrO"} {
		if v := flux[oxide]; v > 0 {
			parts = append(parts, chem.Part{Name: oxide, Amount: v / sum})
		}
	}
	mover := ""
	if o.rng.Float64() < 1./8 {
		mover = "movers, "
	}
	for _, oxide := range []string{"Al2O3", "SiO2", "B2O3"} {
		parts = append(parts, chem.Part{Name: oxide, Amount: o.draw(mover + oxide)})
	}
	c, err := chem.FromSeger(parts)
	if err != nil {
		t.Fatal(err)
	}
	return &Glaze{Name: name, Melt: &c.Melt, Surface: melt.Gloss, ConeFrom: 6, ConeTo: 6}
}

// The shares of glosses alone at three coats and of pairs at two coats each that run so far in practice (common
// practice, no source, memory), as pieces: with the hands of studios, coats, kilns, and what glazes, pairs and drips
// differ by. Each within 8 points.
func TestPracticeShares(t *testing.T) {
	o := newOrdinary(t, 6)
	h := fired(t, "6", 0, firing.Atmosphere{})
	bounds := []float64{1, 3, 10, 40, math.Inf(1)}
	words := []string{"under 1 mm", "1 to 3 mm", "3 to 10 mm", "10 to 40 mm", "over 40 mm"}
	of := map[int][]float64{1: make([]float64, 5), 2: make([]float64, 5)}
	hand, coat, kiln := o.spread(t, "coat from studio"), o.spread(t, "coat from piece"), o.spread(t, "kiln off")
	perGlaze, perPair := o.spread(t, "what a glaze"), o.spread(t, "what a pair")
	const pieces = 4000
	const drips = 0.4 // standard deviation of ln of the drip ratio
	var p Physics
	without := blank(t)
	for _, layers := range []int{1, 2} {
		for range pieces {
			q := &Question{Wall: upright(t, 1), Calibration: without, Tolerated: 0.05, Layering: Layering{Stirring: film.Usual.Stirring}}
			z := o.rng.NormFloat64
			ln, by := 0.0, math.Exp(hand*z())
			for range layers {
				d, err := Fire(o.glaze(t, string(rune('a'+len(q.Layers)))), h)
				if err != nil {
					t.Fatal(err)
				}
				thick, err := film.Coats(film.Brush, float64(4-layers), 1)
				if err != nil {
					t.Fatal(err)
				}
				thick.Metres *= by * math.Exp(coat*z())
				q.Layers = append(q.Layers, Layer{d, thick})
				ln += perGlaze * z() / float64(layers)
			}
			ln += q.Layers[0].perKelvin * kiln * z()
			if layers > 1 {
				ln += perPair * z()
			}
			if _, err := q.Conditions(&p); err != nil {
				t.Fatal(err)
			}
			run := 1e3 * film.Usual.Drip * math.Exp(drips*z()) * p.Course.Front(p.Drive*math.Exp(ln))
			for k, b := range bounds {
				if run < b {
					of[layers][k] += 100. / pieces
					break
				}
			}
		}
	}
	for _, row := range table(t, "practice_shares.csv") {
		layers := 0
		switch {
		case strings.HasPrefix(row["quantity"], "share of brush-on glosses"):
			layers = 1
		case strings.HasPrefix(row["quantity"], "share of pairs"):
			layers = 2
		default:
			continue
		}
		for k, w := range words {
			if !strings.HasSuffix(row["quantity"], w) {
				continue
			}
			ours, practice := of[layers][k], parse(t, row["value"])
			t.Logf("%-85s ours %4.1f %%, practice %4.1f %%", row["quantity"], ours, practice)
			if math.Abs(ours-practice) > 8 {
				t.Errorf("%s: %.1f %%, practice %.1f %%", row["quantity"], ours, practice)
			}
		}
	}
}
