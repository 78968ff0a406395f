package melt

import (
	"math"
	"strconv"

	"github.com/catchline/catchline/model/fault"
)

// Surface is how a fired glaze looks.
type Surface uint8

// The surfaces. SurfaceUnknown is the zero value.
const (
	SurfaceUnknown Surface = iota
	Gloss
	Satin
	Matte
)

// Behaviour is how a glaze behaves alone at two to three coats at its own cone.
type Behaviour uint8

// The behaviours, from a glaze that keeps every brush mark to one that needs a bare foot.
const (
	BehaviourUnknown Behaviour = iota
	Stiff
	Stable
	Mobile
	Runny
)

// Described gives a wide prior viscosity for a glaze of unknown chemistry from how it looks,
// how it behaves alone, and the temperature (K, 1000 to 1800) of its cone.
//
// The numbers are ours, from common practice, no source: glazes of the ranges that practice calls ordinary have melts
// of 10^1.9 to 10^2.7 Pa·s at their own cone, half of them over 10^2.4, where one stands still at two to three coats;
// at 10^1.8 it moves some millimetres. The curve's shape is that of an ordinary glaze melt: A = -2.9 and C four
// tenths of the cone's temperature. What a behaviour already says a surface does not say again: a matte's stiffness
// counts only when the behaviour is unknown.
func Described(surface Surface, behaviour Behaviour, coneKelvin float64) (Curve, error) {
	if !(coneKelvin >= 1000 && coneKelvin <= 1800) {
		return Curve{}, &fault.Error{Field: "cone_kelvin", Value: strconv.FormatFloat(coneKelvin, 'g', -1, 64), Limit: "1000 to 1800"}
	}
	log10, sd := 2.4, 0.6
	switch behaviour {
	case Stiff:
		log10, sd = 2.9, 0.5
	case Stable:
		log10, sd = 2.4, 0.4
	case Mobile:
		log10, sd = 1.8, 0.4
	case Runny:
		log10, sd = 1.3, 0.45
	}
	switch surface {
	case SurfaceUnknown:
		sd = math.Hypot(sd, 0.35)
	case Gloss:
		sd = math.Hypot(sd, 0.3)
	case Satin:
		sd = math.Hypot(sd, 0.4)
	case Matte:
		sd = math.Hypot(sd, 0.5)
	}
	const a = -2.9
	c := 0.4 * coneKelvin
	k := Curve{VFT: newVFT(a, (log10-a)*(coneKelvin-c), c)}
	if behaviour == BehaviourUnknown {
		k = k.Suspended(CrystalsOf(surface))
	}
	k.sd = math.Hypot(k.sd, sd)
	k.anchor = coneKelvin
	k.sdSlope = 0.003 // the slope itself is known to about a quarter: some 0.012 log10 per kelvin
	k.domain = Domain{described: true}
	return k, nil
}
