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
	// ConeFrom and ConeTo are cone numbers between which it is made to be fired; NaN where nobody said. A described
	// glaze needs them.
	ConeFrom, ConeTo float64
	// LOI is the mass that it loses on firing, as a fraction.
	LOI float64
	// Recipe says that it is weighed out from raw materials, and Fluorine is the mass of fluorine that a dry batch
	// gives off, as a fraction.
	Recipe   bool
	Fluorine float64
}

// describedDensity stands for the density (kg/m³) of a melt of unknown chemistry: ordinary stoneware glaze melts lie
// within 5 % of it by the partial molar volumes in package melt.
const describedDensity = 2400

// usualKelvin is about cone 6.
const usualKelvin = 1500

// describedTension stands for the surface tension (N/m) of a melt of unknown chemistry.
const describedTension = 0.32

// Fired is a glaze in a firing: all that a film needs of it, whatever its thickness and its neighbours. It does not
// change; share it freely.
type Fired struct {
	// What every score reads stands first, close together.
	Glaze    *Glaze
	Firing   *firing.HeatHistory
	Exposure film.Exposure
	Density  float64 // kg/m³ at the reference temperature
	Tension  float64 // N/m at the peak
	// ReferenceLog10 is log10 η at the reference temperature, and ViscositySD the standard deviation of ln η there;
	// PeakLog10 is log10 η at the peak.
	ReferenceLog10, ViscositySD, PeakLog10 float64

	coneExcess float64 // of the firing over the cone that the glaze is made for; 0 where that is not known
	maturity   film.Maturity
	ownLog10   float64 // log10 η of the melt at its own cone
	perKelvin  float64 // by how much ln of the exposure to flow rises with each K that the kiln is hotter
	underFired bool    // the firing's peak is so far below its own cone that it does not come to half of its melt's fluidity; to a twentieth, where the cone is estimated
	// What the regression sees of the firing: 0 for air to 1 for heavy reduction, and ln of the cooling rate over the
	// usual one.
	reduction, lnCooling float64
	matte, described     float64                          // what it counts for in calib.Features
	knownGlaze           atomic.Pointer[calib.KnownGlaze] // found last
	moles                float64                          // mol/m³ of oxidised, at usualKelvin, as only ratios of it matter
	ferrous              float64                          // the part of the iron that is FeO in this firing
	oxidised             chem.Melt                        // the same in every firing
	forMixing            *melt.Mixable                    // of oxidised; not set for a described glaze

	Melt  chem.Melt // as it is in that atmosphere; not set for a described glaze
	Curve melt.Curve

	lnFluidity [firing.NumNodes]float64 // ln of 1/η in 1/(Pa·s) at each node of the firing

	cooler atomic.Pointer[Fired] // see coneLess
}

// Fire works out what a firing makes of a glaze. Iron is split by the atmosphere at the reference temperature; until
// it nears its own cone a glaze is no melt, and bubbles, grains and the crystals of a satin or a matte stiffen it.
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
		fraction, sd := melt.CrystalsOf(g.Surface)
		if d.maturity.Crystals = fraction; fraction > 0 {
			d.Curve = d.Curve.Shifted(0, (melt.Stiffening(fraction+sd)-melt.Stiffening(fraction-sd))/2)
		}
		d.maturity.Early = film.EarlyFusion(d.Melt[chem.B2O3])
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
	if err := d.mature(); err != nil {
		return nil, err
	}
	fluidity := f.Fluidities(&d.Curve.VFT)
	vector.Log(d.lnFluidity[:], fluidity[:])
	var flowing, melted [firing.NumNodes]float64
	film.Usual.Fluid(flowing[:], melted[:], f.Kelvins(), &d.maturity)
	for i, n := range f.Nodes {
		d.Exposure.Add(n.Kelvin, n.Seconds, flowing[i]*fluidity[i], melted[i]*fluidity[i])
	}
	atPeak := []float64{f.PeakKelvin}
	film.Usual.Fluid(flowing[:], melted[:], atPeak, &d.maturity)
	d.underFired = melted[0] < 0.05 || melted[0] < 0.5 && !math.IsNaN(g.ConeFrom)
	const step = 2.0 // K
	hotter := f.Shifted(step, 0)
	hot := hotter.Fluidities(&d.Curve.VFT)
	d.perKelvin = math.Log(exposure(hotter, &hot, &d.maturity)/d.Exposure.Flow) / step
	d.PeakLog10, d.ReferenceLog10 = d.log10(f.PeakKelvin), d.log10(f.ReferenceKelvin)
	d.ViscositySD = math.Ln10 * d.Curve.SD(f.ReferenceKelvin)
	if math.IsNaN(g.ConeFrom) {
		early, late := d.maturity, d.maturity
		early.Own -= ownKelvinSD
		late.Own += ownKelvinSD
		d.ViscositySD = math.Hypot(d.ViscositySD, math.Log(exposure(f, &fluidity, &early)/exposure(f, &fluidity, &late))/2)
	}
	if !math.IsNaN(g.ConeFrom) {
		d.coneExcess = f.EquivalentCone - (g.ConeFrom+g.ConeTo)/2
	}
	air := firing.Atmosphere{}.Log10FO2(f.ReferenceKelvin)
	d.reduction = min(1, (air-f.Atmosphere.Log10FO2(f.ReferenceKelvin))/reductionDecades)
	d.lnCooling = math.Log(f.CoolingKPerHour / usualCooling)
	return d, nil
}

// log10 is log10 η at T (K) of the melt with its crystals.
func (d *Fired) log10(T float64) float64 {
	return d.Curve.Log10(T) + melt.Stiffening(melt.FadedCrystals(d.maturity.Crystals, T, d.maturity.Own))
}

// ownLog10 is log10 η of a melt at its own cone, where nobody said which that is. Ours: the glazes of the practice
// table have 1.7 to 3.3, half of them 2.3 to 2.6.
const ownLog10 = 2.45

// ownKelvinSD is the standard deviation in K of an own cone that is read off a melt: what 0.45 in log10 η are at cone
// 6.
const ownKelvinSD = 60

// mature works out where the glaze's own cone goes down: the middle of the cones that it is made for, or, where
// nobody said, where its melt is as fluid as melts of glazes are at their own cones.
func (d *Fired) mature() (err error) {
	if g := d.Glaze; !math.IsNaN(g.ConeFrom) {
		d.maturity.Own, err = firing.ConeKelvin((g.ConeFrom + g.ConeTo) / 2)
	} else {
		d.maturity.Own, err = d.Curve.Isokom(ownLog10)
	}
	d.ownLog10 = d.Curve.Log10(d.maturity.Own)
	return err
}

// exposure is ∫dt/η in 1/Pa of a glaze whose melt has a fluidity at each node.
func exposure(h *firing.HeatHistory, fluidity *[firing.NumNodes]float64, m *film.Maturity) (flow float64) {
	var flowing, melted [firing.NumNodes]float64
	film.Usual.Fluid(flowing[:], melted[:], h.Kelvins(), m)
	for i := range flowing {
		flowing[i] *= fluidity[i]
	}
	return h.Integral(&flowing)
}

// usualCooling (K/h) is the rate of cooling near the peak against which others are measured.
const usualCooling = 150

// reductionDecades is how many decades of oxygen heavy reduction lies below air at 1222 °C: log10 fO2 -9.48 against
// -0.68.
const reductionDecades = 8.8

// coneLess gives the glaze as a firing of one cone less makes it, which is the same curve shifted down by the step
// between the cones; nil where there is no cone below. It is worked out when it is first asked for.
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

// blendFlow is the exposure ∫dt/η in 1/Pa of the mixed zone of two glazes, underFraction of whose volume is of the
// lower one. Its viscosity is that of its own oxides. Where the chemistry of either is not known, log viscosity is
// taken in proportion to volume. Of halves it is the same to the last bit whichever is on top.
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
	m := blendMaturity(under, over, underFraction)
	return exposure(under.Firing, &fluidity, &m)
}

// oxidisedFlow is the exposure to flow of a mixture of two melts whose oxidisedBlend is given.
func oxidisedFlow(oxidised *melt.VFT, under, over *Fired, underFraction float64) float64 {
	k := oxidised.Shifted(blendRedox(under, over, underFraction))
	m := meltMaturity(&k, under, over, underFraction)
	fluidity := under.Firing.Fluidities(&k)
	return exposure(under.Firing, &fluidity, &m)
}

// blendMaturity is that of a mixture, by volume.
func blendMaturity(under, over *Fired, underFraction float64) film.Maturity {
	a, b := &under.maturity, &over.maturity
	mean := func(a, b float64) float64 { return sum(underFraction*a, (1-underFraction)*b) }
	return film.Maturity{Own: mean(a.Own, b.Own), Early: mean(a.Early, b.Early), Crystals: mean(a.Crystals, b.Crystals)}
}

// meltMaturity is that of a mixture whose melt is k: its own cone is where it is as fluid as its parts are at theirs.
// So what melts together earlier than apart fuses earlier, and its crystals fade earlier: two mattes can clear and
// run.
func meltMaturity(k *melt.VFT, under, over *Fired, underFraction float64) film.Maturity {
	const most = 200 // K, by which the parts' own cones are left at most
	m := blendMaturity(under, over, underFraction)
	log10 := max(sum(underFraction*under.ownLog10, (1-underFraction)*over.ownLog10), k.A+0.5)
	m.Own = min(max(k.C+k.B/(log10-k.A), m.Own-most), m.Own+most)
	return m
}

// blendViscosity is the viscosity of a mixture of two melts.
func blendViscosity(under, over *Fired, underFraction float64) melt.VFT {
	return oxidisedBlend(under, over, underFraction).Shifted(blendRedox(under, over, underFraction))
}

// oxidisedBlend is the viscosity of a mixture of two melts with all iron as Fe2O3. It is the same in every firing.
func oxidisedBlend(under, over *Fired, underFraction float64) melt.VFT {
	return melt.MixtureViscosity(under.forMixing, over.forMixing, underFraction*under.moles, (1-underFraction)*over.moles)
}

// blendRedox is what the iron of a mixture of two melts does to log10 η, with as much of it FeO as the firing has
// made of theirs.
func blendRedox(under, over *Fired, underFraction float64) float64 {
	a, b := underFraction*under.moles, (1-underFraction)*over.moles
	a, b = 2*a*under.oxidised[chem.Fe2O3]/sum(a, b), 2*b*over.oxidised[chem.Fe2O3]/sum(a, b) // moles of iron per mole of the oxidised mixture
	ferrous := sum(a*under.ferrous, b*over.ferrous)
	total := 1 + ferrous/2 // Fe2O3 makes two of FeO
	return melt.RedoxEffect(ferrous/total, (sum(a, b)-ferrous)/2/total)
}

// sum is a + b as they are after rounding, on machines too that multiply and add in one, so that a mixture is the
// same whichever of the two is named first.
func sum(a, b float64) float64 { return float64(a) + float64(b) }

// blendLog10 is log10 η of a mixture at the peak.
func blendLog10(under, over *Fired, underFraction float64) float64 {
	if under.Glaze.Melt != nil && over.Glaze.Melt != nil {
		k := blendViscosity(under, over, underFraction)
		m, peak := meltMaturity(&k, under, over, underFraction), under.Firing.PeakKelvin
		return k.Log10(peak) + melt.Stiffening(melt.FadedCrystals(m.Crystals, peak, m.Own))
	}
	return underFraction*under.PeakLog10 + (1-underFraction)*over.PeakLog10
}
