package draw

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/catchline/catchline/model/film"
)

// Picture is a drawing of a wall with its glaze: on the left of the axis as laid, on the right after the
// firing. The film is drawn thicker than it is, by a round factor that the legend gives.
type Picture struct {
	Title   string
	Profile *film.Profile
	Before  []film.FilmPoint // from rim to foot, as film.Solver.Film gives it
	After   []film.FilmPoint
	Edge    float64   // lower edge of the lowest band before the firing, m along the wall from the foot
	Drip    float64   // where the longest drip ends after the firing, which is below the film's mean front; 0 at the foot
	Cookie  film.Pool // what the piece stands on; zero for none
	Pool    film.Pool // what has come over the foot; zero for nothing
}

// Sizes of the drawing in its own units, which a browser takes for pixels.
const (
	wallHeight   = 380.0
	wallWidth    = 420.0 // both halves
	marginLeft   = 64.0
	marginRight  = 118.0
	marginTop    = 52.0
	marginBottom = 78.0
	slabDepth    = 0.006 // m, drawn for a slab, of which only the face is known
	filmShare    = 0.05  // of the width, at most, for the thickest film
)

// WriteSVG writes the picture as SVG that needs nothing from outside, has a title and a description for those who do
// not see it, and stays readable on light and dark ground.
func (p *Picture) WriteSVG(w io.Writer) error {
	if p.Profile == nil || len(p.Before) < 2 || len(p.After) < 2 {
		return errors.New("draw: a picture needs a profile and its film before and after")
	}
	var b bytes.Buffer
	newDrawing(p, &b).draw()
	_, err := w.Write(b.Bytes())
	return err
}

type drawing struct {
	*Picture
	b      *bytes.Buffer
	points []film.Point // of the profile, foot first
	scale  float64      // units per metre
	axis   float64      // x of the axis
	ground float64      // y of the foot
	extra  float64      // m added to the radius of a slab
	times  float64      // how many times thicker the film is drawn
	width  float64
	height float64
	radius float64 // m, the widest that is drawn
}

func newDrawing(p *Picture, b *bytes.Buffer) *drawing {
	d := &drawing{Picture: p, b: b, points: p.Profile.Points()}
	thickest := 0.
	for _, films := range [][]film.FilmPoint{p.Before, p.After} {
		for _, f := range films {
			thickest = max(thickest, f.Thickness)
		}
	}
	if p.Profile.IsSlab() {
		d.extra = slabDepth
	}
	for _, q := range d.points {
		d.radius = max(d.radius, q.Radius+d.extra)
	}
	d.radius = max(d.radius, p.Cookie.Diameter/2, p.Pool.Diameter/2)
	d.scale = min(wallHeight/p.Profile.Height(), wallWidth/2/d.radius)
	d.times = 1
	if thickest > 0 {
		d.times = roundDown(filmShare * wallWidth / (thickest * d.scale))
	}
	d.axis = marginLeft + d.radius*d.scale + filmShare*wallWidth
	d.ground = marginTop + p.Profile.Height()*d.scale
	d.width = d.axis + d.radius*d.scale + filmShare*wallWidth + marginRight
	d.height = d.ground + max(p.Cookie.Thickness, 0)*d.scale + marginBottom
	return d
}

// roundDown gives the greatest of 1, 2, 5, 10, 20 ... that is not above v, and 1 if there is none.
func roundDown(v float64) float64 {
	best := 1.
	for decade := 1.; decade <= v; decade *= 10 {
		for _, n := range []float64{1, 2, 5} {
			if n*decade <= v {
				best = n * decade
			}
		}
	}
	return best
}

func (d *drawing) x(side, radius float64) float64 { return d.axis + side*(radius+d.extra)*d.scale }
func (d *drawing) y(height float64) float64       { return d.ground - height*d.scale }

func (d *drawing) put(format string, args ...any) { fmt.Fprintf(d.b, format, args...) }

// text puts a line of text, escaped.
func (d *drawing) text(x, y float64, class, anchor, s string) {
	d.put(`<text class="%s" x="%.1f" y="%.1f" text-anchor="%s">`, class, x, y, anchor)
	d.escape(s)
	d.put("</text>\n")
}

func (d *drawing) escape(s string) {
	// Writing to a buffer does not fail.
	_ = xml.EscapeText(d.b, []byte(strings.ToValidUTF8(s, "?")))
}

func (d *drawing) draw() {
	d.put(`<svg xmlns="http://www.w3.org/2000/svg" class="wall-picture" role="img" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f">`+"\n", d.width, d.height, d.width, d.height)
	d.put("<title>")
	d.escape(d.Title)
	d.put("</title>\n<desc>")
	d.escape(d.description())
	d.put("</desc>\n<style>%s</style>\n", pictureStyle)
	d.text(marginLeft, 22, "head", "start", d.Title)
	d.axes()
	d.under()
	for _, half := range []struct {
		side  float64
		film  []film.FilmPoint
		class string
		label string
	}{{-1, d.Before, "before", "as laid"}, {1, d.After, "after", "after the firing"}} {
		d.wall(half.side)
		d.film(half.side, half.film, half.class)
		d.text(d.axis+half.side*8, marginTop-8, half.class+" label", map[float64]string{-1: "end", 1: "start"}[half.side], half.label)
	}
	d.put(`<line class="axis" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`+"\n", d.axis, marginTop-16, d.axis, d.ground+6)
	d.marks()
	d.text(marginLeft, d.height-10, "small", "start", fmt.Sprintf("Film drawn %.0f times as thick as it is; wall to scale, in mm.", d.times))
	d.put("</svg>\n")
}

// pictureStyle takes its lines and text from the colour of the page it is put in, and brings its own where it stands
// alone. The two glaze colours have a contrast above 3:1 on white and on near-black (WCAG 2.1, 1.4.11).
const pictureStyle = `.wall-picture{font:12px system-ui,sans-serif;color:#22303c}` +
	`@media(prefers-color-scheme:dark){.wall-picture{color:#dfe6ec}}` +
	`.wall-picture text{fill:currentColor}.wall-picture .head{font-size:15px;font-weight:600}.wall-picture .small{font-size:11px}` +
	`.wall-picture .line{stroke:currentColor;fill:none}.wall-picture .body{stroke:currentColor;stroke-width:1.5;fill:currentColor;fill-opacity:.08}` +
	`.wall-picture .axis{stroke:currentColor;stroke-dasharray:10 4 2 4;stroke-opacity:.6}.wall-picture .mark{stroke:currentColor;stroke-dasharray:5 4}` +
	`.wall-picture path.before{fill:#b7791f}.wall-picture path.after,.wall-picture rect.after{fill:#2f86a8}` +
	`.wall-picture .cookie{fill:currentColor;fill-opacity:.2;stroke:currentColor}`

func (d *drawing) description() string {
	s := fmt.Sprintf("The wall of a piece %.0f mm high with its glaze, on the left as laid and on the right after the firing. The lower edge of the glaze was %.0f mm from the foot along the wall", 1e3*d.Profile.Height(), 1e3*d.Edge)
	if d.Drip > 0 {
		s += fmt.Sprintf(", and the longest drip has come down by %.1f mm.", 1e3*(d.Edge-d.Drip))
	} else {
		s += ", and the longest drip has reached the foot."
	}
	if d.Pool.Diameter > 0 {
		s += fmt.Sprintf(" What has come over the foot lies %.0f mm wide and %.1f mm thick.", 1e3*d.Pool.Diameter, 1e3*d.Pool.Thickness)
	}
	if d.Cookie.Diameter > 0 {
		s += fmt.Sprintf(" It stands on a cookie of %.0f mm.", 1e3*d.Cookie.Diameter)
	}
	return s
}

// axes puts heights on the left and distances from the axis below.
func (d *drawing) axes() {
	h, left := d.Profile.Height(), marginLeft-8
	d.put(`<path class="line" d="M%.1f %.1fV%.1f`, left, d.y(h), d.ground)
	step := d.tickStep(h)
	for v := 0.; v <= h*(1+1e-9); v += step {
		d.put("M%.1f %.1fh-5", left, d.y(v))
	}
	d.put(`"/>` + "\n")
	for v := 0.; v <= h*(1+1e-9); v += step {
		d.text(left-8, d.y(v)+4, "small", "end", fmt.Sprintf("%.0f", 1e3*v))
	}
	d.put(`<text class="small" transform="translate(14 %.1f) rotate(-90)" text-anchor="middle">height, mm</text>`+"\n", (d.y(h)+d.ground)/2)

	bottom := d.ground + max(d.Cookie.Thickness, 0)*d.scale + 16
	step = d.tickStep(2 * d.radius)
	n := math.Floor(d.radius/step + 1e-9)
	d.put(`<path class="line" d="M%.1f %.1fH%.1f`, d.axis-d.radius*d.scale, bottom, d.axis+d.radius*d.scale)
	for i := -n; i <= n; i++ {
		d.put("M%.1f %.1fv5", d.axis+i*step*d.scale, bottom)
	}
	d.put(`"/>` + "\n")
	for i := -n; i <= n; i++ {
		d.text(d.axis+i*step*d.scale, bottom+18, "small", "middle", fmt.Sprintf("%.0f", 1e3*math.Abs(i*step)))
	}
	d.text(d.axis, bottom+33, "small", "middle", "distance from the axis, mm")
}

// tickStep gives a round distance in m that makes at most eight ticks of a length and leaves room for their labels.
func (d *drawing) tickStep(length float64) float64 {
	for step := 1e-3; ; step *= 10 {
		for _, n := range []float64{1, 2, 5} {
			if length/(n*step) <= 8 && n*step*d.scale >= 20 {
				return n * step
			}
		}
	}
}

// under draws the cookie and what lies on it.
func (d *drawing) under() {
	if c := d.Cookie; c.Diameter > 0 {
		d.put(`<rect class="cookie" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", d.axis-c.Diameter/2*d.scale, d.ground, c.Diameter*d.scale, c.Thickness*d.scale)
		d.text(d.axis+d.radius*d.scale+12, d.ground+c.Thickness*d.scale/2+4, "small", "start", fmt.Sprintf("cookie %.0f mm", 1e3*c.Diameter))
	}
	if q := d.Pool; q.Diameter > d.Profile.FootDiameter() && !d.Profile.IsSlab() {
		from, to := d.Profile.FootDiameter()/2, q.Diameter/2
		h := max(q.Thickness*d.scale, 1)
		d.put(`<rect class="after" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`+"\n", d.axis+from*d.scale, d.ground-h, (to-from)*d.scale, h)
	}
}

// wall draws one half of the piece.
func (d *drawing) wall(side float64) {
	d.put(`<path class="body" d="M%.1f %.1f`, d.axis, d.ground)
	for _, q := range d.points {
		d.put("L%.1f %.1f", d.x(side, q.Radius), d.y(q.Height))
	}
	d.put(`L%.1f %.1f"/>`+"\n", d.axis, d.y(d.points[len(d.points)-1].Height))
}

// film draws the glaze on one half, out from the wall along its normal.
func (d *drawing) film(side float64, film []film.FilmPoint, class string) {
	d.put(`<path class="%s" d="`, class)
	command := "M"
	for _, f := range film {
		at, normal := d.Profile.At(f.Along), d.Profile.Normal(f.Along)
		out := f.Thickness * d.times
		d.put("%s%.1f %.1f", command, d.x(side, at.Radius+out*normal.Radius), min(d.y(at.Height+out*normal.Height), d.ground))
		command = "L"
	}
	for i := len(film) - 1; i >= 0; i-- {
		at := d.Profile.At(film[i].Along)
		d.put("L%.1f %.1f", d.x(side, at.Radius), d.y(at.Height))
	}
	d.put(`Z"/>` + "\n")
}

// marks draws the foot, the lower edge of the glaze as laid, and how far down the longest drip is.
func (d *drawing) marks() {
	right := d.axis + d.radius*d.scale + filmShare*wallWidth
	last := math.Inf(1)
	for _, m := range []struct {
		along float64
		label string
	}{{d.Edge, fmt.Sprintf("edge as laid, %.0f mm", 1e3*d.Edge)}, {d.Drip, fmt.Sprintf("longest drip, %.0f mm", 1e3*d.Drip)}, {0, "foot"}} {
		if m.along >= last || m.along == 0 && m.label != "foot" {
			continue // where two fall together, one says enough
		}
		y := d.y(d.Profile.At(m.along).Height)
		d.put(`<line class="mark" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`+"\n", marginLeft-8, y, right, y)
		d.text(right+4, min(y+4, d.ground-14*m.along/(m.along+1e-9)), "small", "start", m.label)
		last = m.along
	}
}
