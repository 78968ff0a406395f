package chem

import (
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// fluxes are the oxides (RO and R2O) that a Seger formula scales to sum to 1, in the order in which it is written.
// Iron, manganese and the other colourants are not among them.
var fluxes = [...]Oxide{Li2O, Na2O, K2O, MgO, CaO, SrO, BaO, ZnO, PbO}

// amphoterics and acids complete the order in which a formula is written: fluxes, then R2O3, then RO2.
var (
	amphoterics = [...]Oxide{Al2O3, B2O3, Fe2O3, Cr2O3}
	acids       = [...]Oxide{SiO2, TiO2, ZrO2, SnO2, CeO2, P2O5, V2O5}
	colourants  = [...]Oxide{FeO, MnO, CuO, CoO, NiO}
)

// Unity is a Seger formula: moles of each oxide for one mole of fluxes
// (Li2O + Na2O + K2O + MgO + CaO + SrO + BaO + ZnO + PbO).
type Unity [NumOxides]float64

// Seger gives the Seger formula of a melt. A melt with fluxes of less than 0.001 of its moles has none; the error is a
// fault.Error of fluxes.
func Seger(m *Melt) (Unity, error) {
	sum := 0.0
	for _, o := range fluxes {
		sum += m[o]
	}
	const least = 1e-3
	if !(sum >= least) {
		return Unity{}, &fault.Error{Field: "fluxes", Value: number(sum), Limit: "at least 0.001 of the moles as Li2O, Na2O, K2O, MgO, CaO, SrO, BaO, ZnO or PbO"}
	}
	var u Unity
	for o, x := range m {
		u[o] = x / sum
	}
	return u, nil
}

// SilicaToAlumina gives the ratio of moles of SiO2 to Al2O3; ok is false when there is no Al2O3.
func (u *Unity) SilicaToAlumina() (ratio float64, ok bool) {
	if u[Al2O3] <= 0 {
		return 0, false
	}
	return u[SiO2] / u[Al2O3], true
}

// String writes the formula with three decimals, fluxes first, then R2O3, then RO2.
func (u Unity) String() string {
	var b strings.Builder
	for _, group := range [...][]Oxide{fluxes[:], colourants[:], amphoterics[:], acids[:]} {
		for _, o := range group {
			if u[o] >= 0.0005 {
				if b.Len() > 0 {
					b.WriteByte(' ')
				}
				fmt.Fprintf(&b, "%.3f %s", u[o], o)
			}
		}
	}
	return b.String()
}
