// Package draw is where drawings of walls come in and go out: it reads the wall of a piece from a traced SVG path or a
// CSV of its points, and draws a wall with its glaze as SVG. What a wall is and how glaze moves on it stands in
// model/film.
//
// Lengths are in metres, except where a name says otherwise: millimetres in CSV, units of the path in SVG. Bad input is
// a fault.Error with the line, the character or the point, which the caller puts its own field before.
package draw

import (
	"fmt"

	"github.com/catchline/catchline/model/fault"
)

// number writes a value for an error.
func number(v float64) string { return fmt.Sprintf("%.6g", v) }

// radiusError is the error of a radius of the wall; it counts points from 0, as film.NewProfile does.
func radiusError(i int, metres float64, limit string) error {
	return &fault.Error{Field: fmt.Sprintf("points[%d].radius", i), Value: number(1e3*metres) + " mm", Limit: limit}
}
