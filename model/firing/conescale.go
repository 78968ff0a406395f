package firing

import (
	"fmt"

	"github.com/catchline/catchline/model/fault"
)

// ReferenceRampCPerHour is the middle rate of the published table, at which the scale of cones is read as temperatures.
const ReferenceRampCPerHour = 60

// ConeKelvin gives the temperature in K at which a self-supporting cone of the given number goes down at 60 °C/h over the
// last 100 °C; between two cones it is linear in the number. The error is a fault.Error of cone.
func ConeKelvin(coneNumber float64) (float64, error) {
	rungs := ladders()[SelfSupporting]
	first, last := rungs[0], rungs[len(rungs)-1]
	if !(coneNumber >= first.number && coneNumber <= last.number) {
		return 0, &fault.Error{Field: "cone", Value: number(coneNumber),
			Limit: fmt.Sprintf("cone %s to cone %s", FormatConeNumber(first.number), FormatConeNumber(last.number))}
	}
	i := 1
	for rungs[i].number < coneNumber {
		i++
	}
	a, b := rungs[i-1], rungs[i]
	return a.kelvin + (b.kelvin-a.kelvin)*(coneNumber-a.number)/(b.number-a.number), nil
}
