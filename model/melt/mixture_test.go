package melt

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/chem"
)

// A mixture has the viscosity of the melt that it is, whichever of its parts is named first.
func TestMixtureIsTheMelt(t *testing.T) {
	melts := namedMelts(t)
	melts["blue"] = moles(map[chem.Oxide]float64{chem.SiO2: 60, chem.Al2O3: 8, chem.B2O3: 9, chem.CaO: 12, chem.Na2O: 6, chem.FeO: 2, chem.CoO: 2, chem.SnO2: 1})
	for under, x := range melts {
		for over, y := range melts {
			a, b := NewMixable(x), NewMixable(y)
			for _, molesOfA := range []float64{0, 0.5, 3, 40} {
				const molesOfB = 2
				ox, oy := Oxidised(x), Oxidised(y)
				var mixed chem.Melt
				chem.Blend(&mixed, &ox, &oy, molesOfA, molesOfB)
				want, got := Viscosity(&mixed), MixtureViscosity(a, b, molesOfA, molesOfB)
				for _, T := range []float64{900, 1300, 1700} {
					if d := got.Log10(T) - want.Log10(T); math.Abs(d) > 1e-10 {
						t.Errorf("%g moles of %s and %d of %s at %g K: off by %g", molesOfA, under, molesOfB, over, T, d)
					}
				}
				if MixtureViscosity(b, a, molesOfB, molesOfA) != got {
					t.Errorf("%s and %s: the order tells", under, over)
				}
			}
		}
	}
}

func BenchmarkMixtureViscosity(b *testing.B) {
	one := NewMixable(moles(map[chem.Oxide]float64{chem.SiO2: 62, chem.Al2O3: 8, chem.B2O3: 5, chem.MgO: 4, chem.CaO: 10, chem.ZnO: 3, chem.Na2O: 5, chem.K2O: 3}))
	other := NewMixable(moles(map[chem.Oxide]float64{chem.SiO2: 65, chem.Al2O3: 9, chem.CaO: 14, chem.K2O: 12}))
	b.ReportAllocs()
	s := 0.0
	for b.Loop() {
		k := MixtureViscosity(one, other, 1, 2)
		s += k.A
	}
	sink = s
}
