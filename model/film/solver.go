package film

import (
	"errors"
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Limits of the solver.
const (
	MinCells = 20
	MaxCells = 5000
	MaxBands = 8
	maxSteps = 2_000_000
	courant  = 0.9
)

// Band is one layering on a wall, between two distances along the wall from the foot.
type Band struct {
	Low, High float64 // m along the wall from the foot
	Thickness float64 // m, fired
	// Mobility relative to the first band's. For a band of drive X' (film.Flow on an upright wall) and
	// thickness H' beside a first one of X and H it is (X'/H'²)/(X/H²).
	Mobility float64
}

// Solver spreads bands of glaze along a wall. It solves
//
//	r h_t + (r M' sinθ h³/3)_x = 0
//
// by finite volumes, with the drive X = H²M of the first band on an upright wall in the place of time:
// layers that move together know no other clock, so one pass answers for every firing. Thickness is
// in units of the first band's.
//
// The scheme is MUSCL-Hancock (van Leer 1984; Toro 2009, section 14.4, from memory) with the monotonised
// central limiter; since glaze only flows down, the Godunov flux is the upwind one. It is of second
// order where the film is smooth, keeps thickness at 0 or more, and conserves volume to rounding.
// Where bands cross, the shares of each travel with the film (first order), and the mobility of a
// mixture is log-linear in its shares, with an extra for a blend that is more or less fluid (SetBlend).
//
// A ledge takes in what arrives and passes on what it cannot hold. Left out: surface tension other
// than on ledges, the breaking of the front into drips, drips that fall from undersides, and that
// a band is not mixed through at once when it flows over another.
//
// A Solver is set up once for a wall and used again without allocating; it is not for concurrent use.
type Solver struct {
	profile *Profile
	n       int
	top     []float64 // distance from the foot of the upper face of each cell, and of the foot
	area    []float64 // of each cell
	girth   []float64 // at the lower face of each cell, times the sine of the slope above it
	holds   []float64 // m³ that a ledge keeps; 0 for open wall
	ledges  []int     // the cells that are ledges
	rough   []bool    // next to a ledge: no slope is taken
	perArea []float64 // one over area
	gap     []float64 // one over the distance between the centres of a cell and the one below it

	volume []float64           // glaze in each cell, in units of the first band's thickness times m²
	share  [MaxBands][]float64 // the part of volume that came from each band
	u      []float64           // thickness
	m      []float64           // mobility
	flux   []float64           // through the lower face, per drive

	bands    [MaxBands]Band
	count    int
	lnM      [MaxBands]float64
	blend    [MaxBands][MaxBands]float64 // 4 times the excess ln mobility of a half-and-half mixture
	first    int                         // highest cell with glaze
	last     int                         // lowest cell with glaze
	drive    float64
	overflow float64 // in units of the first band's thickness times m²
	footAt   float64 // drive at which the front reaches the foot
	front    float64 // distance from the foot
}

// NewSolver sets up a solver with about so many cells (MinCells to MaxCells; 400 is plenty) along a wall, whose
// ledges hold puddles of a thickness in metres (see PuddleThickness).
func NewSolver(p *Profile, cells int, puddle float64) (*Solver, error) {
	if cells < MinCells || cells > MaxCells {
		return nil, &fault.Error{Field: "cells", Value: fmt.Sprint(cells), Limit: fmt.Sprintf("%d to %d", MinCells, MaxCells)}
	}
	if !(puddle >= 0 && puddle <= 0.05) {
		return nil, &fault.Error{Field: "puddle thickness", Value: number(1e3*puddle) + " mm", Limit: "0 to 50 mm"}
	}
	s := &Solver{profile: p, footAt: math.Inf(1)}
	size := p.Length() / float64(cells)
	ledges := joined(p.Ledges(puddle), size/4, p.Length())
	from := p.Length()
	open := func(to float64) {
		if from-to <= 1e-9 {
			return
		}
		k := math.Ceil((from-to)/size - 1e-6)
		for i := range int(k) {
			s.addCell(from-(from-to)*float64(i)/k, from-(from-to)*float64(i+1)/k, 0)
		}
	}
	for i := len(ledges) - 1; i >= 0; i-- {
		l := ledges[i]
		open(l.To)
		s.addCell(l.To, l.From, max(l.Holds, 1e-15))
		from = l.From
	}
	open(0)
	s.top = append(s.top, 0)
	s.n = len(s.area)
	s.rough = make([]bool, s.n)
	s.perArea, s.gap = make([]float64, s.n), make([]float64, s.n)
	for i := range s.n {
		if s.holds[i] > 0 {
			s.ledges = append(s.ledges, i)
		}
		s.rough[i] = i == 0 || i == s.n-1 || s.holds[i] > 0 || s.holds[i-1] > 0 || s.holds[i+1] > 0
		s.perArea[i] = 1 / s.area[i]
		if i < s.n-1 {
			s.gap[i] = 2 / (s.top[i] - s.top[i+2])
		}
	}
	s.volume, s.u, s.m, s.flux = make([]float64, s.n), make([]float64, s.n), make([]float64, s.n), make([]float64, s.n)
	for b := range s.share {
		s.share[b] = make([]float64, s.n)
	}
	return s, nil
}

// joined makes one ledge of those that lie closer together than a gap (m), and lets those that lie as close to an end
// of the wall reach it, so that no cell is much smaller than the rest.
func joined(ledges []Ledge, gap, length float64) []Ledge {
	var out []Ledge
	for _, l := range ledges {
		if n := len(out); n > 0 && l.From-out[n-1].To < gap {
			out[n-1].To = l.To
			out[n-1].Holds += l.Holds
			continue
		}
		if l.From < gap {
			l.From = 0
		}
		out = append(out, l)
	}
	if n := len(out); n > 0 && length-out[n-1].To < gap {
		out[n-1].To = length
	}
	return out
}

func (s *Solver) addCell(from, to, holds float64) {
	p := s.profile
	slope := p.SinSlope(to + 1e-3*(from-to)) // of the line above the face, whatever the rounding
	s.top = append(s.top, from)
	s.area = append(s.area, p.Area(to, from))
	if holds > 0 {
		slope = 0 // nothing leaves by its weight
	}
	s.girth = append(s.girth, p.girth(p.At(to).Radius)*slope)
	s.holds = append(s.holds, holds)
}

// Lay puts fresh bands on the wall, the first one being the reference for drive and mobility. They
// may overlap, and then lie on one another.
func (s *Solver) Lay(bands ...Band) error {
	if len(bands) < 1 || len(bands) > MaxBands {
		return &fault.Error{Field: "bands", Value: fmt.Sprint(len(bands)), Limit: fmt.Sprintf("1 to %d", MaxBands)}
	}
	for i, b := range bands {
		field := func(name string) string { return fmt.Sprintf("bands[%d].%s", i, name) }
		switch {
		case !(b.Low >= 0 && b.Low < b.High && b.High <= s.profile.Length()*(1+1e-9)):
			return &fault.Error{Field: field("low, high"), Value: fmt.Sprintf("%s to %s mm along the wall", number(1e3*b.Low), number(1e3*b.High)), Limit: "low below high, within 0 to " + number(1e3*s.profile.Length()) + " mm"}
		case !(b.Thickness > 0 && b.Thickness <= MaxLayers*MaxThickness):
			return &fault.Error{Field: field("thickness"), Value: number(1e3*b.Thickness) + " mm", Limit: "more than 0 and at most " + number(1e3*MaxLayers*MaxThickness) + " mm"}
		case !(b.Mobility >= 1e-6 && b.Mobility <= 1e6):
			return &fault.Error{Field: field("mobility"), Value: number(b.Mobility), Limit: "1e-6 to 1e6 times the first band's"}
		}
	}
	s.count = copy(s.bands[:], bands)
	clear(s.volume)
	for b := range s.share {
		clear(s.share[b])
	}
	s.blend = [MaxBands][MaxBands]float64{}
	s.drive, s.overflow, s.footAt = 0, 0, math.Inf(1)
	s.first, s.last = s.n, -1
	lowest := math.Inf(1)
	for b := range s.count {
		band := s.bands[b]
		lowest = min(lowest, band.Low)
		h := band.Thickness / s.bands[0].Thickness
		s.lnM[b] = math.Log(band.Mobility)
		for i := range s.n {
			low, high := max(s.top[i+1], band.Low), min(s.top[i], band.High)
			if low >= high {
				continue
			}
			v := h * s.profile.Area(low, high)
			s.volume[i] += v
			s.share[b][i] += v
			s.first, s.last = min(s.first, i), max(s.last, i)
		}
	}
	s.front = lowest
	for i := range s.n {
		s.settle(i)
	}
	return nil
}

// SetBlend gives the mobility of a half-and-half mixture of two bands, relative to the first band's. Without it,
// a mixture lies between its parts.
func (s *Solver) SetBlend(a, b int, mobility float64) error {
	if a < 0 || b < 0 || a >= s.count || b >= s.count || a == b {
		return &fault.Error{Field: "blend", Value: fmt.Sprintf("bands %d and %d", a, b), Limit: fmt.Sprintf("two different bands of %d", s.count)}
	}
	if !(mobility >= 1e-6 && mobility <= 1e6) {
		return &fault.Error{Field: "blend mobility", Value: number(mobility), Limit: "1e-6 to 1e6 times the first band's"}
	}
	excess := 4 * math.Log(mobility/math.Sqrt(s.bands[a].Mobility*s.bands[b].Mobility))
	s.blend[min(a, b)][max(a, b)] = excess
	for i := range s.n {
		s.settle(i)
	}
	return nil
}

// settle works out thickness and mobility of a cell from its volumes.
func (s *Solver) settle(i int) {
	s.u[i] = s.volume[i] * s.perArea[i]
	if s.count == 1 || s.volume[i] == 0 {
		s.m[i] = 1
		return
	}
	ln := 0.
	for b := range s.count {
		c := s.share[b][i] / s.volume[i]
		if c > 1-1e-12 {
			s.m[i] = s.bands[b].Mobility
			return
		}
		if c <= 0 {
			continue
		}
		ln += c * s.lnM[b]
		for other := b + 1; other < s.count; other++ {
			ln += c * s.share[other][i] / s.volume[i] * s.blend[b][other]
		}
	}
	s.m[i] = math.Exp(ln)
}

var errTooManySteps = errors.New("film: the solver took too many steps; fewer cells or less drive will do")

// Advance lets the glaze flow until the drive of the first band on an upright wall reaches drive
// (metres, not below what it is already).
func (s *Solver) Advance(drive float64) error {
	if s.count == 0 {
		return errors.New("film: no bands on the wall; call Lay first")
	}
	if !(drive >= s.drive && drive <= 1e6) {
		return &fault.Error{Field: "drive", Value: number(drive) + " m", Limit: "from " + number(s.drive) + " m, where it stands, to 1e6 m"}
	}
	for range maxSteps {
		if s.drive >= drive {
			return nil
		}
		s.step(drive)
	}
	return errTooManySteps
}

// step goes on by one step, but not beyond the drive to.
func (s *Solver) step(to float64) {
	start, dx := s.drive, to-s.drive
	// No signal may cross a cell; the fastest goes at u² m sinθ.
	if rate := s.rate(); rate*dx > courant {
		dx = courant / rate
		s.drive += dx
	} else {
		s.drive = to
	}
	s.fluxes(dx)
	for i := s.last; i >= s.first; i-- {
		s.pass(i, s.flux[i])
	}
	// A ledge that is over-full passes the rest on at once.
	for _, i := range s.ledges {
		if excess := s.volume[i] - s.holds[i]/s.bands[0].Thickness; excess > 0 {
			s.pass(i, excess)
		}
	}
	for i := s.first; i <= s.last; i++ {
		s.settle(i)
	}
	s.follow(start)
}

// rate is the greatest part of a cell that a signal crosses per drive.
func (s *Solver) rate() float64 {
	from, to := s.first, s.last+1
	u, m, girth, perArea := s.u[from:to], s.m[from:to], s.girth[from:to], s.perArea[from:to]
	fastest := 0.
	for i, v := range u {
		fastest = max(fastest, v*v*m[i]*girth[i]*perArea[i])
	}
	return fastest
}

// fluxes works out what leaves each cell at its lower face within the drive dx.
func (s *Solver) fluxes(dx float64) {
	for i := s.first; i <= s.last; i++ {
		u, girth := s.u[i], s.girth[i]
		k := s.m[i] * dx * girth
		face := u
		if !s.rough[i] {
			slope := limited(u-s.u[i-1], s.u[i+1]-u, s.gap[i-1], s.gap[i]) * (s.top[i] - s.top[i+1])
			// To the face in space and half a step on in time, with the widening of the wall.
			half := 0.5 * s.perArea[i] * u * u
			face += 0.5*slope - half*k*slope - half*s.m[i]*dx*u*(girth-s.girth[i-1])/3
			face = max(face, 0)
		}
		s.flux[i] = min(k*face*face*face/3, s.volume[i])
	}
	for _, i := range s.ledges {
		s.flux[i] = 0
	}
}

// pass moves a volume from a cell to the one below it, or over the foot.
func (s *Solver) pass(i int, v float64) {
	if v == 0 {
		return
	}
	part := v / s.volume[i]
	s.volume[i] -= v
	if i == s.n-1 {
		s.overflow += v
	} else {
		s.volume[i+1] += v
		s.last = max(s.last, i+1)
	}
	if s.count == 1 {
		return
	}
	for b := range s.count {
		moved := part * s.share[b][i]
		s.share[b][i] -= moved
		if i < s.n-1 {
			s.share[b][i+1] += moved
		}
	}
}

// limited is the monotonised central slope from the differences to both neighbours and one over the distances
// to them (van Leer 1977, from memory).
func limited(back, ahead, gapBack, gapAhead float64) float64 {
	if back*ahead <= 0 {
		return 0
	}
	a, b := back*gapBack, ahead*gapAhead
	mean := (a + b) / 2
	if a > 0 {
		return min(2*a, 2*b, mean)
	}
	return max(2*a, 2*b, mean)
}

// follow finds the front. Behind the shock the thickness is read two cells back, and the glaze below
// is laid out at it, so that the place does not hang on how the shock is smeared.
func (s *Solver) follow(before float64) {
	i := s.last
	for i > s.first && s.holds[i-1] == 0 && s.u[i] < 0.5*s.u[i-1] {
		i--
	}
	front := s.top[i]
	if s.holds[i] == 0 && s.u[i] > 0 {
		back := i
		for back > s.first && back > i-2 && s.holds[back-1] == 0 {
			back--
		}
		u := s.u[back]
		if !s.rough[back] {
			// Towards the front the film goes on as it does behind.
			u += 1.5 * min(max(s.u[back]-s.u[back-1], -0.2*u), 0.2*u)
		}
		below := s.overflow
		for k := back + 1; k <= s.last; k++ {
			below += s.volume[k]
		}
		front = s.top[back+1] - below/(u*s.profile.girth(s.profile.At(s.top[i+1]).Radius))
		if s.last < s.n-1 {
			front = max(front, s.top[s.last+1])
		}
	}
	front = min(front, s.front)
	if front <= 0 {
		if s.front > 0 {
			s.footAt = before + (s.drive-before)*s.front/(s.front-front)
		}
		front = 0
	}
	s.front = front
}

// Drive is how far the flow has come: the drive of the first band on an upright wall in metres.
func (s *Solver) Drive() float64 { return s.drive }

// Run is how far the lowest edge of the glaze has moved along the wall in metres; the wall ends at the foot.
func (s *Solver) Run() float64 { return s.lowest() - s.front }

// Clearance is the bare wall below the lowest band, along the wall in metres.
func (s *Solver) Clearance() float64 { return s.lowest() }

func (s *Solver) lowest() float64 {
	low := math.Inf(1)
	for b := range s.count {
		low = min(low, s.bands[b].Low)
	}
	return low
}

// Overflow is the volume in m³ that has left the wall over the foot.
func (s *Solver) Overflow() float64 { return s.overflow * s.bands[0].Thickness }

// FootDrive is the drive at which the front reached the foot, +Inf if it has not yet.
func (s *Solver) FootDrive() float64 { return s.footAt }

// Volume is the volume in m³ that is on the wall.
func (s *Solver) Volume() float64 {
	sum := 0.
	for _, v := range s.volume {
		sum += v
	}
	return sum * s.bands[0].Thickness
}

// FilmPoint is the film at one place of a wall.
type FilmPoint struct {
	Along     float64 // m from the foot
	Thickness float64 // m
}

// Film appends the thickness of the film, from rim to foot, to dst.
func (s *Solver) Film(dst []FilmPoint) []FilmPoint {
	for i := range s.n {
		dst = append(dst, FilmPoint{(s.top[i] + s.top[i+1]) / 2, s.u[i] * s.bands[0].Thickness})
	}
	return dst
}

// Reach is what a solver found at one drive.
type Reach struct {
	Drive    float64 // of the first band on an upright wall, m
	Run      float64 // m along the wall, at most the clearance
	Overflow float64 // m³
}

// Reaches lets the glaze flow to each of the given drives, which rise, and appends what it finds to dst.
func (s *Solver) Reaches(dst []Reach, drives []float64) ([]Reach, error) {
	for _, x := range drives {
		if err := s.Advance(x); err != nil {
			return dst, err
		}
		dst = append(dst, Reach{x, s.Run(), s.Overflow()})
	}
	return dst, nil
}
