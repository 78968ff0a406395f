package film

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Method is a way of putting a coat of glaze on ware.
type Method uint8

// The ways of putting on a coat.
const (
	Brush Method = iota
	Dip
	Spray
)

// String gives the word for the method, such as "brush".
func (m Method) String() string {
	switch m {
	case Brush:
		return "brush"
	case Dip:
		return "dip"
	case Spray:
		return "spray"
	}
	return fmt.Sprintf("method %d", uint8(m))
}

// Limits of what counts as a glaze coat. Fired glaze is 0.3 to 0.6 mm on most stoneware and
// dry glaze 0.08 to 0.20 g/cm² (common practice, no source); the limits leave ample room.
const (
	MaxCoats       = 20.0  // coats of one layer
	MaxThickness   = 5e-3  // m, fired, one layer
	MaxMassPerArea = 20.0  // kg/m², dry, one layer
	MinHand        = 0.2   // a studio's hand factor
	MaxHand        = 5.0   // a studio's hand factor
	massSD         = 0.08  // relative, ours: weighing is good, evenness less so
	statedSD       = 0.10  // relative, ours
	maxSolidLoss   = 0.999 // loss on ignition above this leaves no glaze
)

// Thickness is the fired thickness of a layer and how well it is known.
type Thickness struct {
	Metres     float64
	RelativeSD float64 // standard deviation of the thickness divided by the thickness
}

// firedPerCoat gives the fired thickness of one coat in metres and its relative standard deviation from piece to
// piece. Common practice, no source: 0.07 / 0.12 / 0.18 mm (10th, 50th and 90th percentile over studios and hands) a
// brushed coat, 0.25 to 0.5 mm a dip of 2 to 3 s, 0.2 to 0.5 mm a sprayed coat; 0.15 from piece to piece. The middle
// of the second and a little less of the third, and their spreads, are our choice. How a studio's hand differs from
// others its hand factor and its calibration say.
func firedPerCoat(m Method) (Thickness, bool) {
	switch m {
	case Brush:
		return Thickness{0.12e-3, 0.15}, true
	case Dip:
		return Thickness{0.375e-3, 0.15}, true
	case Spray:
		return Thickness{0.30e-3, 0.20}, true
	}
	return Thickness{}, false
}

// Coats gives the fired thickness of a number of coats (more than 0, at most MaxCoats; halves
// are fine). Hand is the studio's own thickness relative to the usual, 1 when not known.
func Coats(m Method, coats, hand float64) (Thickness, error) {
	one, ok := firedPerCoat(m)
	if !ok {
		return Thickness{}, &fault.Error{Field: "method", Value: m.String(), Limit: "brush, dip or spray"}
	}
	if !(coats > 0 && coats <= MaxCoats) {
		return Thickness{}, &fault.Error{Field: "coats", Value: number(coats), Limit: "more than 0 and at most " + number(MaxCoats)}
	}
	if !(hand >= MinHand && hand <= MaxHand) {
		return Thickness{}, &fault.Error{Field: "hand", Value: number(hand), Limit: number(MinHand) + " to " + number(MaxHand)}
	}
	return checkThickness(Thickness{one.Metres * coats * hand, one.RelativeSD})
}

// FromMass gives the fired thickness H = m (1 - LOI) / ρ of a dry layer of m kg/m² that loses
// the mass fraction LOI on firing and melts to a glass of density ρ in kg/m³.
func FromMass(massPerArea, loi, density float64) (Thickness, error) {
	if !(massPerArea > 0 && massPerArea <= MaxMassPerArea) {
		return Thickness{}, &fault.Error{Field: "mass per area", Value: number(massPerArea/10) + " g/cm²", Limit: "more than 0 and at most " + number(MaxMassPerArea/10) + " g/cm²"}
	}
	if !(loi >= 0 && loi <= maxSolidLoss) {
		return Thickness{}, &fault.Error{Field: "loss on ignition", Value: number(100*loi) + " %", Limit: "0 to " + number(100*maxSolidLoss) + " %"}
	}
	if err := checkDensity(density); err != nil {
		return Thickness{}, err
	}
	return checkThickness(Thickness{massPerArea * (1 - loi) / density, massSD})
}

// Stated takes a fired thickness in metres that someone measured or wishes.
func Stated(metres float64) (Thickness, error) {
	return checkThickness(Thickness{metres, statedSD})
}

// DriveSD is the standard deviation of the logarithm of the drive X = H²M of a film of the given thickness whose
// layers' thicknesses are independently uncertain: 2 sqrt(Σ (h sd)²) / Σ h, with the sum under the root as variance.
func DriveSD(thickness, variance float64) float64 {
	return 2 * math.Sqrt(variance) / thickness
}

func checkThickness(t Thickness) (Thickness, error) {
	if !(t.Metres > 0 && t.Metres <= MaxThickness) {
		return Thickness{}, &fault.Error{Field: "thickness", Value: number(1e3*t.Metres) + " mm fired", Limit: "more than 0 and at most " + number(1e3*MaxThickness) + " mm fired"}
	}
	return t, nil
}

// checkDensity holds the density of a melt to what oxide glasses reach (heavy lead glass is
// below 7000 kg/m³, fused silica at heat above 2000).
func checkDensity(density float64) error {
	if !(density >= 1000 && density <= 8000) {
		return &fault.Error{Field: "density", Value: number(density) + " kg/m³", Limit: "1000 to 8000 kg/m³"}
	}
	return nil
}

func number(v float64) string { return fmt.Sprintf("%.6g", v) }
