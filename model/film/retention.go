package film

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/chem"
)

// CapillaryLength is sqrt(γ/(ρ g)) in metres for a surface tension in N/m and a density in kg/m³.
func CapillaryLength(surfaceTension, density float64) float64 {
	return math.Sqrt(surfaceTension / (density * Gravity))
}

// Angles are the contact angles of the melt on the body in radians, 0 to π: receding at the
// upper edge, advancing at the lower.
type Angles struct{ Receding, Advancing float64 }

// DefaultAngles are those of a melt that wets bisque well: it does not recede at all, and it
// advances at 30 degrees. Ours, no source.
var DefaultAngles = Angles{Receding: 0, Advancing: math.Pi / 6}

// Grip is cos θr - cos θa, by which the edges of a band hold on.
func (a Angles) Grip() (float64, error) {
	if !(a.Receding >= 0 && a.Receding <= a.Advancing && a.Advancing <= math.Pi) {
		return 0, &chem.FieldError{Field: "contact angles", Value: fmt.Sprintf("receding %g, advancing %g", a.Receding, a.Advancing), Limit: "0 <= receding <= advancing <= π"}
	}
	return math.Cos(a.Receding) - math.Cos(a.Advancing), nil
}

// DefaultGrip is that of DefaultAngles.
var DefaultGrip = math.Cos(DefaultAngles.Receding) - math.Cos(DefaultAngles.Advancing)

// HeldBand gives the height in metres of the longest band, even across the wall, that its edges
// hold up against its weight (Furmidge 1962, J. Colloid Sci. 17, 309-324):
//
//	ρ g sinθ H L = γ (cos θr - cos θa)
//
// Surface tension in N/m, density in kg/m³, sine of the slope, thickness in metres; grip is the difference of the cosines. On a level
// surface every band is held: the result is +Inf.
func HeldBand(surfaceTension, density, sinSlope, thickness, grip float64) (float64, error) {
	if !(surfaceTension > 0 && surfaceTension <= 2) {
		return 0, &chem.FieldError{Field: "surface tension", Value: number(surfaceTension) + " N/m", Limit: "more than 0 and at most 2 N/m"}
	}
	if err := checkDensity(density); err != nil {
		return 0, err
	}
	if !(sinSlope >= 0 && sinSlope <= 1) {
		return 0, &chem.FieldError{Field: "sine of the slope", Value: number(sinSlope), Limit: "0 to 1"}
	}
	if !(thickness > 0 && thickness <= MaxLayers*MaxThickness) {
		return 0, &chem.FieldError{Field: "thickness", Value: number(1e3*thickness) + " mm", Limit: "more than 0 and at most " + number(1e3*MaxLayers*MaxThickness) + " mm"}
	}
	if !(grip >= 0 && grip <= 2) {
		return 0, &chem.FieldError{Field: "grip", Value: number(grip), Limit: "0 to 2"}
	}
	return surfaceTension * grip / (density * Gravity * sinSlope * thickness), nil
}

// Retained gives the part of a drive that is left to a band of height l when its edges could hold
// up a band of height held: the weight that is not held over the whole weight, 1 - held/l, and 0 for a
// band that is held. So a short band stands still, a long one hardly notices, and nothing jumps in between.
// The balance of forces is Furmidge's; that the flow slows in proportion is ours.
func Retained(l, held float64) float64 {
	if !(l > held) {
		return 0
	}
	return 1 - held/l
}
