package model

import (
	"math"
	"sort"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// WareWall is the wall of a piece, on which a band's course was worked out by film.Solver. Slope, girth and ledges
// are in it, so its drive is that of an upright wall. The course of a single band depends on where it lies and on
// nothing else, so one WareWall serves every layering and every firing.
type WareWall struct {
	profile         *film.Profile
	band, clearance float64
	low             float64 // lower edge of the scored band, m along the wall from the foot
	drip            float64
	thickness       float64 // of the first band as solved; volumes go with it
	lower           []LowerBand

	// The course, all rising: ln of the drive and of the mean front's run up to the foot; ln of the drive and the
	// volume over the foot.
	lnDrive, lnRun []float64
	lnOver, over   []float64
	footDrive      float64 // at which the mean front reaches the foot; +Inf: not within the course
	beyond         float64 // factor on the drive with which a straight wall continues the course below the foot
}

// LowerBand is a further band on a ware, between two distances from the foot in m, with its thickness in m and its
// mobility on an upright wall relative to the scored band's.
type LowerBand struct {
	Low, High, Thickness, Mobility float64
	// BlendMobility is that of a half-and-half mixture with the scored band; 0: in between.
	BlendMobility float64
}

// Cells is how many cells a wall is divided into.
const Cells = 240

// The course covers drives from a run of a few hundredths of a millimetre to far beyond any foot, in m.
const (
	courseLow    = 1e-4
	courseHigh   = 300.0
	coursePoints = 120
)

// levelSine is the least slope (as a sine) that a band over the foot is taken to run down by.
const levelSine = 0.02

// referenceThickness is what a single band is solved with; its course in terms of the drive is the same for any other.
const referenceThickness = 0.5e-3

// NewWareWall works out the course of a band of the given height (m, along the wall) over a clearance (m), with
// further bands below it or none. thickness (m) is the scored band's and matters only when there are lower bands.
// drip is how many times further the longest drip gets than the mean front on a tile; see film.DripsOn.
func NewWareWall(profile *film.Profile, band, clearance, drip, thickness float64, lower []LowerBand) (*WareWall, error) {
	length := profile.Length()
	if !(clearance >= 0 && clearance < length) {
		return nil, outside("clearance_mm", 1e3*clearance, 0, 1e3*length, " (the length of the wall)")
	}
	if !(band > 0) {
		return nil, &fault.Error{Field: "band_height_mm", Value: number(1e3 * band), Limit: "more than 0"}
	}
	if clearance+band > length*(1+1e-9) {
		return nil, &fault.Error{Field: "band_height_mm", Value: number(1e3 * band),
			Limit: "at most " + number(1e3*(length-clearance)) + ", what the wall has above a clearance of " + number(1e3*clearance)}
	}
	if len(lower) == 0 {
		thickness = referenceThickness
	}
	w := &WareWall{profile: profile, band: band, clearance: clearance, low: clearance, drip: drip, thickness: thickness, lower: lower, footDrive: math.Inf(1), beyond: 1}
	for _, b := range lower {
		w.clearance = min(w.clearance, b.Low)
	}
	w.drip = film.DripsOn(2*math.Pi*profile.At(w.clearance).Radius, drip)
	s, err := w.laid()
	if err != nil {
		return nil, err
	}
	drives := make([]float64, coursePoints)
	for i := range drives {
		drives[i] = courseLow * math.Pow(courseHigh/courseLow, float64(i)/(coursePoints-1))
	}
	reaches, err := s.Reaches(nil, drives)
	if err != nil {
		return nil, err
	}
	w.keep(reaches, s.FootDrive())
	return w, nil
}

// puddle is the thickness in m to which a usual melt (surface tension 0.32 N/m, 2400 kg/m³) stands on a ledge.
var puddle = film.PuddleThickness(film.CapillaryLength(describedTension, describedDensity), film.LedgeAngle)

// laid sets up a solver with the bands on the wall.
func (w *WareWall) laid() (*film.Solver, error) {
	s, err := film.NewSolver(w.profile, Cells, puddle)
	if err != nil {
		return nil, err
	}
	bands := []film.Band{{Low: w.low, High: min(w.low+w.band, w.profile.Length()), Thickness: w.thickness, Mobility: 1}}
	for _, b := range w.lower {
		bands = append(bands, film.Band{Low: b.Low, High: b.High, Thickness: b.Thickness, Mobility: b.Mobility})
	}
	if err := s.Lay(bands...); err != nil {
		return nil, err
	}
	for i, b := range w.lower {
		if b.BlendMobility > 0 {
			if err := s.SetBlend(0, i+1, b.BlendMobility); err != nil {
				return nil, err
			}
		}
	}
	return s, nil
}

// minRun (m) keeps the logarithm of a run finite.
const minRun = 1e-9

// keep stores a course: the run up to the foot, which it reaches at footDrive, and what leaves over it.
func (w *WareWall) keep(reaches []film.Reach, footDrive float64) {
	if w.clearance <= 0 || footDrive <= courseLow {
		// The band reaches down to the foot: what runs, runs over it, at the slope that the wall has there.
		footDrive, w.footDrive, w.beyond = 0, 0, max(w.profile.SinSlope(0), levelSine)
	}
	last := minRun
	for _, r := range reaches {
		w.lnOver = append(w.lnOver, math.Log(r.Drive))
		w.over = append(w.over, r.Overflow/w.thickness)
		if r.Drive >= footDrive {
			continue
		}
		last = max(r.Run, last*(1+1e-12))
		w.lnDrive = append(w.lnDrive, math.Log(r.Drive))
		w.lnRun = append(w.lnRun, math.Log(last))
	}
	if !math.IsInf(footDrive, 1) && footDrive > courseLow && w.clearance > last {
		w.footDrive = footDrive
		w.beyond = film.Drive(w.clearance, w.band) / footDrive
		w.lnDrive = append(w.lnDrive, math.Log(footDrive))
		w.lnRun = append(w.lnRun, math.Log(w.clearance))
	}
}

// Sin is 1: the slope is in the course.
func (w *WareWall) Sin() float64 { return 1 }

// Band is the height of the band.
func (w *WareWall) Band() float64 { return w.band }

// Clearance is the bare wall below the lowest band, from whose edge the run counts.
func (w *WareWall) Clearance() float64 { return w.clearance }

// Profile is the wall.
func (w *WareWall) Profile() *film.Profile { return w.profile }

// EdgeSin is the mean sine of the slope over the first edgeReach of bare wall below the lowest band, or above its
// lower edge where there is less.
func (w *WareWall) EdgeSin() float64 {
	from := max(w.clearance-edgeReach, 0)
	to := min(from+edgeReach, w.profile.Length())
	return math.Abs(w.profile.At(to).Height-w.profile.At(from).Height) / (to - from)
}

// edgeReach (m) is about the length that a bead takes up.
const edgeReach = 10e-3

// Drip is the drip ratio on the girth of the piece at the lower edge of the lowest band.
func (w *WareWall) Drip() float64 { return w.drip }

// Front is how far the mean front gets. Below the foot it goes on as on a straight wall on which the band would have
// got just as far as the foot: that is the length of bare wall which the piece would have needed.
func (w *WareWall) Front(drive float64) float64 {
	if drive >= w.footDrive {
		return film.Run(drive*w.beyond, w.band)
	}
	return math.Exp(w.lnFront(math.Log(max(drive, minDrive))))
}

// lnFront is ln of the mean front's run by the course, whose drives are evenly spaced in ln but for the last.
func (w *WareWall) lnFront(lnDrive float64) float64 {
	i := min(max(int((lnDrive-w.lnDrive[0])*courseSteps)+1, 1), len(w.lnDrive)-1)
	return between(w.lnDrive, w.lnRun, lnDrive, i)
}

// courseSteps is how many points of the course there are for a unit of ln of the drive.
var courseSteps = (coursePoints - 1) / math.Log(courseHigh/courseLow)

// Free is the inverse of Front.
func (w *WareWall) Free(front float64) float64 {
	if !math.IsInf(w.footDrive, 1) && front >= w.clearance {
		return film.Drive(front, w.band) / w.beyond
	}
	return math.Exp(along(w.lnRun, w.lnDrive, math.Log(max(front, minRun))))
}

// FreeElasticity is by differences over a tenth of the front, about the distance between two points of the course.
func (w *WareWall) FreeElasticity(front float64) float64 {
	const step = 0.05
	return math.Log(w.Free(front*(1+step))/w.Free(front*(1-step))) / math.Log((1+step)/(1-step))
}

// Overflow is what has left over the foot.
func (w *WareWall) Overflow(front, thickness float64) float64 {
	lead := w.Free(front)
	if !math.IsInf(w.footDrive, 1) && lead < w.footDrive {
		return 0
	}
	i := sort.SearchFloat64s(w.lnOver, math.Log(lead))
	switch {
	case i == 0:
		return w.over[0] * thickness
	case i == len(w.over):
		return w.over[i-1] * thickness
	}
	t := (math.Log(lead) - w.lnOver[i-1]) / (w.lnOver[i] - w.lnOver[i-1])
	return (w.over[i-1] + t*(w.over[i]-w.over[i-1])) * thickness
}

// along interpolates y over rising x in straight lines and goes on along the outermost ones.
func along(x, y []float64, at float64) float64 {
	return between(x, y, at, min(max(sort.SearchFloat64s(x, at), 1), len(x)-1))
}

// between interpolates y over x between the points i-1 and i.
func between(x, y []float64, at float64, i int) float64 {
	return y[i-1] + (y[i]-y[i-1])*(at-x[i-1])/(x[i]-x[i-1])
}

// Film solves the course once more, until the mean front has come so far.
func (w *WareWall) Film(front, thickness float64) ([]film.FilmPoint, error) {
	s, err := w.laid()
	if err != nil {
		return nil, err
	}
	if front > 0 {
		if err := s.Advance(min(w.Free(front), courseHigh)); err != nil {
			return nil, err
		}
	}
	points := s.Film(nil)
	for i := range points {
		points[i].Thickness *= thickness / w.thickness
	}
	return points, nil
}
