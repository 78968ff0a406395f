package model

import (
	"math"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// Wall is where a band of glaze lies, and how far its mean front gets for a drive X on a wall that the glaze wets
// wherever it comes.
type Wall interface {
	// Sin is the sine of the slope that the drive is to be worked out with; 1 where the wall itself takes account of
	// it.
	Sin() float64
	// EdgeSin is the sine of the slope at the lower edge of the band.
	EdgeSin() float64
	// Band is the height of the band along the wall in m.
	Band() float64
	// Clearance is the bare wall from the band to the foot in m.
	Clearance() float64
	// Drip is how many times further the longest drip gets than the mean front.
	Drip() float64
	// Front is how far the mean front gets below the band in m, for a drive in m. It rises with the drive.
	Front(drive float64) float64
	// Free is its inverse: the drive in m that a front in m shows.
	Free(front float64) float64
	// FreeElasticity is ∂ln Free/∂ln front.
	FreeElasticity(front float64) float64
	// Overflow is the volume in m³ that leaves over the foot, for a mean front in m and a band of the given thickness
	// in m.
	Overflow(front, thickness float64) float64
	// Film is the thickness of the film along the wall, from above the band to the foot, for a mean front in m (0: as
	// it was laid) and a band of the given thickness in m.
	Film(front, thickness float64) ([]film.FilmPoint, error)
}

// Course is how far a film gets on a wall whose clay it has to wet: the longest drip of a front that waits at its edge.
type Course struct {
	Wall
	Edge film.Edge
}

// Run is how far the longest drip gets below the band in m, for a drive in m. It rises with the drive.
func (c *Course) Run(drive float64) float64 { return c.Drip() * c.Front(drive) }

// Front is how far the mean front gets in m, for a drive in m.
func (c *Course) Front(drive float64) float64 { return c.Edge.Front(c.Wall.Front(drive)) }

// Drive is the inverse of Run: the drive in m that a run in m shows.
func (c *Course) Drive(run float64) float64 { return c.Wall.Free(c.Edge.Free(run / c.Drip())) }

// LnDrive is ln of Drive; a run of nothing shows minDrive.
func (c *Course) LnDrive(run float64) float64 { return math.Log(max(c.Drive(run), minDrive)) }

// Overflow is the volume in m³ that leaves over the foot, for a drive in m and a band of the given thickness in m.
// The mean front is taken to be as far as the longest drip, an upper estimate: between the drips there is less.
func (c *Course) Overflow(drive, thickness float64) float64 {
	return c.Wall.Overflow(c.Run(drive), thickness)
}

// Film is the thickness of the film along the wall for a drive in m, see Wall.
func (c *Course) Film(drive, thickness float64) ([]film.FilmPoint, error) {
	return c.Wall.Film(c.Front(drive), thickness)
}

// BeadElasticity is ∂ln X/∂ln A at a run in m, more than 0: for each part by which the bead at the edge is larger
// than it is taken for, how much more drive the run has needed.
func (c *Course) BeadElasticity(run float64) float64 {
	front := run / c.Drip()
	if !(front > 0) {
		return 0
	}
	free := c.Edge.Free(front)
	return c.Edge.BeadElasticity(front) * c.Wall.FreeElasticity(free)
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

// NewStraightWall makes a wall at an angle to the level in radians (0 to π/2), with a band of the given height over
// the given clearance, both in m along the wall, and a width in m. drip is how many times further the longest drip
// gets than the mean front on a tile, 1 or more; see film.DripsOn for other widths.
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
	return &StraightWall{math.Sin(min(angle, math.Pi/2)), band, clearance, width, film.DripsOn(width, drip)}, nil
}

// Sin is the sine of the wall's slope.
func (w *StraightWall) Sin() float64 { return w.sin }

// Band is the height of the band.
func (w *StraightWall) Band() float64 { return w.band }

// Clearance is the bare wall below it.
func (w *StraightWall) Clearance() float64 { return w.clearance }

// EdgeSin is the sine of the wall's slope.
func (w *StraightWall) EdgeSin() float64 { return w.sin }

// Drip is the drip ratio on the width of the wall.
func (w *StraightWall) Drip() float64 { return w.drip }

// Front is film.Run.
func (w *StraightWall) Front(drive float64) float64 { return film.Run(drive, w.band) }

// Free is film.Drive.
func (w *StraightWall) Free(front float64) float64 { return film.Drive(front, w.band) }

// FreeElasticity is 1 over film.RunElasticity.
func (w *StraightWall) FreeElasticity(front float64) float64 {
	return 1 / film.RunElasticity(film.Drive(front, w.band), w.band)
}

// Overflow is what has passed the foot by the kinematic wave that film.Run follows: above a place d below the upper
// edge, the film is H sqrt(z/X) thick at a distance z < X from the upper edge and H further on, so that of the volume
// H·L per width
//
//	2/3 d^(3/2) X^(-1/2)   (d <= X),   d - X/3   (d > X)
//
// is still above it; the rest has passed.
func (w *StraightWall) Overflow(front, thickness float64) float64 {
	if front <= w.clearance {
		return 0
	}
	d, drive := w.band+w.clearance, film.Drive(front, w.band)
	left := d - drive/3
	if d <= drive {
		left = 2. / 3 * d * math.Sqrt(d/drive)
	}
	return max(0, w.band-left) * thickness * w.width
}

// filmPoints is how many points stand for a film on a straight wall.
const filmPoints = 240

// Film is the kinematic wave of Overflow.
func (w *StraightWall) Film(front, thickness float64) ([]film.FilmPoint, error) {
	top, drive := w.band+w.clearance, film.Drive(front, w.band)
	points := make([]film.FilmPoint, 0, filmPoints)
	for i := range filmPoints {
		z := top * (float64(i) + 0.5) / filmPoints // below the upper edge
		h := thickness
		switch {
		case z > w.band+front:
			h = 0
		case z < drive:
			h *= math.Sqrt(z / drive)
		}
		points = append(points, film.FilmPoint{Along: top - z, Thickness: h})
	}
	return points, nil
}
