package model

import (
	"math"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// Wall is where a band of glaze lies, and how far its longest drip gets for a drive X.
type Wall interface {
	// Sin is the sine of the slope that the drive is to be worked out with; 1 where the wall itself takes account of it.
	Sin() float64
	// Band is the height of the band along the wall in m.
	Band() float64
	// Clearance is the bare wall from the band to the foot in m.
	Clearance() float64
	// Run is how far the longest drip gets below the band in m, for a drive in m. It rises with the drive.
	Run(drive float64) float64
	// Drive is its inverse: the drive in m that a run in m shows.
	Drive(run float64) float64
	// Overflow is the volume in m³ that leaves over the foot, for a drive in m and a band of the given thickness in m.
	Overflow(drive, thickness float64) float64
	// Film is the thickness of the film along the wall, from above the band to the foot, for a drive in m (0: as it was laid) and a
	// band of the given thickness in m.
	Film(drive, thickness float64) ([]film.FilmPoint, error)
}

// Limits of a band, in m.
const (
	MaxBand      = 2.0
	MaxClearance = 2.0
)

// StraightWall is a flat upright or leaning wall, such as a tile.
type StraightWall struct {
	sin, band, clearance, width, drip float64
}

// NewStraightWall makes a wall at an angle to the level in radians (0 to π/2), with a band of the given height
// over the given clearance, both in m along the wall, and a width in m. drip is how many times further the longest drip gets
// than the mean front, 1 or more.
func NewStraightWall(angle, band, clearance, width, drip float64) (*StraightWall, error) {
	for _, n := range []struct {
		field            string
		value, low, high float64
		unit             string
		scale            float64
	}{
		{"angle_deg", angle, 0, math.Pi / 2, "°", 180 / math.Pi},
		{"clearance_mm", clearance, 0, MaxClearance, " mm", 1e3},
		{"width_mm", width, 1e-3, MaxBand, " mm", 1e3},
	} {
		if !(n.value >= n.low && n.value <= n.high*(1+1e-12)) {
			return nil, outside(n.field, n.value*n.scale, n.low*n.scale, n.high*n.scale, n.unit)
		}
	}
	if !(band > 0 && band <= MaxBand) {
		return nil, &fault.Error{Field: "band_height_mm", Value: number(band * 1e3), Limit: "more than 0 and at most 2000"}
	}
	if !(drip >= 1 && drip <= 10) {
		return nil, outside("drip ratio", drip, 1, 10, "")
	}
	return &StraightWall{math.Sin(min(angle, math.Pi/2)), band, clearance, width, drip}, nil
}

// Sin is the sine of the wall's slope.
func (w *StraightWall) Sin() float64 { return w.sin }

// Band is the height of the band.
func (w *StraightWall) Band() float64 { return w.band }

// Clearance is the bare wall below it.
func (w *StraightWall) Clearance() float64 { return w.clearance }

// Run is film.Run, times the drip ratio.
func (w *StraightWall) Run(drive float64) float64 { return w.drip * film.Run(drive, w.band) }

// Drive is film.Drive of the mean front that belongs to the run.
func (w *StraightWall) Drive(run float64) float64 { return film.Drive(run/w.drip, w.band) }

// Overflow is what has passed the foot by the kinematic wave that film.Run follows: above a place d below the upper edge, the
// film is H sqrt(z/X) thick at a distance z < X from the upper edge and H further on, so that of the volume H·L per width
//
//	2/3 d^(3/2) X^(-1/2)   (d <= X),   d - X/3   (d > X)
//
// is still above it; the rest has passed. As for a ware, the mean front is taken to be as far as the longest drip: an upper
// estimate.
func (w *StraightWall) Overflow(drive, thickness float64) float64 {
	d := w.band + w.clearance
	drive = film.Drive(w.Run(drive), w.band)
	if film.Run(drive, w.band) <= w.clearance {
		return 0
	}
	left := d - drive/3
	if d <= drive {
		left = 2. / 3 * d * math.Sqrt(d/drive)
	}
	return max(0, w.band-left) * thickness * w.width
}

// filmPoints is how many points stand for a film on a straight wall.
const filmPoints = 240

// Film is the kinematic wave of Overflow, at the mean front.
func (w *StraightWall) Film(drive, thickness float64) ([]film.FilmPoint, error) {
	top := w.band + w.clearance
	front := w.band + film.Run(drive, w.band)
	points := make([]film.FilmPoint, 0, filmPoints)
	for i := range filmPoints {
		z := top * (float64(i) + 0.5) / filmPoints // below the upper edge
		h := thickness
		switch {
		case z > front:
			h = 0
		case z < drive:
			h *= math.Sqrt(z / drive)
		}
		points = append(points, film.FilmPoint{Along: top - z, Thickness: h})
	}
	return points, nil
}
