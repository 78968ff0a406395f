package melt

import (
	"math"
	"strconv"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/internal/vector"
)

// VFT is the form of Vogel, Fulcher and Tammann, log10(η/(Pa·s)) = A + B/(T - C), with B > 0. It falls with temperature
// everywhere: below the temperature at which it would pass log10 η = 12 it goes on along its tangent.
type VFT = vector.VFT

// Curve is the viscosity of one melt over temperature, with its standard deviation and Domain. The zero Curve is not a
// melt.
type Curve struct {
	VFT

	sd      float64 // standard deviation of log10 η where the data lies
	sdCold  float64 // added per unit of log10 η above coldLog10
	anchor  float64 // temperature (K) that the description of a described glaze speaks of; otherwise 0
	sdSlope float64 // added per kelvin away from the anchor

	domain Domain
}

const (
	kneeLog10 = 12.0 // near the glass transition; nothing flows there
	coldLog10 = 6.0  // the data thins out above this
)

// newVFT makes a VFT of its three parameters; b must be positive.
func newVFT(a, b, c float64) VFT {
	u := (kneeLog10 - a) / b // 1/(T-C) at the knee
	return VFT{A: a, B: b, C: c, Knee: c + 1/u, KneeLog: kneeLog10, KneeSlope: -b * u * u}
}

// SD gives the standard deviation of log10 η at T (K): 80 % of measurements lie within 1.2816 of it. It grows outside
// the data, in composition and in temperature.
func (k *Curve) SD(T float64) float64 {
	l := k.Log10(T)
	cold := max(0, l-coldLog10) * k.sdCold
	away := 0.0
	if k.anchor > 0 {
		away = k.sdSlope * (T - k.anchor)
	}
	return math.Sqrt(k.sd*k.sd + cold*cold + away*away)
}

// Isokom gives the temperature (K) at which log10(η/(Pa·s)) has a value of -1 to 12: T = C + B/(log10 η - A). The error
// is a fault.Error of log10_eta.
func (k *Curve) Isokom(log10Eta float64) (float64, error) {
	if !(log10Eta >= -1 && log10Eta <= kneeLog10) {
		return 0, &fault.Error{Field: "log10_eta", Value: strconv.FormatFloat(log10Eta, 'g', -1, 64), Limit: "-1 to 12"}
	}
	if log10Eta <= k.A {
		return 0, &fault.Error{Field: "log10_eta", Value: strconv.FormatFloat(log10Eta, 'g', -1, 64),
			Limit: "more than " + strconv.FormatFloat(k.A, 'f', 2, 64) + ", the value that this melt tends to when hot"}
	}
	return k.C + k.B/(log10Eta-k.A), nil
}

// Shifted gives the curve with d added to log10 η at every temperature and sd, as independent, to its standard
// deviation.
func (k Curve) Shifted(d, sd float64) Curve {
	k.VFT = k.VFT.Shifted(d)
	k.sd = math.Hypot(k.sd, sd)
	return k
}

// Domain is how far the melt lies from the data behind the curve.
func (k *Curve) Domain() Domain { return k.domain }
