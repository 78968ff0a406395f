package melt

import (
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/internal/vector"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// Part is a melt, all its iron as Fe2O3, made ready to be mixed with others: what of its viscosity is the same in every mixture.
type Part struct {
	oxides [chem.NumNetworkOxides]float64
	begun  form.Begun
}

// NewPart makes a melt ready.
func NewPart(x *chem.Melt) *Part {
	p := new(Part)
	oxidised := Oxidised(x)
	lump(&oxidised, &p.oxides)
	layers.Begin(&p.oxides, &p.begun)
	return p
}

// MixtureViscosity is the viscosity of a mixture of so many moles of two melts, as Viscosity gives that of the melt that it is, but for the last bits
// and with all its iron as Fe2O3. a with b is to the last bit b with a.
func MixtureViscosity(a, b *Part, molesOfA, molesOfB float64) VFT {
	each := 1 / (molesOfA + molesOfB)
	ofA, ofB := molesOfA*each, molesOfB*each
	var oxides [chem.NumNetworkOxides]float64
	var begun form.Begun
	vector.Mix(oxides[:], a.oxides[:], b.oxides[:], ofA, ofB)
	vector.Mix(begun[:form.Hidden1], a.begun[:form.Hidden1], b.begun[:form.Hidden1], ofA, ofB)
	var structure [form.NumStructure]float64
	var u [form.Outputs]float64
	form.Structure(&oxides, &structure)
	layers.End(&begun, &structure, &u)
	return curveOf(&u)
}
