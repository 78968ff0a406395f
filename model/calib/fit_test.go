package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
)

// someTiles are tiles of a few invented glazes with known corrections and normal noise.
func someTiles(n, glazes int, seed uint64) []Tile {
	rng := rand.New(rand.NewPCG(seed, 1))
	effect := make([]float64, glazes)
	for g := range effect {
		effect[g] = 0.6 * rng.NormFloat64()
	}
	tiles := make([]Tile, n)
	for i := range tiles {
		a, b := rng.IntN(glazes), rng.IntN(glazes)
		t := &tiles[i]
		t.Name, t.Order = fmt.Sprintf("t%05d", i), int64(i)
		t.LnPhysics = -5 + rng.NormFloat64()
		t.Kiln = fmt.Sprintf("k%d", rng.IntN(3))
		t.Features.LnThickness = math.Log(0.3e-3) + 0.7*rng.Float64()
		if a == b {
			t.Glazes = []Share{{Name: fmt.Sprintf("g%d", a), Weight: 1}}
		} else {
			t.Glazes = []Share{{Name: fmt.Sprintf("g%d", a), Weight: 0.8}, {Name: fmt.Sprintf("g%d", b), Weight: 0.2}}
			t.Pair = Share{Name: PairName(fmt.Sprintf("g%d", a), fmt.Sprintf("g%d", b)), Weight: 1}
			t.Features.Layered, t.Features.LnContrast = 1, rng.NormFloat64()
		}
		y := 0.3 + 0.8*effect[a] + 0.2*effect[b] + 0.3*rng.NormFloat64()
		x := t.LnPhysics + y
		switch {
		case x > -3.2:
			t.Reading = ReadAtLeast(-3.2, 0.02, 60)
		case x < -7:
			t.Reading = ReadAtMost(-7, 0.1, 1)
		default:
			t.Reading = Read(x, 0.05, 1000*math.Exp(x)/3)
		}
	}
	return tiles
}

// The solution that R and sajari/regression give must be the mode that the Newton search found by another road.
func TestTriangleGivesTheMode(t *testing.T) {
	for _, n := range []int{1, 7, 60, 300} {
		glazes := 9
		if n == 300 {
			glazes = 60 // more columns than are handed to the library
		}
		sorted, err := inOrder(someTiles(n, glazes, 3))
		if err != nil {
			t.Fatal(err)
		}
		c, err := fit(sorted, DefaultPrior(), searchPrecision)
		if err != nil {
			t.Fatal(err)
		}
		s := newSystem(&c.prior, &c.core, &c.pairs, c.rows)
		m, err := s.find(&c.components, nil, closely)
		if err != nil {
			t.Fatal(err)
		}
		if !c.search.Converged {
			t.Errorf("%d tiles: not converged: %+v", n, c.search)
		}
		for id, want := range m.θ {
			if got := c.θ[c.position(int32(id))]; math.Abs(got-want) > 1e-8 {
				t.Errorf("%d tiles: coefficient %d is %v by least squares, %v at the mode", n, id, got, want)
			}
		}
		lnDet := 0.0 // of RᵀR, pairs and all
		for i := range c.r.n {
			lnDet += 2 * math.Log(c.r.row(i)[i])
		}
		for _, top := range c.tops {
			lnDet += 2 * math.Log(top.d)
		}
		if math.Abs(lnDet-m.lnDet) > 1e-8*(1+math.Abs(lnDet)) {
			t.Errorf("%d tiles: ln determinant %v by QR, %v of the Newton matrix", n, lnDet, m.lnDet)
		}
	}
}

// A tile added to a fit is the fit of all at the same widths, when errors are normal and nothing is censored: least
// squares does not care in which order rows come.
func TestAddIsFit(t *testing.T) {
	prior := DefaultPrior()
	prior.DF = []float64{math.Inf(1)}
	tiles := someTiles(60, 9, 5)
	for i := range tiles {
		x := tiles[i].LnPhysics + 0.1*float64(i%7)
		tiles[i].Reading = Read(x, 0.05, 10)
	}
	c, err := Fit(tiles[:20], prior)
	if err != nil {
		t.Fatal(err)
	}
	for i := 20; i < len(tiles); i++ {
		if c, err = c.Add(&tiles[i]); err != nil {
			t.Fatal(err)
		}
	}
	sorted, err := inOrder(tiles)
	if err != nil {
		t.Fatal(err)
	}
	all := &Calibration{prior: prior, components: c.components}
	if err := all.learn(sorted); err != nil {
		t.Fatal(err)
	}
	for i := range tiles {
		got, _ := predicted(c, &tiles[i].Conditions)
		want, _ := predicted(all, &tiles[i].Conditions)
		if math.Abs(got.Mean-want.Mean) > 1e-11 || math.Abs(got.Scale-want.Scale) > 1e-11 {
			t.Errorf("tile %d: added %v ± %v, fitted %v ± %v", i, got.Mean, got.Scale, want.Mean, want.Scale)
		}
	}
}

// A calibration is shared: many may ask it and add to it at once, and none sees what another added.
func TestCalibrationIsImmutable(t *testing.T) {
	tiles := someTiles(40, 5, 6)
	c, err := Fit(tiles[:20], DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	before, err := c.MarshalBinary()
	if err != nil {
		t.Fatal(err)
	}
	var wait sync.WaitGroup
	for i := 20; i < 40; i++ {
		wait.Go(func() {
			next, err := c.Add(&tiles[i])
			if err != nil || len(next.rows) != 21 || next.rows[20].name != tiles[i].Name {
				t.Errorf("tile %d: %v", i, err)
			}
			if _, err := predicted(c, &tiles[i].Conditions); err != nil {
				t.Error(err)
			}
			if _, err := c.Posterior([]Conditions{tiles[i].Conditions}); err != nil {
				t.Error(err)
			}
			c.Diagnose()
		})
	}
	wait.Wait()
	if after, err := c.MarshalBinary(); err != nil || string(after) != string(before) {
		t.Error("it is not what it was", err)
	}
}

// No tile: the prior alone, wide and centred.
func TestNoTiles(t *testing.T) {
	c, err := Fit(nil, DefaultPrior())
	if err != nil {
		t.Fatal(err)
	}
	p, err := predicted(c, &Conditions{LnPhysics: -4, Glazes: []Share{{Name: "new", Weight: 1}}})
	if err != nil {
		t.Fatal(err)
	}
	if p.Mean != 0 || p.EffectiveTiles != 0 {
		t.Errorf("no tiles, yet mean %v and %v tiles of evidence", p.Mean, p.EffectiveTiles)
	}
	// sqrt(0.7² common + 0.35² glaze): by hand from the prior.
	if want := math.Sqrt(0.6125); math.Abs(p.KnownSD-want) > 1e-12 {
		t.Errorf("known to %v, prior says %v", p.KnownSD, want)
	}
	if lo, hi := p.Quantile(0.1), p.Quantile(0.9); !(hi-lo > 1.8) {
		t.Errorf("80 %% interval %v to %v is too sure of itself", lo, hi)
	}
}
