package film

import (
	"math"

	"github.com/catchline/catchline/model/fault"
)

// CapillaryLength is sqrt(γ/(ρ g)) in metres for a surface tension in N/m and a density in kg/m³.
func CapillaryLength(surfaceTension, density float64) float64 {
	return math.Sqrt(surfaceTension / (density * Gravity))
}

// LedgeAngle is the contact angle in radians at which melt stands on a ledge of bisque: 30 degrees. Ours, no source.
const LedgeAngle = math.Pi / 6

// CheckTension holds a surface tension in N/m to what melts have.
func CheckTension(surfaceTension float64) error {
	if !(surfaceTension > 0 && surfaceTension <= 2) {
		return &fault.Error{Field: "surface tension", Value: number(surfaceTension) + " N/m", Limit: "more than 0 and at most 2 N/m"}
	}
	return nil
}
