package melt

import "math"

// maxPacking is the volume fraction at which crystals jam: 0.6, usual for grains of many sizes
// (Krieger & Dougherty 1959, Trans. Soc. Rheol. 3, 137-152, fit 0.57 to 0.74; from memory).
const maxPacking = 0.6

// RelativeViscosity gives how many times stiffer a melt is with a volume fraction of crystals in it,
// (1 - φ/φm)^(-2.5 φm) with φm = 0.6: Krieger & Dougherty 1959, eq. 15, from memory. For few crystals it tends to
// Einstein's 1 + 2.5 φ. Fractions above 0.55 count as 0.55 and negative ones as 0: a melt so
// full of crystals is a paste with a yield stress, which this does not describe.
func RelativeViscosity(fraction float64) float64 {
	left := 1 - min(max(fraction, 0), 0.55)/maxPacking
	return 1 / (left * math.Sqrt(left)) // 2.5 φm = 1.5
}

// Stiffening is log10 of RelativeViscosity: what crystals add to log10 η.
func Stiffening(fraction float64) float64 { return math.Log10(RelativeViscosity(fraction)) }

// CrystalsOf gives the volume fraction of crystals in a glaze at its peak from its surface, and that fraction's
// standard deviation. Ours, common practice, no source: a gloss has none to speak of; much of what makes a matte
// grows in cooling, after it has run. A studio's own tiles correct it.
func CrystalsOf(surface Surface) (fraction, sd float64) {
	switch surface {
	case Satin:
		return 0.20, 0.10
	case Matte:
		return 0.32, 0.12
	}
	return 0, 0.02
}

// FadedCrystals gives the volume fraction of crystals that is left at T (K) of the fraction that a glaze has at its
// own cone, which goes down at own (K): all up to there, none from 60 K above, in a straight line between. Mattes
// that are fired over clear and run (common practice, no source); the 60 K are ours.
func FadedCrystals(fraction, T, own float64) float64 {
	const fade = 60
	return fraction * min(max(1-(T-own)/fade, 0), 1)
}

// Suspended gives the curve of the melt with a volume fraction of crystals in it; the
// fraction's standard deviation becomes one of log10 η, half the way from a standard deviation less to one more.
func (k Curve) Suspended(fraction, sd float64) Curve {
	return k.Shifted(Stiffening(fraction), (Stiffening(fraction+sd)-Stiffening(fraction-sd))/2)
}
