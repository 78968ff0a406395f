package melt

import (
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/internal/vector"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// Mixable is a melt, with all its iron as Fe2O3, prepared for MixtureViscosity: it holds what is the same in each of
// its mixtures.
type Mixable struct {
	oxides [chem.NumNetworkOxides]float64
	sum    form.OxideSum
}

// NewMixable prepares a melt.
func NewMixable(x *chem.Melt) *Mixable {
	m := new(Mixable)
	oxidised := Oxidised(x)
	lump(&oxidised, &m.oxides)
	layers.SumOxides(&m.oxides, &m.sum)
	return m
}

// MixtureViscosity gives the viscosity of a mixture of two melts by moles, with all its iron as Fe2O3. It is that which
// Viscosity gives for the melt that chem.Blend makes of them, but for the last bits. a with b is to the last bit b with
// a.
func MixtureViscosity(a, b *Mixable, molesOfA, molesOfB float64) VFT {
	each := 1 / (molesOfA + molesOfB)
	ofA, ofB := molesOfA*each, molesOfB*each
	var oxides [chem.NumNetworkOxides]float64
	var sum form.OxideSum
	vector.Mix(oxides[:], a.oxides[:], b.oxides[:], ofA, ofB)
	vector.Mix(sum[:form.Hidden1], a.sum[:form.Hidden1], b.sum[:form.Hidden1], ofA, ofB)
	var structure [form.NumStructure]float64
	var outputs [form.Outputs]float64
	form.Structure(&oxides, &structure)
	layers.Finish(&sum, &structure, &outputs)
	return curveOf(&outputs)
}
