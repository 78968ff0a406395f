package firing

import (
	"math"
	"strconv"

	"github.com/catchline/catchline/model/fault"
)

// AtmosphereKind is an atmosphere as the trade names it.
type AtmosphereKind uint8

// The atmospheres, from the most to the least oxygen.
const (
	Oxidation AtmosphereKind = iota
	Neutral
	LightReduction
	MediumReduction
	HeavyReduction
	numAtmospheres
)

var atmosphereNames = [numAtmospheres]string{"oxidation", "neutral", "light reduction", "medium reduction", "heavy reduction"}

// String gives the name in words, such as "light reduction".
func (k AtmosphereKind) String() string {
	if k >= numAtmospheres {
		return "AtmosphereKind(" + strconv.Itoa(int(k)) + ")"
	}
	return atmosphereNames[k]
}

// co2ToCO gives the ratio of CO2 to CO in the flue gas for each name. The names are the trade's, the ratios ours
// (common practice, no source): with 1 % of the carbon unburnt it is neutral, with a fifth heavy reduction.
var co2ToCO = [numAtmospheres]float64{Neutral: 100, LightReduction: 20, MediumReduction: 10, HeavyReduction: 4}

// Limits of the ratio of CO2 to CO.
const (
	MinCO2ToCO = 0.1
	MaxCO2ToCO = 10000
)

// Atmosphere is the gas in the kiln. The zero value is oxidation, in air.
type Atmosphere struct {
	Kind AtmosphereKind
	// CO2ToCO replaces the ratio that the kind stands for, 0.1 to 10,000 by volume; 0 leaves it.
	CO2ToCO float64
}

// check refuses an unknown kind and a ratio outside its limits. Errors are fault.Error values of atmosphere.kind and
// atmosphere.co2_to_co.
func (a Atmosphere) check() error {
	if a.Kind >= numAtmospheres {
		return &fault.Error{Field: "atmosphere.kind", Value: a.Kind.String(), Limit: "oxidation, neutral, or light, medium or heavy reduction"}
	}
	if a.CO2ToCO != 0 && !(a.CO2ToCO >= MinCO2ToCO && a.CO2ToCO <= MaxCO2ToCO) {
		return outside("atmosphere.co2_to_co", a.CO2ToCO, MinCO2ToCO, MaxCO2ToCO)
	}
	return nil
}

// airLog10 is log10 of the oxygen in dry air, 0.2095 by volume.
var airLog10 = math.Log10(0.2095)

// Log10FO2 gives log10 of the oxygen fugacity (bar) at a temperature (K), at most that of air. In a flue gas in
// equilibrium
//
//	2 CO + O2 = 2 CO2:  log10 fO2 = 2 [log10(CO2/CO) - log10 K],  log10 K = 14750/T - 4.534,
//
// where K is the equilibrium constant of CO + ½ O2 = CO2, a line through the JANAF tables that is within 0.02 of them
// from 1173 to 1573 K.
func (a Atmosphere) Log10FO2(kelvin float64) float64 {
	ratio := a.CO2ToCO
	if ratio == 0 {
		ratio = co2ToCO[a.Kind]
	}
	if ratio == 0 {
		return airLog10
	}
	log10K := 14750/kelvin - 4.534
	return math.Min(2*(math.Log10(ratio)-log10K), airLog10)
}
