package vector

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"unsafe"
)

// Every operation, on every pair of numbers that may be special, against the language's own and package math, for one lane and many.
func TestProgramsCalculate(t *testing.T) {
	if unsafe.Sizeof(step{}) != stepBytes {
		t.Fatal("the kernels take a step to be of another size")
	}
	numbers := []float64{0, math.Copysign(0, -1), 1, -1, 0.1, -2.5, 3, 700, -710, 1e300, -1e300, 0x1p-1022, 5e-324, math.Inf(1), math.Inf(-1), math.NaN()}
	w := NewWriter()
	a, b, c, p, q := w.Input(), w.Input(), w.Input(), w.Parameter(), w.Parameter()
	cases := []struct {
		name string
		v    Value
		want func(a, b, c float64) float64
		ulp  float64
	}{
		{"a+b", a.Plus(b), func(a, b, c float64) float64 { return a + b }, 0},
		{"a-b", a.Minus(b), func(a, b, c float64) float64 { return a - b }, 0},
		{"a·b·2", a.Times(b).By(2), func(a, b, c float64) float64 { return a * b * 2 }, 0},
		{"b-2", b.Minus(w.Number(2)), func(a, b, c float64) float64 { return b - 2 }, 0},
		{"a/b", a.Over(b), func(a, b, c float64) float64 { return a / b }, 0},
		{"least", a.AtMost(b), func(a, b, c float64) float64 {
			if a < b {
				return a
			}
			return b
		}, 0},
		{"greatest", a.AtLeast(b), func(a, b, c float64) float64 {
			if a > b {
				return a
			}
			return b
		}, 0},
		{"root", a.Sqrt(), func(a, b, c float64) float64 { return math.Sqrt(a) }, 0},
		{"below", a.Below(b, c, a), func(a, b, c float64) float64 {
			if a < b {
				return c
			}
			return a
		}, 0},
		{"polynomial", a.Polynomial(w.Numbers([]float64{2, 0, -1, 3})), func(a, b, c float64) float64 { return (2*(a*a)-1)*a + (0*(a*a) + 3) }, 2},
		{"straight", a.Polynomial(w.Numbers([]float64{3, 7})), func(a, b, c float64) float64 { return 3*a + 7 }, 1},
		{"inner", w.Inner([]Value{a, b, c}, []Value{a, b, c}), func(a, b, c float64) float64 { return a*a + b*b + c*c }, 2},
		{"inner of parameters", w.Inner([]Value{a, b}, []Value{p, q}), func(a, b, c float64) float64 { return 5*a + 6*b }, 4},
		{"b-2·7", b.Minus(w.Number(2).Times(w.Number(7))).Minus(c.By(3)), func(a, b, c float64) float64 { return b - 14 - c*3 }, 0},
		{"nothing", a.By(1).Plus(b.By(0), w.Number(0)).Minus(c.By(0)), func(a, b, c float64) float64 { return a }, 0},
		{"2-b", w.Number(2).Minus(b), func(a, b, c float64) float64 { return 2 - b }, 0},
		{"parameters", p.Times(b).Plus(q), func(a, b, c float64) float64 { return 5*b + 6 }, 0},
		{"of parameters", q.Below(b, p, q), func(a, b, c float64) float64 {
			if 6 < b {
				return 5
			}
			return 6
		}, 0},
		{"exp", a.Exp(), func(a, b, c float64) float64 { return math.Exp(min(max(a, -708), 709)) }, 2},
		{"log", a.Log(), func(a, b, c float64) float64 {
			if !(a >= 0x1p-1022 && a <= math.MaxFloat64) {
				return math.NaN()
			}
			return math.Log(a)
		}, 2},
	}
	for _, c := range cases {
		w.Output(c.v)
	}
	program := w.Program()
	inEach(t, func(t *testing.T) {
		for _, lanes := range []int{1, 2, 7, 8, 33} {
			f := program.Frame(lanes)
			f.Set(p, 5)
			f.Set(q, 6)
			for i, x := range numbers {
				for _, y := range numbers {
					for k := range lanes {
						f.Row(a)[k], f.Row(b)[k], f.Row(c)[k] = 2, 3, 4
					}
					at := i % lanes
					f.Row(a)[at], f.Row(b)[at], f.Row(c)[at] = x, y, 4
					f.Run(lanes)
					for _, c := range cases {
						for k, got := range f.Row(c.v)[:lanes] {
							want := c.want(2, 3, 4)
							if k == at {
								want = c.want(x, y, 4)
							}
							if got != want && !(apart(got, want) <= c.ulp) {
								t.Fatalf("%s of %g and %g in lane %d of %d is %g, not %g", c.name, x, y, k, lanes, got, want)
							}
						}
					}
				}
			}
		}
	})
}

// A product and a sum in one, rounded once, is what math.FMA gives; without it there is a rounding between.
func TestProductsAndSumsInOne(t *testing.T) {
	w := NewWriter()
	a, b, c := w.Input(), w.Input(), w.Input()
	sums := []Value{c.Plus(a.Times(b)), a.Times(c).Plus(b), c.Minus(b.Times(b))}
	w.Output(sums...)
	p := w.Program()
	if len(p.steps) != 3+1 { // and the end
		t.Errorf("%d steps", len(p.steps))
	}
	inEach(t, func(t *testing.T) {
		rng := rand.New(rand.NewPCG(3, 4))
		f := p.Frame(1)
		for range 1000 {
			x, y, z := rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()
			f.Row(a)[0], f.Row(b)[0], f.Row(c)[0] = x, y, z
			f.Run(1)
			for i, want := range [][2]float64{{math.FMA(x, y, z), x*y + z}, {math.FMA(x, z, y), x*z + y}, {math.FMA(-y, y, z), z - y*y}} {
				if got := f.Row(sums[i])[0]; got != want[0] && got != want[1] {
					t.Fatalf("sum %d is %v, not %v or %v", i, got, want[0], want[1])
				}
			}
		}
	})
}

// A long program, whose rows are written over again and again, against the same formulas by plain numbers; a lane has the same bits alone and
// among others, in a frame of any size.
func TestLongProgram(t *testing.T) {
	w := NewWriter()
	in := w.Inputs(5)
	all := append([]Value{}, in...)
	type formula struct{ op, a, b int }
	var formulas []formula
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		f := formula{rng.IntN(5), len(all) - 1 - rng.IntN(5), rng.IntN(len(all))}
		formulas = append(formulas, f)
		a, b := all[f.a], all[f.b]
		all = append(all, [5]func() Value{
			func() Value { return a.Plus(b).By(0.5) },
			func() Value { return a.Times(b).Plus(w.Number(1)) },
			func() Value { return a.Over(b.Times(b).Plus(w.Number(1))) },
			func() Value { return a.Minus(b).AtMost(w.Number(3)).AtLeast(w.Number(-3)) },
			func() Value { return a.Below(b, w.Number(-1), b.By(0.5)) },
		}[f.op]())
	}
	out := all[len(all)-3:]
	w.Output(out...)
	p := w.Program()
	if p.rows > 150 {
		t.Errorf("a frame has %d rows", p.rows)
	}
	plain := func(x [5]float64) []float64 {
		v := append([]float64{}, x[:]...)
		for _, f := range formulas {
			a, b := v[f.a], v[f.b]
			v = append(v, [5]float64{(a + b) / 2, a*b + 1, a / (b*b + 1), max(-3, min(3, a-b)), below(a, b, -1, b/2)}[f.op])
		}
		return v[len(v)-3:]
	}
	inEach(t, func(t *testing.T) {
		one := p.Frame(1)
		for _, lanes := range []int{1, 2, 7, 8, 9, 32, 33} {
			many := p.Frame(lanes)
			var x [5]float64
			given := make([][5]float64, lanes)
			for k := range lanes {
				for i := range x {
					x[i] = rng.Float64()
					many.Row(in[i])[k] = x[i]
				}
				given[k] = x
			}
			many.Run(lanes)
			for k, x := range given {
				for i, v := range x {
					one.Row(in[i])[0] = v
				}
				one.Run(1)
				for i, want := range plain(x) {
					got, alone := many.Row(out[i])[k], one.Row(out[i])[0]
					if math.Abs(got-want) > 1e-9*(1+math.Abs(want)) {
						t.Errorf("lane %d of %d: %g, not %g", k, lanes, got, want)
					}
					if got != alone {
						t.Errorf("lane %d of %d: %v among others, %v alone", k, lanes, got, alone)
					}
				}
			}
		}
	})
}

// An input of a later stage may hang on what an earlier one gave.
func TestStages(t *testing.T) {
	w := NewWriter()
	a, b := w.Input(), w.Input()
	double := a.Plus(a)
	sum := double.Plus(a)
	w.Output(double)
	w.Stage()
	out := b.Times(sum)
	w.Output(out)
	p := w.Program()
	inEach(t, func(t *testing.T) {
		f := p.Frame(8)
		f.Fill(a, 3)
		f.RunStage(0, 8)
		copy(f.Row(b), f.Row(double))
		f.RunStage(1, 8)
		if got := f.Row(out)[7]; got != 54 {
			t.Errorf("%g", got)
		}
	})
}

// BenchmarkProgram is a program of 200 products and sums, for one lane and for 32.
func BenchmarkProgram(b *testing.B) {
	w := NewWriter()
	x, y := w.Input(), w.Input()
	v := x
	for i := range 100 {
		v = v.Times(y).AtLeast(w.Number(float64(i)))
	}
	w.Output(v)
	p := w.Program()
	for _, lanes := range []int{1, 32} {
		b.Run(fmt.Sprint(lanes), func(b *testing.B) {
			f := p.Frame(lanes)
			f.Fill(x, 1)
			f.Fill(y, 1)
			for b.Loop() {
				f.Run(lanes)
			}
		})
	}
}
