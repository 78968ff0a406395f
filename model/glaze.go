package model

import (
	"math"
	"sync/atomic"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/internal/vector"
	"github.com/catchline/catchline/model/melt"
)

// Glaze is what is known of a glaze, or of a lot of it.
type Glaze struct {
	Name string // unique in the studio; what is learnt of the glaze goes by it
	Lot  string // unique in the studio; empty where it is not known

	// Melt is its composition; nil for a glaze that is only described.
	Melt *chem.Melt
	// Behaviour is how a described glaze behaves alone.
	Behaviour melt.Behaviour
	// Surface is how it looks when fired to its cone.
	Surface melt.Surface
	// ConeFrom and ConeTo are cone numbers between which it is made to be fired; NaN where nobody said. A described glaze needs them.
	ConeFrom, ConeTo float64
	// LOI is the mass that it loses on firing, as a fraction.
	LOI float64
	// Recipe says that it is weighed out from raw materials, and Fluorine is the mass of fluorine that a dry batch gives off, as a fraction.
	Recipe   bool
	Fluorine float64
}

// describedDensity stands for the density (kg/m³) of a melt of unknown chemistry: ordinary stoneware glaze melts lie within
// 5 % of it by the partial molar volumes in package melt.
const describedDensity = 2400

// usualKelvin is about cone 6.
const usualKelvin = 1500

// describedTension stands for the surface tension (N/m) of a melt of unknown chemistry.
const describedTension = 0.32

// Fired is a glaze in a firing: all that a film needs of it, whatever its thickness and its neighbours. It does not change; share it freely.
type Fired struct {
	// What every score reads stands first, close together.
	Glaze    *Glaze
	Firing   *firing.HeatHistory
	Exposure film.Exposure
	Density  float64 // kg/m³ at the reference temperature
	Tension  float64 // N/m at the peak
	// ReferenceLog10 is log10 η at the reference temperature, and ViscositySD the standard deviation of ln η there; PeakLog10 is log10 η at the peak.
	ReferenceLog10, ViscositySD, PeakLog10 float64

	coneExcess float64 // of the firing over the cone that the glaze is made for; 0 where that is not known
	// What the regression sees of the firing: 0 for air to 1 for heavy reduction, and ln of the cooling rate over the usual one.
	reduction, lnCooling float64
	matte, described     float64                          // what it counts for in calib.Features
	knownGlaze           atomic.Pointer[calib.KnownGlaze] // found last
	crystals             float64                          // volume fraction
	moles                float64                          // mol/m³ of oxidised, at usualKelvin, as only ratios of it matter
	ferrous              float64                          // the part of the iron that is FeO in this firing
	oxidised             chem.Melt                        // the same in every firing
	forMixing            *melt.Mixable                    // of oxidised; not set for a described glaze

	Melt  chem.Melt // as it is in that atmosphere; not set for a described glaze
	Curve melt.Curve

	lnFluidity [firing.NumNodes]float64 // ln of 1/η in 1/(Pa·s) at each node of the firing

	cooler atomic.Pointer[Fired] // see coneLess
}

// Fire works out what a firing makes of a glaze. Iron is split by the atmosphere at the reference temperature, and crystals stiffen a satin or a matte.
func Fire(g *Glaze, f *firing.HeatHistory) (*Fired, error) {
	d := &Fired{Glaze: g, Firing: f, matte: matteness(g.Surface)}
	if g.Melt == nil {
		d.described = 1
		if err := d.fireDescribed(); err != nil {
			return nil, err
		}
	} else {
		d.Melt = melt.SplitIron(g.Melt, f.ReferenceKelvin, f.Atmosphere.Log10FO2(f.ReferenceKelvin))
		d.Curve = melt.Viscosity(&d.Melt)
		var sd float64
		if d.crystals, sd = melt.CrystalsOf(g.Surface); d.crystals > 0 {
			d.Curve = d.Curve.Suspended(d.crystals, sd)
		}
		d.Density, _ = melt.Density(&d.Melt, f.ReferenceKelvin)
		d.Tension, _ = melt.SurfaceTension(&d.Melt, f.PeakKelvin)
		d.oxidised = melt.Oxidised(g.Melt)
		d.forMixing = melt.NewMixable(&d.oxidised)
		density, _ := melt.Density(&d.oxidised, usualKelvin)
		d.moles = density / d.oxidised.MolarMass()
		if iron := d.Melt[chem.FeO] + 2*d.Melt[chem.Fe2O3]; iron > 0 {
			d.ferrous = d.Melt[chem.FeO] / iron
		}
	}
	fluidity := f.Fluidities(&d.Curve.VFT)
	vector.Log(d.lnFluidity[:], fluidity[:])
	for i, n := range f.Nodes {
		d.Exposure.Add(n.Kelvin, n.Seconds, fluidity[i])
	}
	d.PeakLog10 = d.Curve.Log10(f.PeakKelvin)
	d.ReferenceLog10, d.ViscositySD = d.Curve.Log10(f.ReferenceKelvin), math.Ln10*d.Curve.SD(f.ReferenceKelvin)
	if !math.IsNaN(g.ConeFrom) {
		d.coneExcess = f.EquivalentCone - (g.ConeFrom+g.ConeTo)/2
	}
	air := firing.Atmosphere{}.Log10FO2(f.ReferenceKelvin)
	d.reduction = min(1, (air-f.Atmosphere.Log10FO2(f.ReferenceKelvin))/reductionDecades)
	d.lnCooling = math.Log(f.CoolingKPerHour / usualCooling)
	return d, nil
}

// usualCooling (K/h) is the rate of cooling near the peak against which others are measured.
const usualCooling = 150

// reductionDecades is how many decades of oxygen heavy reduction lies below air at 1222 °C: log10 fO2 -9.48 against -0.68.
const reductionDecades = 8.8

// coneLess gives the glaze as a firing of one cone less makes it, which is the same curve shifted down by the step between the cones; nil where there is
// no cone below. It is worked out when it is first asked for.
func (d *Fired) coneLess() (*Fired, error) {
	if c := d.cooler.Load(); c != nil {
		return c, nil
	}
	here, err := firing.ConeKelvin(d.Firing.EquivalentCone)
	if err != nil {
		return nil, nil // off the published scale, where there is no such thing as a cone less
	}
	below, err := firing.ConeKelvin(d.Firing.EquivalentCone - 1)
	if err != nil {
		return nil, nil
	}
	c, err := Fire(d.Glaze, d.Firing.Shifted(below-here, -1))
	if err != nil {
		return nil, err
	}
	d.cooler.CompareAndSwap(nil, c) // all have to get the same one
	return d.cooler.Load(), nil
}

func (d *Fired) fireDescribed() error {
	g := d.Glaze
	if !(g.ConeFrom <= g.ConeTo) {
		return &fault.Error{Field: "cone_from", Value: "missing", Limit: "the cone that a described glaze is made for"}
	}
	// The middle of its range is where its maker saw it behave as described.
	cone, err := firing.ConeKelvin((g.ConeFrom + g.ConeTo) / 2)
	if err != nil {
		return err
	}
	if d.Curve, err = melt.Described(g.Surface, g.Behaviour, cone); err != nil {
		return err
	}
	d.Density, d.Tension = describedDensity, describedTension
	return nil
}

// blendFlow is the exposure ∫dt/η in 1/Pa of the mixed zone of two glazes, underFraction of whose volume is of the lower one. Its
// viscosity is that of its own oxides. Where the chemistry of either is not known, log viscosity is taken in proportion to volume. Of halves it is
// the same to the last bit whichever is on top.
func blendFlow(under, over *Fired, underFraction float64) float64 {
	if under.described+over.described == 0 {
		k := oxidisedBlend(under, over, underFraction)
		return oxidisedFlow(&k, under, over, underFraction)
	}
	var fluidity [firing.NumNodes]float64
	for i := range fluidity {
		fluidity[i] = underFraction*under.lnFluidity[i] + (1-underFraction)*over.lnFluidity[i]
	}
	vector.Exp(fluidity[:], fluidity[:])
	return under.Firing.Integral(&fluidity)
}

// oxidisedFlow is the exposure to flow of a mixture of two melts whose oxidisedBlend is given.
func oxidisedFlow(oxidised *melt.VFT, under, over *Fired, underFraction float64) float64 {
	k := oxidised.Shifted(blendRedox(under, over, underFraction))
	return under.Firing.Flow(&k)
}

// blendViscosity is the viscosity of a mixture of two melts.
func blendViscosity(under, over *Fired, underFraction float64) melt.VFT {
	return oxidisedBlend(under, over, underFraction).Shifted(blendRedox(under, over, underFraction))
}

// oxidisedBlend is the viscosity of a mixture of two melts with all iron as Fe2O3. It is the same in every firing.
func oxidisedBlend(under, over *Fired, underFraction float64) melt.VFT {
	k := melt.MixtureViscosity(under.forMixing, over.forMixing, underFraction*under.moles, (1-underFraction)*over.moles)
	if crystals := sum(underFraction*under.crystals, (1-underFraction)*over.crystals); crystals > 0 {
		k = k.Shifted(melt.Stiffening(crystals))
	}
	return k
}

// blendRedox is what the iron of a mixture of two melts does to log10 η, with as much of it FeO as the firing has made of theirs.
func blendRedox(under, over *Fired, underFraction float64) float64 {
	a, b := underFraction*under.moles, (1-underFraction)*over.moles
	a, b = 2*a*under.oxidised[chem.Fe2O3]/sum(a, b), 2*b*over.oxidised[chem.Fe2O3]/sum(a, b) // moles of iron per mole of the oxidised mixture
	ferrous := sum(a*under.ferrous, b*over.ferrous)
	total := 1 + ferrous/2 // Fe2O3 makes two of FeO
	return melt.RedoxEffect(ferrous/total, (sum(a, b)-ferrous)/2/total)
}

// sum is a + b as they are after rounding, on machines too that multiply and add in one, so that a mixture is the same whichever of the two is named first.
func sum(a, b float64) float64 { return float64(a) + float64(b) }

// blendLog10 is log10 η of a mixture at the peak.
func blendLog10(under, over *Fired, underFraction float64) float64 {
	if under.Glaze.Melt != nil && over.Glaze.Melt != nil {
		k := blendViscosity(under, over, underFraction)
		return k.Log10(under.Firing.PeakKelvin)
	}
	return underFraction*under.PeakLog10 + (1-underFraction)*over.PeakLog10
}
