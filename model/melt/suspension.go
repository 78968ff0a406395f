package melt

import "math"

// maxPacking is the volume fraction at which crystals jam: 0.6, usual for grains of many sizes
// (Krieger & Dougherty 1959, Trans. Soc. Rheol. 3, 137-152, fit 0.57 to 0.74; from memory).
const maxPacking = 0.6

// RelativeViscosity gives how many times stiffer a melt is with a volume fraction of crystals in it,
// (1 - φ/φm)^(-2.5 φm) with φm = 0.6: Krieger & Dougherty 1959, eq. 15, from memory. For few crystals it tends to
// Einstein's 1 + 2.5 φ. Fractions above 0.55 count as 0.55 and negative ones as 0: a melt so
// full of crystals is a paste with a yield stress, which this does not describe.
func RelativeViscosity(fraction float64) float64 { return math.Pow(10, Stiffening(fraction)) }

// Stiffening is log10 of RelativeViscosity: what crystals add to log10 η.
func Stiffening(fraction float64) float64 {
	fraction = min(max(fraction, 0), 0.55)
	return -2.5 * maxPacking * math.Log10(1-fraction/maxPacking)
}

// CrystalsOf gives the volume fraction of crystals in a glaze at its peak from its surface, and that
// fraction's standard deviation. Ours, common practice, no source: a gloss has none to speak of; much of what makes a matte grows in
// cooling, after it has run. A studio's own tiles correct it.
func CrystalsOf(surface Surface) (fraction, sd float64) {
	switch surface {
	case Satin:
		return 0.08, 0.06
	case Matte:
		return 0.20, 0.12
	}
	return 0, 0.02
}

// CrystalsBelow gives the volume fraction of crystals in a melt at T (K) when its liquidus is estimated at
// liquidus with a standard deviation (K): none far above, growing by about 0.2 % a kelvin below,
// smooth through the liquidus over the uncertainty of it, and at most 0.5. The rate is ours: a silicate melt some 100 K under its liquidus
// holds 10 to 40 % crystals if it has had the time; a glaze seldom has.
func CrystalsBelow(T, liquidus, liquidusSD float64) (fraction, sd float64) {
	const perKelvin = 0.002
	w := max(liquidusSD, 5)
	u := (liquidus - T) / w
	below := w * u // softplus of the undercooling
	if u < 30 {
		below = w * math.Log1p(math.Exp(u))
	}
	fraction = 0.5 * -math.Expm1(-perKelvin*below/0.5)
	return fraction, min(0.6*fraction+0.01, 0.2)
}

// Suspended gives the curve of the melt with a volume fraction of crystals in it; the
// fraction's standard deviation becomes one of log10 η, half the way from a standard deviation less to one more.
func (k Curve) Suspended(fraction, sd float64) Curve {
	return k.Shifted(Stiffening(fraction), (Stiffening(fraction+sd)-Stiffening(fraction-sd))/2)
}
