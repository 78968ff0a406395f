package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/floats"
)

// predicted is what a calibration predicts of conditions.
func predicted(c *Calibration, q *Conditions) (Prediction, error) {
	s, err := c.Subject(q)
	if err != nil {
		return Prediction{}, err
	}
	return s.Predict()
}

// byGroups is a subject put together from groups, of conditions of one or two glazes.
func byGroups(c *Calibration, q *Conditions) *Subject {
	s := new(Subject)
	s.Begin(c, q.LnPhysics, q.PhysicsSD, &q.Features)
	s.AddPlace(c.Group(Kiln, q.Kiln), c.Group(Body, q.Body), c.Group(Tester, q.Tester))
	lots := map[string]string{}
	for _, l := range q.Lots {
		lots[strings.TrimSuffix(l.Name, "/lot")] = l.Name
	}
	var glazes []*KnownGlaze
	for _, g := range q.Glazes {
		glazes = append(glazes, c.KnownGlaze(g.Name, lots[g.Name], g.PriorSD))
		s.AddGlaze(glazes[len(glazes)-1], g.Weight/2) // in two layers
		s.AddGlaze(glazes[len(glazes)-1], g.Weight/2)
	}
	if len(glazes) == 2 {
		s.AddPair(glazes[1], glazes[0], q.Pair.Weight)
	}
	s.SetBead(c.Group(Bead, q.Bead.Name), q.Bead.Weight)
	return s
}

// conditionsOf is a random question to a studio of someTiles, with groups that it does not know among them.
func conditionsOf(rng *rand.Rand, glazes int) Conditions {
	a, b := fmt.Sprintf("g%d", rng.IntN(glazes+2)), fmt.Sprintf("g%d", rng.IntN(glazes+2))
	share := rng.Float64()
	q := Conditions{
		LnPhysics: -5 + rng.NormFloat64(), PhysicsSD: 0.3 * rng.Float64(), Kiln: fmt.Sprintf("k%d", rng.IntN(5)), Tester: "someone",
		Features: Features{Reduction: rng.Float64(), ConeExcess: rng.NormFloat64(), LnThickness: -8 + rng.Float64(), LnContrast: rng.NormFloat64(),
			Stirring: rng.Float64() - 0.5, Layered: 1, Matte: rng.Float64(), LnCooling: rng.NormFloat64(), Described: rng.Float64()},
		Glazes: []Share{{a, share, rng.Float64()}, {b, 1 - share, 0}},
		Lots:   []Share{{Name: a + "/lot", Weight: share}},
		Pair:   Share{Name: PairName(a, b), Weight: 1 - 0.9*rng.Float64()},
		Bead:   Share{Name: fmt.Sprintf("b%d", rng.IntN(3)), Weight: 1 - rng.Float64()},
	}
	if a == b {
		q.Glazes, q.Lots, q.Pair = []Share{{a, 1, rng.Float64()}}, nil, Share{}
	}
	return q
}

// A prediction by columns of the covariance is the one by a solve of the triangle, by name or by group.
func TestPredictionByColumnsIsTheSolve(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	for _, n := range []int{0, 3, 40, 300} {
		tiles := someTiles(n, 8, uint64(n))
		for i := range tiles {
			tiles[i].Bead = Share{Name: fmt.Sprintf("b%d", i%2), Weight: 0.1 + 0.4*rng.Float64()}
		}
		c, err := Fit(tiles, DefaultPrior())
		if err != nil {
			t.Fatal(err)
		}
		more, err := c.Add(&someTiles(n+1, 8, 99)[n])
		if err != nil {
			t.Fatal(err)
		}
		for i := range 60 {
			q := conditionsOf(rng, 8)
			for _, c := range []*Calibration{c, more} {
				p := q.designRow(&c.prior, &c.core, &c.pairs)
				mean, variance := c.linear(&p)
				variance += p.missingVariance(&c.used, &c.components)
				want := Prediction{LnPhysics: q.LnPhysics, Mean: mean, KnownSD: math.Sqrt(variance)}
				want.Scale, want.DF = c.Tail(variance, q.PhysicsSD)
				named, err := predicted(c, &q)
				if err != nil {
					t.Fatal(err)
				}
				want.EffectiveTiles = named.EffectiveTiles
				grouped, err := byGroups(c, &q).Predict()
				if err != nil {
					t.Fatal(err)
				}
				for _, got := range []Prediction{named, grouped} {
					for _, v := range [][2]float64{{got.LnPhysics, want.LnPhysics}, {got.Mean, want.Mean}, {got.Scale, want.Scale}, {got.DF, want.DF},
						{got.KnownSD, want.KnownSD}, {got.EffectiveTiles, want.EffectiveTiles}} {
						if math.Abs(v[0]-v[1]) > 1e-10*math.Abs(v[1])+1e-12 {
							t.Errorf("%d tiles, question %d: by columns %+v, by the solve %+v", n, i, got, want)
							break
						}
					}
				}
			}
		}
	}
}

// Of a log that is too long to be weighed whole, the tiles of the layering's own glazes are.
func TestEvidenceOfALongLog(t *testing.T) {
	tiles := someTiles(3*maxWeighed, 30, 3)
	c := &Calibration{prior: DefaultPrior()}
	c.components = c.prior.middle()
	sorted, err := inOrder(tiles)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.learn(sorted); err != nil {
		t.Fatal(err)
	}
	halfOf := func(p *designRow) (half []float64, pairPart float64) {
		half = make([]float64, c.r.n)
		_, pairPart = c.project(half, p)
		c.r.halfSolve(half)
		return half, pairPart
	}
	for i := range 20 {
		e := byGroups(c, &tiles[i].Conditions).Evidence(5)
		p := tiles[i].designRow(&c.prior, &c.core, &c.pairs)
		half, pairPart := halfOf(&p)
		most, by := 0.0, ""
		for _, r := range c.rows {
			other, otherPart := halfOf(&r.designRow)
			cov := floats.Dot(half, other) // by a solve of the triangle
			if r.pair >= 0 && r.pair == p.pair {
				cov += pairPart * otherPart
			}
			if moved := cov * r.h * (r.z - r.offset); math.Abs(moved) > math.Abs(most) {
				most, by = moved, r.name
			}
		}
		if e[0].Tile != by || math.Abs(e[0].Moved-most) > 1e-12 {
			t.Errorf("layering %d: tile %s moved most, of all tiles %s", i, e[0].Tile, by)
		}
	}
}
