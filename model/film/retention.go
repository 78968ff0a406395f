package film

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
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
		return 0, &fault.Error{Field: "contact angles", Value: fmt.Sprintf("receding %g, advancing %g", a.Receding, a.Advancing), Limit: "0 <= receding <= advancing <= π"}
	}
	return math.Cos(a.Receding) - math.Cos(a.Advancing), nil
}

// DefaultGrip is that of DefaultAngles.
var DefaultGrip = math.Cos(DefaultAngles.Receding) - math.Cos(DefaultAngles.Advancing)

// HeldPart is which part of its weight a band, even across the wall, has held up by its edges (Furmidge 1962, J.
// Colloid Sci. 17, 309-324): of a height L that of
//
//	ρ g sinθ H L = γ (cos θr - cos θa)
//
// over its own, in m, with γ in N/m, the mass per area ρ H in kg/m², and the grip as Angles.Grip gives it. Above 1 all
// is held; on a level surface it is +Inf.
func HeldPart(surfaceTension, mass, sinSlope, band, grip float64) float64 {
	return surfaceTension * grip / (mass * Gravity * sinSlope * band)
}

// CheckTension holds a surface tension in N/m to what melts have.
func CheckTension(surfaceTension float64) error {
	if !(surfaceTension > 0 && surfaceTension <= 2) {
		return &fault.Error{Field: "surface tension", Value: number(surfaceTension) + " N/m", Limit: "more than 0 and at most 2 N/m"}
	}
	return nil
}

// Retained is the part of a drive that is left to a band of whose weight a part is held: 1 less that, and 0 for a
// band that is held. So a short band stands still, a long one hardly notices, and nothing jumps in between.
// The balance of forces is Furmidge's; that the flow slows in proportion is ours.
func Retained(held float64) float64 { return max(0, 1-held) }
