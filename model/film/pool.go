package film

import (
	"math"

	"github.com/catchline/catchline/model/fault"
)

// ShelfAngle is the contact angle in radians of melt on a washed cookie or shelf: 60 degrees, since the
// wash is there not to be wetted. Ours, no source.
const ShelfAngle = math.Pi / 3

// PuddleThickness is the thickness 2 a sin(θ/2) in metres at which a puddle on a level surface stops growing thicker and
// spreads; a is the capillary length in metres, θ the contact angle in radians (de Gennes, Brochard-Wyart & Quéré
// 2004, Capillarity and Wetting Phenomena, section 2.2, from memory).
func PuddleThickness(capillaryLength, angle float64) float64 {
	return 2 * capillaryLength * math.Sin(angle/2)
}

// Pool is a volume of melt that lies on a level surface.
type Pool struct{ Diameter, Thickness float64 } // m

// Spread gives the pool that a volume in m³ makes: a spherical cap of contact angle θ while it is
// small, a flat puddle of PuddleThickness when it is large, whichever is wider. It takes the capillary length
// in metres and the angle in radians. Time to spread is left out, so the pool is the widest there can be.
func Spread(volume, capillaryLength, angle float64) (Pool, error) {
	if err := checkPool(volume, capillaryLength, angle); err != nil {
		return Pool{}, err
	}
	if volume == 0 {
		return Pool{}, nil
	}
	// A cap of base radius r has the height r tan(θ/2) and the volume π h (3r² + h²)/6.
	t := math.Tan(angle / 2)
	cap := math.Cbrt(6 * volume / (math.Pi * t * (3 + t*t)))
	thickness := PuddleThickness(capillaryLength, angle)
	puddle := math.Sqrt(volume / (math.Pi * thickness))
	if puddle > cap {
		return Pool{2 * puddle, thickness}, nil
	}
	return Pool{2 * cap, cap * t}, nil
}

// SpreadAround gives the pool that a volume in m³ makes around a foot of a diameter in metres, foot and all, if it
// comes down evenly: a bead, of the cross-section w² tan(θ/2)/3 for a width w, while it is small, and a flat
// ring of PuddleThickness when it is large, whichever is wider. The other arguments are those of Spread.
func SpreadAround(volume, foot, capillaryLength, angle float64) (Pool, error) {
	if err := checkPool(volume, capillaryLength, angle); err != nil {
		return Pool{}, err
	}
	if !(foot > 0 && foot <= 2*MaxProfileSize) {
		return Pool{}, &fault.Error{Field: "foot diameter", Value: number(1e3*foot) + " mm", Limit: "more than 0 and at most " + number(2e3*MaxProfileSize) + " mm"}
	}
	if volume == 0 {
		return Pool{foot, 0}, nil
	}
	t := math.Tan(angle / 2)
	bead := beadWidth(volume, foot, t)
	thickness := PuddleThickness(capillaryLength, angle)
	ring := math.Sqrt(foot*foot + 4*volume/(math.Pi*thickness))
	if ring > foot+2*bead {
		return Pool{ring, thickness}, nil
	}
	return Pool{foot + 2*bead, bead * t / 2}, nil
}

// beadWidth solves π t (foot w² + w³)/3 = volume for w by Newton's method from above, where the cubic is convex and the steps
// only ever go down.
func beadWidth(volume, foot, t float64) float64 {
	w := math.Sqrt(3 * volume / (math.Pi * foot * t))
	for range 50 {
		step := (w*w*(foot+w) - 3*volume/(math.Pi*t)) / (w * (2*foot + 3*w))
		w -= step
		if step < 1e-12*w {
			break
		}
	}
	return w
}

func checkPool(volume, capillaryLength, angle float64) error {
	if !(volume >= 0 && volume <= 1) {
		return &fault.Error{Field: "volume", Value: number(1e6*volume) + " cm³", Limit: "0 to 1e6 cm³"}
	}
	if !(capillaryLength > 0 && capillaryLength <= 0.1) {
		return &fault.Error{Field: "capillary length", Value: number(1e3*capillaryLength) + " mm", Limit: "more than 0 and at most 100 mm"}
	}
	if !(angle > 0 && angle <= math.Pi/2) {
		return &fault.Error{Field: "contact angle", Value: number(angle*180/math.Pi) + "°", Limit: "more than 0° and at most 90°"}
	}
	return nil
}
