package firing

import (
	"fmt"
	"sync"

	"github.com/catchline/catchline/model/fault"
)

// ReferenceRampCPerHour is the rate of heating (°C/h) at which the scale of cones is tied to temperatures: the middle
// one of the three published for self-supporting cones.
const ReferenceRampCPerHour = 60

// smallRampCPerHour is the only rate (°C/h) at which end points of small cones are published.
const smallRampCPerHour = 300

// scaleCone is a cone on the scale of heat work: it goes down when ∫exp(-E/R (1/T - 1/T0)) dt comes to seconds.
type scaleCone struct {
	number  float64 // see ParseConeNumber
	kelvin  float64 // T0, its published end point at the reference rate
	energy  float64 // E, J/mol
	seconds float64 // heat work of the reference ramp to T0, as seconds at T0
}

// coneScales holds the cones of each type, coolest first. Cones that a type lacks, or whose end points cannot be used
// as published, are left out.
var coneScales = sync.OnceValue(func() (scales [numConeTypes][]scaleCone) {
	c := loadCones()
	energies := activationEnergies(c)
	for t := range numConeTypes {
		β := float64(ReferenceRampCPerHour)
		if t == Small {
			β = smallRampCPerHour
		}
		for i, name := range c.names {
			T0, extrapolated, err := ConeEndpoint(name, t, β)
			if err != nil || extrapolated {
				continue
			}
			scales[t] = append(scales[t], scaleCone{coneNumber(name), T0, energies[i], rampSeconds(energies[i], T0, β)})
		}
	}
	return scales
})

// ConeKelvin gives the temperature (K) at which a self-supporting cone goes down at 60 °C/h over the last 100 °C.
// coneNumber is -21 (cone 022) to 14; between two cones the temperature is linear in the number. The error is a
// fault.Error of cone.
func ConeKelvin(coneNumber float64) (float64, error) {
	scale := coneScales()[SelfSupporting]
	first, last := scale[0], scale[len(scale)-1]
	if !(coneNumber >= first.number && coneNumber <= last.number) {
		return 0, &fault.Error{Field: "cone", Value: number(coneNumber),
			Limit: fmt.Sprintf("cone %s to cone %s", FormatConeNumber(first.number), FormatConeNumber(last.number))}
	}
	i := 1
	for scale[i].number < coneNumber {
		i++
	}
	a, b := scale[i-1], scale[i]
	return a.kelvin + (b.kelvin-a.kelvin)*(coneNumber-a.number)/(b.number-a.number), nil
}

// energyAt gives the activation energy (J/mol) at a cone number, linear between the self-supporting cones.
func energyAt(number float64) float64 {
	scale := coneScales()[SelfSupporting]
	for i := 1; i < len(scale); i++ {
		a, b := scale[i-1], scale[i]
		if number <= b.number {
			return a.energy + (b.energy-a.energy)*(number-a.number)/(b.number-a.number)
		}
	}
	return scale[len(scale)-1].energy
}
