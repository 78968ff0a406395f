package form

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/internal/vector"
)

// The layers give what its definition gives.
func TestEvalIsTheNetwork(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	n := &Network{}
	fill := func(v []float64) {
		for i := range v {
			v[i] = rng.NormFloat64()
		}
	}
	for i := range n.W1 {
		fill(n.W1[i][:])
	}
	for i := range n.W2 {
		fill(n.W2[i][:])
	}
	for i := range n.W3 {
		fill(n.W3[i][:])
	}
	fill(n.B1[:])
	fill(n.B2[:])
	fill(n.B3[:])
	var f [NumFeatures]float64
	for i := range f {
		if i%3 > 0 {
			f[i] = rng.NormFloat64()
		}
	}
	var got [Outputs]float64
	n.Layers().Eval(&f, &got)
	var h1 [Hidden1]float64
	for j := range h1 {
		z := n.B1[j]
		for i, x := range f {
			z += x * n.W1[i][j]
		}
		h1[j] = vector.Unit(z)
	}
	var h2 [Hidden2]float64
	for j := range h2 {
		z := n.B2[j]
		for i, x := range h1 {
			z += x * n.W2[j][i]
		}
		h2[j] = vector.Unit(z)
	}
	for j := range got {
		z := n.B3[j]
		for i, x := range h2 {
			z += x * n.W3[j][i]
		}
		if math.Abs(got[j]-z) > 1e-12 {
			t.Errorf("output %d is %v, the definition gives %v", j, got[j], z)
		}
	}
}

// Every oxide alone, and any two, have finite features; iron counts the same however it is written down.
func TestFeatures(t *testing.T) {
	var f, g [NumFeatures]float64
	for a := range chem.NumNetworkOxides {
		for b := range chem.NumNetworkOxides {
			var x [chem.NumNetworkOxides]float64
			x[a] += 0.5
			x[b] += 0.5
			Features(&x, &f)
			for i, v := range f {
				if math.IsNaN(v) || math.Abs(v) > 3 {
					t.Fatalf("feature %d of %v and %v is %v", i, chem.Oxide(a), chem.Oxide(b), v)
				}
			}
		}
	}
	x := [chem.NumNetworkOxides]float64{chem.SiO2: 0.6, chem.CaO: 0.2, chem.FeO: 0.2}
	y := [chem.NumNetworkOxides]float64{chem.SiO2: 0.6 / 0.9, chem.CaO: 0.2 / 0.9, chem.Fe2O3: 0.1 / 0.9}
	Features(&x, &f)
	Features(&y, &g)
	for i := range f {
		if math.Abs(f[i]-g[i]) > 1e-15 {
			t.Errorf("feature %d: %v with iron as FeO, %v as Fe2O3", i, f[i], g[i])
		}
	}
}

func TestFerrousEffect(t *testing.T) {
	at := func(share float64) float64 {
		return FerrousEffect(0.1*share, 0.05*(1-share))
	}
	if at(0) != 0 || at(1) != 0 {
		t.Errorf("iron in one column counts as in air: %v, %v", at(0), at(1))
	}
	if d := at(0.2); math.Abs(d) > 1e-12 {
		t.Errorf("iron as in air changes log10 η by %v", d)
	}
	// 0.2 to 0.5 lower on reduction at some 10 mol% of iron, from memory of Dingwell & Virgo 1987, 1988
	if d := at(0.93); d > -0.17 || d < -0.3 {
		t.Errorf("reduction changes log10 η by %v", d)
	}
}

func TestUnitSlope(t *testing.T) {
	for z := -5.0; z <= 5; z += 0.37 {
		const h = 1e-6
		if d := (vector.Unit(z+h) - vector.Unit(z-h)) / (2 * h); math.Abs(d-UnitSlope(z)) > 1e-8 {
			t.Errorf("slope at %v is %v, differences give %v", z, UnitSlope(z), d)
		}
	}
}
