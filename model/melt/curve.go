package melt

import (
	"math"
	"strconv"

	"github.com/catchline/catchline/model/chem"
)

// Curve is the viscosity of one melt over temperature, log10(η/(Pa·s)) = A + B/(T - C), the form of
// Vogel, Fulcher and Tammann, with B > 0. It falls with temperature everywhere: below the
// temperature at which the form would pass log10 η = 12 it goes on along its tangent.
//
// It is a small value; copy it freely. The zero Curve is not a melt.
type Curve struct {
	a, b, c float64
	// knee is the temperature (K) below which the tangent is used, with its value and slope.
	knee, kneeLog, kneeSlope float64

	sd      float64 // standard deviation of log10 η where the data lies
	sdCold  float64 // more of it per unit of log10 η above coldLog
	anchor  float64 // described glazes: temperature (K) that the description speaks of, else 0
	sdSlope float64 // described glazes: standard deviation per kelvin away from the anchor

	domain Domain
}

const (
	kneeLog10 = 12.0 // near the glass transition; nothing flows there
	coldLog10 = 6.0  // the data thins out above this
	ln10      = math.Ln10
)

// newCurve makes a curve from the three parameters; b must be positive.
func newCurve(a, b, c float64) Curve {
	k := Curve{a: a, b: b, c: c}
	k.setKnee()
	return k
}

func (k *Curve) setKnee() {
	u := (kneeLog10 - k.a) / k.b // 1/(T-C) at the knee
	k.knee = k.c + 1/u
	k.kneeLog = kneeLog10
	k.kneeSlope = -k.b * u * u
}

// Log10 gives log10(η/(Pa·s)) at T (K, more than 0). It falls with T, strictly.
func (k *Curve) Log10(T float64) float64 {
	if T < k.knee {
		return k.kneeLog + k.kneeSlope*(T-k.knee)
	}
	return k.a + k.b/(T-k.c)
}

// VFT gives A, B and C of the curve above its tangent.
func (k *Curve) VFT() (a, b, c float64) { return k.a, k.b, k.c }

// Fluidities writes 1/η (1/(Pa·s)) at each temperature (K) into dst, which must be as long as
// temperatures.
func (k *Curve) Fluidities(dst, temperatures []float64) {
	dst = dst[:len(temperatures)]
	for i, T := range temperatures {
		dst[i] = math.Exp(-ln10 * k.Log10(T))
	}
}

// SD gives the standard deviation of log10 η at T (K), such that 80 % of measurements lie within
// 1.2816 of it. It grows outside the data, in composition and in temperature.
func (k *Curve) SD(T float64) float64 {
	l := k.Log10(T)
	cold := math.Max(0, l-coldLog10) * k.sdCold
	away := 0.0
	if k.anchor > 0 {
		away = k.sdSlope * (T - k.anchor)
	}
	return math.Sqrt(k.sd*k.sd + cold*cold + away*away)
}

// Isokom gives the temperature (K) at which log10(η/(Pa·s)) has the value given, which must
// lie from -1 to 12 as the curve has no meaning outside.
func (k *Curve) Isokom(log10Eta float64) (float64, error) {
	if !(log10Eta >= -1 && log10Eta <= kneeLog10) {
		return 0, &chem.FieldError{Field: "log10_eta", Value: strconv.FormatFloat(log10Eta, 'g', -1, 64), Limit: "-1 to 12"}
	}
	if log10Eta <= k.a {
		return 0, &chem.FieldError{Field: "log10_eta", Value: strconv.FormatFloat(log10Eta, 'g', -1, 64),
			Limit: "more than " + strconv.FormatFloat(k.a, 'f', 2, 64) + ", the value that this melt tends to when hot"}
	}
	return k.c + k.b/(log10Eta-k.a), nil
}

// Shifted gives the curve with d added to log10 η at every temperature and sd added (in
// quadrature) to its standard deviation.
func (k Curve) Shifted(d, sd float64) Curve {
	k.shift(d)
	k.sd = math.Hypot(k.sd, sd)
	return k
}

func (k *Curve) shift(d float64) {
	k.a += d
	k.kneeLog += d
}

// Domain tells how far the melt lies from the data behind the curve.
func (k *Curve) Domain() Domain { return k.domain }
