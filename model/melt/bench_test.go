package melt

import (
	"math"
	"testing"
	"time"

	"github.com/catchline/catchline/model/chem"
)

var sink float64

// One math.Exp, the measure that the others are to be divided by.
func BenchmarkExp(b *testing.B) {
	x := 1.0
	s := 0.0
	for i := range b.N {
		s += math.Exp(-x - float64(i&7))
	}
	sink = s
}

// The composition part, with the time over that of one math.Exp in the same run.
func BenchmarkViscosity(b *testing.B) {
	m := moles(map[chem.Oxide]float64{chem.SiO2: 62, chem.Al2O3: 8, chem.B2O3: 5, chem.MgO: 4, chem.CaO: 10, chem.ZnO: 3, chem.Na2O: 5, chem.K2O: 3})
	b.ReportAllocs()
	s := 0.0
	for b.Loop() {
		k := Viscosity(m)
		s += k.A
	}
	sink = s
	per := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	b.ReportMetric(per/expNanoseconds(), "exps")
}

// One further temperature as log10 η.
func BenchmarkLog10(b *testing.B) {
	k := Viscosity(moles(map[chem.Oxide]float64{chem.SiO2: 65, chem.Al2O3: 9, chem.CaO: 14, chem.K2O: 12}))
	b.ReportAllocs()
	s := 0.0
	T := 1200.0
	for b.Loop() {
		s += k.Log10(T)
		T += 0.001
	}
	sink = s
	per := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	b.ReportMetric(per/expNanoseconds(), "exps")
}

// Sixteen temperatures as fluidity, the work of one glaze in one firing.
func BenchmarkFluidities16(b *testing.B) {
	k := Viscosity(moles(map[chem.Oxide]float64{chem.SiO2: 65, chem.Al2O3: 9, chem.CaO: 14, chem.K2O: 12}))
	var T, f [16]float64
	for i := range T {
		T[i] = 1200 + 20*float64(i)
	}
	b.ReportAllocs()
	for b.Loop() {
		k.Fluidities(f[:], T[:])
	}
	sink = f[3]
	per := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	b.ReportMetric(per/expNanoseconds()/16, "exps/temperature")
}

// expNanoseconds times one math.Exp now, on this machine, as BenchmarkExp does.
func expNanoseconds() float64 {
	const n = 2_000_000
	s := 0.0
	start := time.Now()
	for i := range n {
		s += math.Exp(-1 - float64(i&7))
	}
	sink = s
	return float64(time.Since(start).Nanoseconds()) / n
}
