package draw

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// maxPathLength bounds the text of a path, in bytes.
const maxPathLength = 1 << 18

// flatness is how far a curve may stray from the lines that stand for it, in metres.
const flatness = 0.02e-3

// Tracing says how the units of a traced path lie on the piece.
type Tracing struct {
	MetresPerUnit float64 // size of a unit of the path, more than 0
	Axis          float64 // x of the axis of turning, in units of the path
	OwnAxis       bool    // the axis is at the line's own least x; Axis is not read
	UpwardY       bool    // y grows upward; if false it grows downward, as SVG has it
}

// ReadProfileSVG reads a turned wall from the text of an SVG path, what stands in the attribute d: one open line
// from foot to rim or from rim to foot, on one side of the axis. All commands of SVG 1.1 section
// 8.3 are understood, in both cases; curves become lines that stray less than 0.02 mm. Errors name the
// character, counted from 1, or the point of the flattened wall.
func ReadProfileSVG(d string, t Tracing) (*film.Profile, error) {
	if !(t.MetresPerUnit > 1e-9 && t.MetresPerUnit <= 10) {
		return nil, &fault.Error{Field: "scale", Value: number(1e3*t.MetresPerUnit) + " mm a unit", Limit: "more than 0 and at most 10000 mm a unit"}
	}
	if !(math.Abs(t.Axis) <= 1e9) {
		return nil, &fault.Error{Field: "axis", Value: number(t.Axis), Limit: "-1e9 to 1e9 units"}
	}
	if len(d) > maxPathLength {
		return nil, &fault.Error{Field: "path", Value: fmt.Sprintf("%d characters", len(d)), Limit: fmt.Sprintf("at most %d characters", maxPathLength)}
	}
	r := pathReader{text: d, tolerance: flatness / t.MetresPerUnit}
	if err := r.read(); err != nil {
		return nil, err
	}
	if t.OwnAxis {
		t.Axis = slices.MinFunc(r.points, func(a, b place) int { return cmp.Compare(a.x, b.x) }).x
	}
	points := make([]film.Point, len(r.points))
	side := 0.
	for i, q := range r.points {
		x := q.x - t.Axis
		if side == 0 {
			side = x
		}
		if x*side < 0 {
			return nil, radiusError(i, -math.Abs(x)*t.MetresPerUnit, "0 or more: the whole wall on one side of the axis")
		}
		points[i] = film.Point{Height: -q.y * t.MetresPerUnit, Radius: math.Abs(x) * t.MetresPerUnit}
		if t.UpwardY {
			points[i].Height = q.y * t.MetresPerUnit
		}
	}
	if points[len(points)-1].Height < points[0].Height {
		slices.Reverse(points)
	}
	return film.NewProfile(points)
}

type place struct{ x, y float64 }

func (p place) plus(q place) place               { return place{p.x + q.x, p.y + q.y} }
func (p place) minus(q place) place              { return place{p.x - q.x, p.y - q.y} }
func (p place) times(f float64) place            { return place{f * p.x, f * p.y} }
func (p place) between(q place, t float64) place { return p.times(1 - t).plus(q.times(t)) }

// pathReader goes through the text of a path once, from left to right.
type pathReader struct {
	text      string
	at        int
	tolerance float64 // in units of the path
	points    []place
	control   place // the last control point, for S and T
	last      byte  // the last command, in upper case
}

func (r *pathReader) read() error {
	r.skip()
	if r.at == len(r.text) {
		return r.fault("empty", "a path that starts with M")
	}
	for r.at < len(r.text) {
		command := r.text[r.at]
		if !strings.ContainsRune("MmLlHhVvCcSsQqTtAaZz", rune(command)) {
			return r.fault(r.here(), "one of the commands M L H V C S Q T A")
		}
		upper := command &^ 0x20
		switch {
		case len(r.points) == 0 && upper != 'M':
			return r.fault(r.here(), "M first")
		case len(r.points) > 0 && upper == 'M':
			return r.fault("a second line", "one line from foot to rim")
		case upper == 'Z':
			return r.fault("a closed line", "an open line from foot to rim")
		}
		r.at++
		r.skip()
		for first := true; ; first = false {
			if err := r.command(upper, command != upper); err != nil {
				return err
			}
			r.last = upper
			if first && upper == 'M' {
				upper = 'L' // SVG 1.1, 8.3.2: further pairs are lines
			}
			r.skip()
			if r.at == len(r.text) || !startsNumber(r.text[r.at]) {
				break
			}
		}
	}
	return nil
}

// command reads the numbers of one command and adds its points.
func (r *pathReader) command(upper byte, relative bool) error {
	var here place
	if len(r.points) > 0 {
		here = r.points[len(r.points)-1]
	}
	var base place
	if relative {
		base = here
	}
	pair := func() (place, error) {
		x, err := r.number()
		if err != nil {
			return place{}, err
		}
		y, err := r.number()
		return base.plus(place{x, y}), err
	}
	pairs := func(to ...*place) error {
		for _, p := range to {
			var err error
			if *p, err = pair(); err != nil {
				return err
			}
		}
		return nil
	}
	var c1, c2, end place
	switch upper {
	case 'M', 'L':
		if err := pairs(&end); err != nil {
			return err
		}
		return r.line(end)
	case 'H':
		x, err := r.number()
		if err != nil {
			return err
		}
		return r.line(place{base.x + x, here.y})
	case 'V':
		y, err := r.number()
		if err != nil {
			return err
		}
		return r.line(place{here.x, base.y + y})
	case 'C':
		if err := pairs(&c1, &c2, &end); err != nil {
			return err
		}
		return r.cubic(here, c1, c2, end)
	case 'S':
		if err := pairs(&c2, &end); err != nil {
			return err
		}
		return r.cubic(here, r.mirrored(here, 'C', 'S'), c2, end)
	case 'Q':
		if err := pairs(&c1, &end); err != nil {
			return err
		}
		return r.quadratic(here, c1, end)
	case 'T':
		if err := pairs(&end); err != nil {
			return err
		}
		return r.quadratic(here, r.mirrored(here, 'Q', 'T'), end)
	default: // 'A'
		return r.arc(here, base)
	}
}

// mirrored is the first control point of a smooth curve: the last one seen from the other side, if the
// last command was a curve of the same kind, and else the place itself (SVG 1.1, 8.3.6 and 8.3.7).
func (r *pathReader) mirrored(here place, kinds ...byte) place {
	if slices.Contains(kinds, r.last) {
		return here.times(2).minus(r.control)
	}
	return here
}

// line adds a point, unless it is where the last one is.
func (r *pathReader) line(p place) error {
	if !(math.Abs(p.x) <= 1e9 && math.Abs(p.y) <= 1e9) {
		return r.fault("a place beyond 1e9 units", "-1e9 to 1e9")
	}
	if n := len(r.points); n > 0 && math.Hypot(p.x-r.points[n-1].x, p.y-r.points[n-1].y) <= 1e-3*r.tolerance {
		return nil
	}
	if len(r.points) == film.MaxProfilePoints {
		return r.fault(fmt.Sprintf("more than %d points once curves are flattened", film.MaxProfilePoints), fmt.Sprintf("at most %d", film.MaxProfilePoints))
	}
	r.points = append(r.points, p)
	return nil
}

// pieces is how many lines of even parameter a Bézier curve of a degree needs: its second differences are at
// most bend (Wang 1984, from memory: n² = d (d-1) bend / (8 tolerance)).
func (r *pathReader) pieces(degree, bend float64) int {
	return int(min(max(math.Ceil(math.Sqrt(degree*(degree-1)*bend/(8*r.tolerance))), 1), film.MaxProfilePoints+1))
}

func (r *pathReader) cubic(p0, p1, p2, p3 place) error {
	r.control = p2
	d1, d2 := p0.minus(p1.times(2)).plus(p2), p1.minus(p2.times(2)).plus(p3)
	n := r.pieces(3, max(math.Hypot(d1.x, d1.y), math.Hypot(d2.x, d2.y)))
	for i := 1; i <= n; i++ {
		t := float64(i) / float64(n)
		a, b, c := p0.between(p1, t), p1.between(p2, t), p2.between(p3, t)
		if err := r.line(a.between(b, t).between(b.between(c, t), t)); err != nil {
			return err
		}
	}
	return nil
}

func (r *pathReader) quadratic(p0, p1, p2 place) error {
	r.control = p1
	d := p0.minus(p1.times(2)).plus(p2)
	n := r.pieces(2, math.Hypot(d.x, d.y))
	for i := 1; i <= n; i++ {
		t := float64(i) / float64(n)
		if err := r.line(p0.between(p1, t).between(p1.between(p2, t), t)); err != nil {
			return err
		}
	}
	return nil
}

// arc reads and flattens an elliptical arc by its centre (SVG 1.1, appendix F.6.5 and F.6.6).
func (r *pathReader) arc(p0, base place) error {
	var v [3]float64 // rx, ry, rotation
	for i := range v {
		var err error
		if v[i], err = r.number(); err != nil {
			return err
		}
	}
	large, err := r.flag()
	if err != nil {
		return err
	}
	sweep, err := r.flag()
	if err != nil {
		return err
	}
	x, err := r.number()
	if err != nil {
		return err
	}
	y, err := r.number()
	if err != nil {
		return err
	}
	p1 := base.plus(place{x, y})
	rx, ry := math.Abs(v[0]), math.Abs(v[1])
	if rx == 0 || ry == 0 || p0 == p1 {
		return r.line(p1)
	}
	sin, cos := math.Sincos(v[2] * math.Pi / 180)
	half := p0.minus(p1).times(0.5)
	q := place{cos*half.x + sin*half.y, -sin*half.x + cos*half.y}
	if grow := (q.x/rx)*(q.x/rx) + (q.y/ry)*(q.y/ry); grow > 1 {
		rx, ry = rx*math.Sqrt(grow), ry*math.Sqrt(grow)
	}
	u := (q.x/rx)*(q.x/rx) + (q.y/ry)*(q.y/ry)
	k := math.Sqrt(max(1/u-1, 0))
	if large == sweep {
		k = -k
	}
	c := place{k * rx * q.y / ry, -k * ry * q.x / rx}
	mid := p0.between(p1, 0.5)
	from := math.Atan2((q.y-c.y)/ry, (q.x-c.x)/rx)
	turn := math.Atan2((-q.y-c.y)/ry, (-q.x-c.x)/rx) - from
	if sweep && turn < 0 {
		turn += 2 * math.Pi
	}
	if !sweep && turn > 0 {
		turn -= 2 * math.Pi
	}
	// A chord over an angle φ of a circle strays by R (1 - cos(φ/2)), about R φ²/8.
	n := int(min(max(math.Ceil(math.Abs(turn)*math.Sqrt(max(rx, ry)/(8*r.tolerance))), 1), film.MaxProfilePoints+1))
	for i := 1; i < n; i++ {
		s, co := math.Sincos(from + turn*float64(i)/float64(n))
		e := place{rx*co + c.x, ry*s + c.y}
		if err := r.line(mid.plus(place{cos*e.x - sin*e.y, sin*e.x + cos*e.y})); err != nil {
			return err
		}
	}
	return r.line(p1)
}

func startsNumber(c byte) bool { return c >= '0' && c <= '9' || c == '+' || c == '-' || c == '.' }

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// skip passes white space and commas.
func (r *pathReader) skip() {
	for r.at < len(r.text) && strings.IndexByte(" \t\r\n\f,", r.text[r.at]) >= 0 {
		r.at++
	}
}

// number reads one number; a second point or sign starts the next, as SVG has it.
func (r *pathReader) number() (float64, error) {
	r.skip()
	i := r.at
	digits := func() {
		for i < len(r.text) && isDigit(r.text[i]) {
			i++
		}
	}
	if i < len(r.text) && (r.text[i] == '+' || r.text[i] == '-') {
		i++
	}
	digits()
	if i < len(r.text) && r.text[i] == '.' {
		i++
		digits()
	}
	if i < len(r.text) && r.text[i]&^0x20 == 'E' {
		mark := i
		i++
		if i < len(r.text) && (r.text[i] == '+' || r.text[i] == '-') {
			i++
		}
		if i == len(r.text) || !isDigit(r.text[i]) {
			i = mark
		} else {
			digits()
		}
	}
	v, err := strconv.ParseFloat(r.text[r.at:i], 64)
	if err != nil {
		return 0, r.fault(r.here(), "a number")
	}
	r.at = i
	return v, nil
}

// flag reads a single 0 or 1, which need not be apart from what follows.
func (r *pathReader) flag() (bool, error) {
	r.skip()
	if r.at == len(r.text) || r.text[r.at] != '0' && r.text[r.at] != '1' {
		return false, r.fault(r.here(), "0 or 1")
	}
	r.at++
	return r.text[r.at-1] == '1', nil
}

// here shows what stands at the place of a fault.
func (r *pathReader) here() string {
	if r.at >= len(r.text) {
		return "at an end"
	}
	return strconv.Quote(strings.ToValidUTF8(r.text[r.at:min(r.at+8, len(r.text))], "?"))
}

func (r *pathReader) fault(value, limit string) error {
	return &fault.Error{Field: fmt.Sprintf("path, character %d", r.at+1), Value: value, Limit: limit}
}
