package vector

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// inEach runs a test by every vector unit that this machine has, and in plain Go.
func inEach(t *testing.T, test func(t *testing.T)) {
	for _, way := range ways() {
		t.Run(way.name, func(t *testing.T) {
			way.take(t)
			test(t)
		})
	}
}

// way is one way to compute. take makes it the one that is used, until the test ends.
type way struct {
	name string
	take func(t *testing.T)
}

// apart is how many units in the last place a and b differ by; numbers that are none are alike.
func apart(a, b float64) float64 {
	if math.IsNaN(a) && math.IsNaN(b) {
		return 0
	}
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.Inf(1)
	}
	return math.Abs(float64(int64(math.Float64bits(a)) - int64(math.Float64bits(b)))) // of like sign
}

// Against package math, whose Exp and Log are themselves within 1 unit of the true value.
func TestExpAndLogAreThoseOfMath(t *testing.T) {
	inEach(t, func(t *testing.T) {
		rng := rand.New(rand.NewPCG(1, 2))
		worstExp, worstLog := 0.0, 0.0
		for range 20_000 {
			x, y := make([]float64, 1+rng.IntN(19)), make([]float64, 20)
			for i := range x {
				x[i] = []float64{0.5, 30, 708}[rng.IntN(3)] * (2*rng.Float64() - 1)
			}
			Exp(y, x)
			for i, v := range x {
				worstExp = math.Max(worstExp, apart(y[i], math.Exp(v)))
			}
			powers := append([]float64{}, y[:len(x)]...)
			Log(y, powers)
			for i, v := range powers {
				want := math.Log(v)
				if math.Abs(want) < 1e-3 { // near 1 the last place is far below what the argument says
					worstLog = math.Max(worstLog, math.Abs(y[i]-want)/0x1p-63)
					continue
				}
				if y[i] == 0 || (y[i] < 0) != (want < 0) {
					t.Fatalf("log %v is %v, not %v", v, y[i], want)
				}
				worstLog = math.Max(worstLog, apart(y[i], want))
			}
		}
		t.Logf("exp within %g, log within %g units in the last place", worstExp, worstLog)
		if worstExp > 2 || worstLog > 2 {
			t.Errorf("exp is off by %g, log by %g units in the last place", worstExp, worstLog)
		}
	})
}

func TestEndsOfExpAndLog(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	inEach(t, func(t *testing.T) {
		for _, c := range []struct{ x, exp, log float64 }{
			{0, 1, nan},
			{1, math.E, 0},
			{nan, nan, nan},
			{inf, math.Exp(709), nan},
			{-inf, math.Exp(-708), nan},
			{-708, math.Exp(-708), nan},
			{709, math.Exp(709), math.Log(709)},
			{1e300, math.Exp(709), math.Log(1e300)},
			{0x1p-1022, 1, math.Log(0x1p-1022)},
			{0x1p-1023, 1, nan},
			{math.MaxFloat64, math.Exp(709), math.Log(math.MaxFloat64)},
			{-1, math.Exp(-1), nan},
		} {
			for n := 1; n <= 9; n++ { // alone, and in every place of a vector
				x, y := make([]float64, n), make([]float64, n)
				for i := range x {
					x[i] = 1
				}
				x[n-1] = c.x
				if Exp(y, x); apart(y[n-1], c.exp) > 2 {
					t.Errorf("exp %v is %v, not %v", c.x, y[n-1], c.exp)
				}
				if Log(y, x); apart(y[n-1], c.log) > 2 {
					t.Errorf("log %v is %v, not %v", c.x, y[n-1], c.log)
				}
			}
		}
	})
}

// Nothing is written beyond what was asked for, and a number comes out the same wherever it stands.
func TestPlaceAndLengthDoNotMatter(t *testing.T) {
	curve := VFT{-3, 6000, 500, 900, 12, -0.0375}
	inEach(t, func(t *testing.T) {
		for name, f := range map[string]func(dst, x []float64){"exp": Exp, "log": Log, "fluidities": curve.Fluidities} {
			x := make([]float64, 40)
			for i := range x {
				x[i] = 800 + 30*float64(i)/7
			}
			whole := make([]float64, len(x))
			f(whole, x)
			for from := range 10 {
				for n := range 24 {
					y := make([]float64, 40)
					y[n] = 77
					f(y, x[from:from+n])
					if y[n] != 77 {
						t.Fatalf("%s of %d numbers writes one more", name, n)
					}
					for i, v := range y[:n] {
						if v != whole[from+i] {
							t.Fatalf("%s of number %d of %d is %v, of number %d of %d %v", name, i, n, v, from+i, len(x), whole[from+i])
						}
					}
				}
			}
		}
	})
}

// Against the formula by package math.
func TestFluidities(t *testing.T) {
	inEach(t, func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			k := VFT{A: rapid.Float64Range(-5, -1).Draw(t, "A"), B: rapid.Float64Range(2000, 12000).Draw(t, "B"), C: rapid.Float64Range(0, 1000).Draw(t, "C")}
			u := (12 - k.A) / k.B
			k.Knee, k.KneeLog, k.KneeSlope = k.C+1/u, 12, -k.B*u*u
			T := rapid.SliceOfN(rapid.Float64Range(300, 2000), 1, 20).Draw(t, "T")
			y := make([]float64, len(T))
			k.Fluidities(y, T)
			for i, v := range T {
				log10 := k.A + k.B/(v-k.C)
				if v < k.Knee {
					log10 = 12 - k.B*u*u*(v-k.Knee)
				}
				// An exponent of e^x is itself rounded: x times a unit in the last place.
				if want := math.Pow(10, -log10); log10 < 300 && math.Abs(y[i]/want-1) > 4e-16*(2+math.Ln10*math.Abs(log10)) {
					t.Fatalf("at %v K %v, not %v", v, y[i], want)
				}
			}
		})
	})
}

func TestDot(t *testing.T) {
	inEach(t, func(t *testing.T) {
		rapid.Check(t, func(t *rapid.T) {
			x := rapid.SliceOfN(rapid.Float64Range(-1, 1), 0, 40).Draw(t, "x")
			y := rapid.SliceOfN(rapid.Float64Range(-1, 1), len(x), 41).Draw(t, "y")
			want, scale := 0.0, 0.0
			for i, v := range x {
				want += v * y[i]
				scale += math.Abs(v * y[i])
			}
			if got := Dot(x, y); math.Abs(got-want) > 1e-14*scale {
				t.Fatalf("%v, not %v", got, want)
			}
		})
	})
}

func TestMix(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 9))
	for n := range 30 {
		x, y, want := make([]float64, n), make([]float64, n), make([]float64, n)
		a, b := rng.NormFloat64(), rng.NormFloat64()
		for i := range x {
			x[i], y[i] = rng.NormFloat64(), rng.NormFloat64()
			want[i] = float64(a*x[i]) + float64(b*y[i])
		}
		inEach(t, func(t *testing.T) {
			one, other := make([]float64, n), slices.Clone(x)
			Mix(one, x, y, a, b)
			Mix(other, y, other, b, a)
			if !slices.Equal(one, want) || !slices.Equal(other, want) {
				t.Errorf("%d numbers: %v, turned round into itself %v, not %v", n, one, other, want)
			}
		})
	}
}

// A layer of any size gives what its definition gives.
func TestLayer(t *testing.T) {
	inEach(t, func(t *testing.T) {
		rng := rand.New(rand.NewPCG(5, 5))
		for outputs := 1; outputs <= 72; outputs += 1 + rng.IntN(7) {
			for inputs := 1; inputs <= 50; inputs += 1 + rng.IntN(5) {
				bends := rng.IntN(2) == 0
				w, b, x := make([]float64, outputs*inputs), make([]float64, outputs), make([]float64, inputs)
				for _, v := range [][]float64{w, b, x} {
					for i := range v {
						v[i] = rng.NormFloat64() * float64(rng.IntN(4))
					}
				}
				l := NewLayer(bends, b, inputs, func(i, k int) float64 { return w[i*inputs+k] })
				y := make([]float64, l.Outputs()+1)
				y[l.Outputs()] = 77
				l.Apply(y, x)
				if y[l.Outputs()] != 77 {
					t.Fatalf("%d inputs, %d outputs: one more is written", inputs, outputs)
				}
				for j := range l.Outputs() {
					want := 0.0
					if j < outputs {
						want = b[j]
						for i, v := range x {
							want += w[j*inputs+i] * v
						}
					}
					if bends {
						want = want * (1 + math.Abs(want)) / (1 + math.Abs(want) + want*want)
					}
					if math.Abs(y[j]-want) > 1e-12*(1+math.Abs(want)) {
						t.Fatalf("%d inputs, output %d of %d is %v, not %v", inputs, j, outputs, y[j], want)
					}
				}
			}
		}
	})
}

func TestNothingAllocates(t *testing.T) {
	l := NewLayer(true, make([]float64, 9), 3, func(int, int) float64 { return 1 })
	k := VFT{-3, 6000, 500, 900, 12, -0.0375}
	inEach(t, func(t *testing.T) {
		if n := testing.AllocsPerRun(100, func() {
			var x, y [16]float64
			Exp(y[:], x[:])
			Log(x[:], y[:])
			k.Fluidities(y[:], x[:])
			x[0] = Dot(x[:], y[:])
			l.Apply(y[:], x[:])
		}); n != 0 {
			t.Errorf("%g allocations", n)
		}
	})
}

// What any bits give is in each way the same number, but for rounding, or none.
func FuzzWaysAgree(f *testing.F) {
	f.Add(1.5, 700.0, -0.2)
	f.Add(math.NaN(), math.Inf(-1), 0x1p-1060)
	f.Fuzz(func(t *testing.T, a, b, c float64) {
		x := []float64{a, b, c, -a, a * b, b - c, a + c, a / b, c / a}
		var first [2][]float64
		for i, way := range ways() {
			way.take(t)
			y, z := make([]float64, len(x)), make([]float64, len(x))
			Exp(y, x)
			Log(z, x)
			if i == 0 {
				first = [2][]float64{y, z}
				continue
			}
			for k := range x {
				if apart(y[k], first[0][k]) > 3 || math.Abs(z[k]-first[1][k]) > 1e-15*(math.Abs(z[k])+1) || math.IsNaN(z[k]) != math.IsNaN(first[1][k]) {
					t.Errorf("of %v %s gives exp %v and log %v, plain Go %v and %v", x[k], way.name, y[k], z[k], first[0][k], first[1][k])
				}
			}
		}
	})
}
