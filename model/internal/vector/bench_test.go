package vector

import (
	"math"
	"testing"
)

// Floors are the same by package math.
func BenchmarkExp16(b *testing.B) {
	var x, y [16]float64
	for i := range x {
		x[i] = -float64(i)
	}
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			for i, v := range x {
				y[i] = math.Exp(v)
			}
		}
	})
	b.Run("vector", func(b *testing.B) {
		for b.Loop() {
			Exp(y[:], x[:])
		}
	})
	b.Run("log", func(b *testing.B) {
		for b.Loop() {
			Log(x[:], y[:])
		}
	})
}

// One number, written just before and read just after.
func BenchmarkOne(b *testing.B) {
	for name, f := range map[string]func(dst, x []float64){"exp": Exp, "log": Log} {
		b.Run(name, func(b *testing.B) {
			var x [1]float64
			y := 0.0
			for b.Loop() {
				x[0] = 1.5 + y*1e-9
				f(x[:], x[:])
				y = x[0]
			}
		})
	}
}

func BenchmarkFluidities16(b *testing.B) {
	k := VFT{-3, 6000, 500, 900, 12, -0.0375}
	var T, y [16]float64
	for i := range T {
		T[i] = 1200 + 10*float64(i)
	}
	sum := 0.0
	for b.Loop() {
		k.Fluidities(y[:], T[:])
		sum += Dot(T[:], y[:])
	}
}

func BenchmarkNetwork(b *testing.B) {
	weight := func(i, k int) float64 { return math.Sin(float64(3*i + 5*k)) }
	one, two, three := NewLayer(true, make([]float64, 48), 30, weight), NewLayer(true, make([]float64, 24), 48, weight), NewLayer(false, make([]float64, 4), 24, weight)
	var x, h, g, y [48]float64
	for i := range x {
		x[i] = 0.03
	}
	for b.Loop() {
		one.Apply(h[:], x[:])
		two.Apply(g[:], h[:])
		three.Apply(y[:], g[:])
	}
}
