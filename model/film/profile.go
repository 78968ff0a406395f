package film

import (
	"fmt"
	"math"
	"sort"

	"github.com/catchline/catchline/model/fault"
)

// Limits of a wall profile.
const (
	MinProfilePoints = 2
	MaxProfilePoints = 2000
	MaxProfileSize   = 4.0  // m, in height and in radius
	MinRadius        = 1e-3 // m, of a turned wall below its rim: glaze cannot get past a point
)

// levelSine is the sine of the slope below which a wall counts as level: one degree. Glaze does not
// run along it but stands on it.
const levelSine = 0.0174524

// Point is a point of a wall: height above the foot and radius from the axis, both in metres.
type Point struct{ Height, Radius float64 }

// Profile is the outer wall of a piece from foot to rim, a polygon turned about the axis, or a flat
// slab such as a tile. It is immutable. Places on it are given as the distance along the wall from the
// foot, in metres.
type Profile struct {
	points []Point
	along  []float64 // distance from the foot at each point
	area   []float64 // area of the wall from the foot to each point, m²
	width  float64   // of a flat slab; 0 for a turned wall
}

// NewProfile makes the profile of a turned wall from its points, foot first; heights are taken
// from the first. It refuses fewer than MinProfilePoints or more than MaxProfilePoints, numbers that are not
// finite, a radius below MinRadius (at the rim, below 0), a point that repeats the one before, one that lies below the foot, a wall
// that crosses itself and one whose rim is not above its foot, and names the point, counted from 0.
func NewProfile(points []Point) (*Profile, error) { return newProfile(points, 0) }

// newFlatProfile makes the profile of a slab of even width; radii are distances from an upright plane.
func newFlatProfile(points []Point, width float64) (*Profile, error) {
	return newProfile(points, width)
}

func newProfile(points []Point, width float64) (*Profile, error) {
	if len(points) < MinProfilePoints || len(points) > MaxProfilePoints {
		return nil, &fault.Error{Field: "points", Value: fmt.Sprint(len(points)), Limit: fmt.Sprintf("%d to %d", MinProfilePoints, MaxProfilePoints)}
	}
	p := &Profile{
		points: make([]Point, len(points)),
		along:  make([]float64, len(points)),
		area:   make([]float64, len(points)),
		width:  width,
	}
	for i, q := range points {
		if !(math.Abs(q.Height) <= 1000 && math.Abs(q.Height-points[0].Height) <= MaxProfileSize) {
			return nil, pointError(i, "height", q.Height, fmt.Sprintf("within %g mm of the foot", 1e3*MaxProfileSize))
		}
		least := MinRadius
		if width > 0 || i == len(points)-1 {
			least = 0
		}
		if !(q.Radius >= least && q.Radius <= MaxProfileSize) {
			return nil, pointError(i, "radius", q.Radius, fmt.Sprintf("%g to %g mm", 1e3*least, 1e3*MaxProfileSize))
		}
		p.points[i] = Point{q.Height - points[0].Height, q.Radius}
		if p.points[i].Height < 0 {
			return nil, pointError(i, "height", q.Height, fmt.Sprintf("%g mm or more, which is where the foot is", 1e3*points[0].Height))
		}
		if i == 0 {
			continue
		}
		a, b := p.points[i-1], p.points[i]
		length := math.Hypot(b.Height-a.Height, b.Radius-a.Radius)
		if !(length > 1e-9) {
			return nil, &fault.Error{Field: fmt.Sprintf("points[%d]", i), Value: "where the point before it is", Limit: "a new place on the wall"}
		}
		p.along[i] = p.along[i-1] + length
		p.area[i] = p.area[i-1] + length*(p.girth(a.Radius)+p.girth(b.Radius))/2
	}
	last := len(points) - 1
	if !(p.points[last].Height > 0) {
		return nil, pointError(last, "height", points[last].Height, "above the foot: points go from foot to rim")
	}
	if i, j, ok := p.crossing(); ok {
		return nil, &fault.Error{
			Field: fmt.Sprintf("points[%d]", j+1),
			Value: fmt.Sprintf("reached by a line that crosses the one from point %d to point %d", i, i+1),
			Limit: "a wall that does not cross itself",
		}
	}
	return p, nil
}

func pointError(i int, what string, metres float64, limit string) error {
	return &fault.Error{Field: fmt.Sprintf("points[%d].%s", i, what), Value: number(1e3*metres) + " mm", Limit: limit}
}

// crossing finds the first pair of lines that are not neighbours and meet.
func (p *Profile) crossing() (int, int, bool) {
	n := len(p.points) - 1
	for j := 2; j < n; j++ {
		c, d := p.points[j], p.points[j+1]
		low, high := min(c.Height, d.Height), max(c.Height, d.Height)
		for i := range j - 1 {
			a, b := p.points[i], p.points[i+1]
			if max(a.Height, b.Height) < low || min(a.Height, b.Height) > high {
				continue
			}
			if meet(a, b, c, d) {
				return i, j, true
			}
		}
	}
	return 0, 0, false
}

// meet tells whether the lines ab and cd have a point in common.
func meet(a, b, c, d Point) bool {
	side := func(a, b, c Point) float64 {
		return (b.Radius-a.Radius)*(c.Height-a.Height) - (b.Height-a.Height)*(c.Radius-a.Radius)
	}
	within := func(a, b, c Point) bool {
		return min(a.Radius, b.Radius) <= c.Radius && c.Radius <= max(a.Radius, b.Radius) &&
			min(a.Height, b.Height) <= c.Height && c.Height <= max(a.Height, b.Height)
	}
	s1, s2, s3, s4 := side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b)
	if (s1 > 0) != (s2 > 0) && (s3 > 0) != (s4 > 0) && s1 != 0 && s2 != 0 && s3 != 0 && s4 != 0 {
		return true
	}
	return s1 == 0 && within(a, b, c) || s2 == 0 && within(a, b, d) ||
		s3 == 0 && within(c, d, a) || s4 == 0 && within(c, d, b)
}

// girth is the length around the wall at a radius.
func (p *Profile) girth(radius float64) float64 {
	if p.width > 0 {
		return p.width
	}
	return 2 * math.Pi * radius
}

// Points gives a copy of the points, foot first, with the foot at height 0.
func (p *Profile) Points() []Point { return append([]Point(nil), p.points...) }

// Length is the length of the wall from foot to rim in metres.
func (p *Profile) Length() float64 { return p.along[len(p.along)-1] }

// Height is the height of the highest point in metres.
func (p *Profile) Height() float64 {
	h := 0.
	for _, q := range p.points {
		h = max(h, q.Height)
	}
	return h
}

// FootDiameter is the diameter at the foot in metres; of a slab, its width.
func (p *Profile) FootDiameter() float64 {
	if p.width > 0 {
		return p.width
	}
	return 2 * p.points[0].Radius
}

// IsSlab tells a flat slab, such as a tile, from a turned wall. Radii of a slab are distances from an upright plane.
func (p *Profile) IsSlab() bool { return p.width > 0 }

// segment finds the line of the polygon on which a place lies; a corner counts with the line above it.
func (p *Profile) segment(along float64) int {
	i := sort.SearchFloat64s(p.along, along)
	if i < len(p.along) && p.along[i] == along {
		i++
	}
	return min(max(i-1, 0), len(p.points)-2)
}

// At gives the point at a distance along the wall from the foot; beyond the ends it is the end.
func (p *Profile) At(along float64) Point {
	i := p.segment(along)
	a, b := p.points[i], p.points[i+1]
	t := min(max((along-p.along[i])/(p.along[i+1]-p.along[i]), 0), 1)
	return Point{a.Height + t*(b.Height-a.Height), a.Radius + t*(b.Radius-a.Radius)}
}

// SinSlope gives the sine of the wall's angle to the horizontal at a distance from the foot: 1 upright, 0 level,
// negative where the wall falls on the way up. On a wall that leans out, glaze hangs from it and is pulled
// along as much as on one that leans in; that it may drip from there is left out.
func (p *Profile) SinSlope(along float64) float64 {
	i := p.segment(along)
	// The distance along the wall is a sum, so that of a short stretch is rounded.
	return math.Max(-1, math.Min(1, (p.points[i+1].Height-p.points[i].Height)/(p.along[i+1]-p.along[i])))
}

// Normal gives the unit vector that points out of the wall at a distance along it from the foot: along a line that goes up by dz and out
// by dr it is (dz, -dr)/√(dz² + dr²) in radius and height.
func (p *Profile) Normal(along float64) Point {
	i := p.segment(along)
	a, b := p.points[i], p.points[i+1]
	length := p.along[i+1] - p.along[i]
	return Point{Height: -(b.Radius - a.Radius) / length, Radius: (b.Height - a.Height) / length}
}

// Area is the area of the wall between two distances from the foot in m².
func (p *Profile) Area(from, to float64) float64 { return p.areaTo(to) - p.areaTo(from) }

func (p *Profile) areaTo(along float64) float64 {
	along = min(max(along, 0), p.Length())
	i := p.segment(along)
	return p.area[i] + (along-p.along[i])*(p.girth(p.points[i].Radius)+p.girth(p.At(along).Radius))/2
}

// Along gives the distance along the wall from the foot at which it first reaches a height in metres.
func (p *Profile) Along(height float64) (float64, error) {
	if !(height >= 0 && height <= p.Height()) {
		return 0, &fault.Error{Field: "height", Value: number(1e3*height) + " mm", Limit: "0 to " + number(1e3*p.Height()) + " mm, the height of the piece"}
	}
	for i := range len(p.points) - 1 {
		a, b := p.points[i], p.points[i+1]
		if a.Height <= height && height <= b.Height && b.Height > a.Height {
			return p.along[i] + (height-a.Height)/(b.Height-a.Height)*(p.along[i+1]-p.along[i]), nil
		}
	}
	return p.Length(), nil
}

// Ledge is a stretch of wall that glaze cannot run along by its weight: level, or rising on the way
// down. A catch line, a groove or a gutter is one.
type Ledge struct {
	From, To float64 // distance along the wall from the foot, m
	Holds    float64 // m³ that stay on it before it runs over
}

// Ledges finds the ledges from foot to rim. Puddle is the thickness in metres to which the melt
// stands on a level surface before it spreads (see Puddle).
//
// A ledge holds a puddle over its whole area, or if it is narrow a bead that is half a cylinder (π/8 of its width
// thick on average: the most that both edges can hold), and if it rises on the way down, as a gutter does,
// also what lies below the lip. An underside that is level or rises is counted the same way: a bead
// forms along it, and the rest goes on to what is below.
func (p *Profile) Ledges(puddle float64) []Ledge {
	var ledges []Ledge
	for i := 0; i < len(p.points)-1; i++ {
		if p.SinSlope((p.along[i]+p.along[i+1])/2) >= levelSine {
			continue
		}
		j := i
		for j+1 < len(p.points)-1 && p.SinSlope((p.along[j+1]+p.along[j+2])/2) < levelSine {
			j++
		}
		from, to := p.along[i], p.along[j+1]
		lip := i
		for k := i; k <= j; k++ {
			if p.points[k].Height > p.points[lip].Height {
				lip = k
			}
		}
		ledges = append(ledges, Ledge{from, to, min(puddle, math.Pi/8*(to-from))*p.Area(from, to) + p.trough(lip)})
		i = j
	}
	return ledges
}

// trough is the volume below the level of the lip at point i, on the side of the rim: where the wall
// on the way up falls from the lip and comes back to its level, and lies further in.
func (p *Profile) trough(i int) float64 {
	lip := p.points[i].Height
	volume := 0.
	for ; i < len(p.points)-1; i++ {
		a, b := p.points[i], p.points[i+1]
		if a.Height >= lip && b.Height > lip {
			break
		}
		back := b.Height > lip
		if back {
			t := (lip - a.Height) / (b.Height - a.Height)
			b = Point{lip, a.Radius + t*(b.Radius-a.Radius)}
		}
		// Depth is linear in the radius along the line, so ∫ girth depth dr is exact by Simpson's rule.
		mid := p.girth((a.Radius+b.Radius)/2) * (lip - (a.Height+b.Height)/2)
		volume += (a.Radius - b.Radius) * (p.girth(a.Radius)*(lip-a.Height) + 4*mid + p.girth(b.Radius)*(lip-b.Height)) / 6
		if back {
			break
		}
	}
	return max(volume, 0)
}
