package film

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// The named shapes are plain stand-ins for a piece that has not been traced. All dimensions are in metres,
// outside measures.

// shapePoints is how many points a curved stretch of a named shape gets.
const shapePoints = 48

// Tile is a flat slab that leans at an angle in radians to the horizontal (π/2 is upright).
func Tile(height, width, angle float64) (*Profile, error) {
	if err := checkSizes("height", height, "width", width); err != nil {
		return nil, err
	}
	if !(angle > 0 && angle <= math.Pi/2) {
		return nil, &fault.Error{Field: "angle", Value: number(angle*180/math.Pi) + "°", Limit: "more than 0° and at most 90°"}
	}
	return newFlatProfile([]Point{{0, height * math.Cos(angle)}, {height * math.Sin(angle), 0}}, width)
}

// Cylinder is an upright turned wall.
func Cylinder(height, diameter float64) (*Profile, error) {
	if err := checkSizes("height", height, "diameter", diameter); err != nil {
		return nil, err
	}
	return NewProfile([]Point{{0, diameter / 2}, {height, diameter / 2}})
}

// Bowl opens from foot to rim, flat at first (three tenths of the mean slope) and steeper at the rim.
func Bowl(height, footDiameter, rimDiameter float64) (*Profile, error) {
	if err := checkSizes("height", height, "foot diameter", footDiameter, "rim diameter", rimDiameter); err != nil {
		return nil, err
	}
	points := make([]Point, shapePoints+1)
	for i := range points {
		ξ := float64(i) / shapePoints
		points[i] = Point{height * ξ * (0.3 + 0.7*ξ), (footDiameter + ξ*(rimDiameter-footDiameter)) / 2}
	}
	return NewProfile(points)
}

// Plate has an upright foot ring and from it a straight flare to the rim.
func Plate(height, footHeight, footDiameter, rimDiameter float64) (*Profile, error) {
	if err := checkSizes("height", height, "foot height", footHeight, "foot diameter", footDiameter, "rim diameter", rimDiameter); err != nil {
		return nil, err
	}
	if footHeight >= height {
		return nil, &fault.Error{Field: "foot height", Value: number(1e3*footHeight) + " mm", Limit: "below the height, " + number(1e3*height) + " mm"}
	}
	return NewProfile([]Point{{0, footDiameter / 2}, {footHeight, footDiameter / 2}, {height, rimDiameter / 2}})
}

// Bottle swells from the foot to its belly, draws in over the shoulder and ends in an upright neck.
func Bottle(height, bellyHeight, neckHeight, footDiameter, bellyDiameter, neckDiameter float64) (*Profile, error) {
	if err := checkSizes("height", height, "belly height", bellyHeight, "neck height", neckHeight,
		"foot diameter", footDiameter, "belly diameter", bellyDiameter, "neck diameter", neckDiameter); err != nil {
		return nil, err
	}
	if !(bellyHeight+neckHeight < height) {
		return nil, &fault.Error{Field: "height", Value: number(1e3*height) + " mm", Limit: "more than belly height and neck height together, " + number(1e3*(bellyHeight+neckHeight)) + " mm"}
	}
	var points []Point
	swell := func(z0, z1, d0, d1 float64) {
		for i := range shapePoints {
			ξ := float64(i) / shapePoints
			points = append(points, Point{z0 + ξ*(z1-z0), (d0 + (d1-d0)*(1-math.Cos(math.Pi*ξ))/2) / 2})
		}
	}
	swell(0, bellyHeight, footDiameter, bellyDiameter)
	swell(bellyHeight, height-neckHeight, bellyDiameter, neckDiameter)
	points = append(points, Point{height - neckHeight, neckDiameter / 2}, Point{height, neckDiameter / 2})
	return NewProfile(points)
}

// checkSizes takes names and sizes in turn.
func checkSizes(pairs ...any) error {
	for i := 0; i < len(pairs); i += 2 {
		name, size := pairs[i].(string), pairs[i+1].(float64)
		if !(size > 0 && size <= MaxProfileSize) {
			return &fault.Error{Field: name, Value: number(1e3*size) + " mm", Limit: fmt.Sprintf("more than 0 and at most %g mm", 1e3*MaxProfileSize)}
		}
	}
	return nil
}
