package risk

import (
	"fmt"
	"math"
	"slices"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// CookieKind is a kind of cookie.
type CookieKind uint8

// The kinds of cookie.
const (
	None   CookieKind = iota
	Plain             // a flat washed cookie
	Dished            // one with a rim that holds a pool
)

// String gives the kind in a word, such as "plain".
func (k CookieKind) String() string {
	switch k {
	case None:
		return "none"
	case Plain:
		return "plain"
	case Dished:
		return "dished"
	}
	return fmt.Sprintf("cookie kind %d", uint8(k))
}

// Costs are what mishaps and their prevention cost a studio, in its own money.
type Costs struct {
	GrindShelf   float64 // grinding a shelf clean and washing it again
	LoseShelf    float64 // a shelf
	LoseWare     float64 // the piece
	PlainCookie  float64 // a plain cookie with its trouble
	DishedCookie float64 // a dished cookie with its trouble
}

// DefaultCosts are common practice, no source.
var DefaultCosts = Costs{GrindShelf: 15, LoseShelf: 120, LoseWare: 30, PlainCookie: 2, DishedCookie: 5}

// MaxCost is the greatest cost of any kind.
const MaxCost = 1e6

// Check refuses costs below 0, above MaxCost and those that are not numbers.
func (c Costs) Check() error {
	for _, f := range []struct {
		field string
		value float64
	}{
		{"costs.grind_shelf", c.GrindShelf}, {"costs.lose_shelf", c.LoseShelf}, {"costs.lose_ware", c.LoseWare},
		{"costs.plain_cookie", c.PlainCookie}, {"costs.dished_cookie", c.DishedCookie},
	} {
		if !(f.value >= 0 && f.value <= MaxCost) {
			return &fault.Error{Field: f.field, Value: fmt.Sprint(f.value), Limit: "0 to 1e6"}
		}
	}
	return nil
}

// Sizes are the cookies that a studio makes, in m.
type Sizes struct{ Diameters, Thicknesses []float64 }

// DefaultSizes are ours: cookies are 6 to 12 mm thick and 10 to 20 mm wider than the foot (common practice, no source).
var DefaultSizes = Sizes{
	Diameters:   []float64{0.080, 0.100, 0.120, 0.150, 0.180, 0.220, 0.260, 0.300},
	Thicknesses: []float64{0.008, 0.012},
}

// Check refuses sizes of which there are none, and those beyond what is a cookie.
func (s Sizes) Check() error {
	for _, f := range []struct {
		field     string
		values    []float64
		low, high float64
	}{{"cookie diameters", s.Diameters, 0.020, 0.600}, {"cookie thicknesses", s.Thicknesses, 0.003, 0.050}} {
		if len(f.values) == 0 {
			return &fault.Error{Field: f.field, Value: "none", Limit: "at least one"}
		}
		for i, v := range f.values {
			if !(v >= f.low*(1-1e-9) && v <= f.high*(1+1e-9)) {
				return &fault.Error{Field: fmt.Sprintf("%s[%d]", f.field, i), Value: fmt.Sprintf("%g mm", 1e3*v), Limit: fmt.Sprintf("%g to %g mm", 1e3*f.low, 1e3*f.high)}
			}
		}
	}
	return nil
}

// Consequences of a mishap. Ours, no source, and coarse: the decision depends on their order, not on their digits.
const (
	wareLostOnShelf  = 0.7   // share of the pieces lost among those whose glaze welded them to a shelf
	wareLostOnCookie = 0.25  // the same for a cookie, which can be broken and ground away
	shelfLostVolume  = 20e-6 // m³; a volume V on a shelf costs the shelf with probability 1 - exp(-V/shelfLostVolume)

	cookieMargin  = 0.010 // m of cookie all round the foot, at least: common practice, no source
	dishDepth     = 0.005 // m, of a dished cookie
	underDish     = 0.006 // m of cookie below the dish
	wideCookie    = 0.200 // m, diameter from which a cookie needs thickerCookie
	thinCookie    = 0.006 // m, the least thickness of a narrower one
	thickerCookie = 0.010 // m, the least thickness of a wide one
)

// Cookie says what to put under a piece, and why.
type Cookie struct {
	Kind                CookieKind
	Diameter, Thickness float64 // m; 0 for none
	// Pool is the puddle that the 90th percentile of the overflow makes on a washed cookie, with the foot in its
	// middle.
	Pool film.Pool
	// Expected costs without a cookie, and with the smallest plain and the smallest dished one that is large enough.
	CostNone, CostPlain, CostDished float64
	// Spills is the probability that glaze gets past the cookie, or onto the shelf if there is none.
	Spills float64
	// TooSmall is true if no cookie that the studio makes holds the overflow that is exceeded with the tolerated
	// probability.
	TooSmall bool
	// Reason is the decision in a sentence.
	Reason string
}

// Decision holds everything that the choice of a cookie depends on.
type Decision struct {
	Overflow        *Overflow
	FootDiameter    float64 // m
	CapillaryLength float64 // of the melt, m
	Costs           Costs
	Sizes           Sizes
}

// Cookie chooses no cookie, a plain or a dished one: the one with the lowest expected cost. Its size holds the overflow
// that is exceeded with the tolerated probability, spread to a ring about the foot (film.SpreadAround), rounded up to a
// size that the studio makes. Errors are fault.Error values of costs, cookie sizes, the foot's diameter or the
// capillary length.
func (d *Decision) Cookie() (Cookie, error) {
	if err := d.Costs.Check(); err != nil {
		return Cookie{}, err
	}
	if err := d.Sizes.Check(); err != nil {
		return Cookie{}, err
	}
	var c Cookie
	var err error
	if c.Pool, err = d.spread(d.Overflow.P90); err != nil {
		return c, err
	}
	worst, err := d.spread(d.Overflow.Tolerated)
	if err != nil {
		return c, err
	}
	least := d.FootDiameter + 2*cookieMargin
	plain, plainFits := roundUp(d.Sizes.Diameters, max(least, worst.Diameter))
	// In a dish the ring stands as high as the rim and the puddle on top of that.
	puddle := film.PuddleThickness(d.CapillaryLength, film.ShelfAngle)
	dished, dishedFits := roundUp(d.Sizes.Diameters, max(least, math.Sqrt(d.FootDiameter*d.FootDiameter+4*d.Overflow.Tolerated/(math.Pi*(dishDepth+puddle)))))

	var spillsPlain, spillsDished float64
	c.CostNone, _ = d.cost(0, 0, wareLostOnShelf)
	c.CostPlain, spillsPlain = d.cost(d.Costs.PlainCookie, d.holds(plain, puddle), wareLostOnCookie)
	c.CostDished, spillsDished = d.cost(d.Costs.DishedCookie, d.holds(dished, dishDepth+puddle), wareLostOnCookie)
	c.Spills = d.Overflow.Passes
	c.TooSmall = !plainFits && !dishedFits
	switch {
	case c.CostNone <= c.CostPlain && c.CostNone <= c.CostDished:
	case c.CostPlain <= c.CostDished:
		c.Kind, c.Diameter, c.Spills = Plain, plain, spillsPlain
		c.Thickness, _ = roundUp(d.Sizes.Thicknesses, thicknessFor(plain))
	default:
		c.Kind, c.Diameter, c.Spills = Dished, dished, spillsDished
		c.Thickness, _ = roundUp(d.Sizes.Thicknesses, max(thicknessFor(dished), dishDepth+underDish))
	}
	c.Reason = d.reason(&c)
	return c, nil
}

func (d *Decision) spread(volume float64) (film.Pool, error) {
	return film.SpreadAround(volume, d.FootDiameter, d.CapillaryLength, film.ShelfAngle)
}

// holds is the volume (m³) that stays on a cookie around the foot when glaze stands on it to a height (m): π/4 (D² -
// d²) h.
func (d *Decision) holds(diameter, height float64) float64 {
	return math.Pi / 4 * max(diameter*diameter-d.FootDiameter*d.FootDiameter, 0) * height
}

// cost gives the expected cost of a piece on a cookie of a price that holds a volume (m³), and the probability that
// glaze gets past it:
//
//	cookie + Σ p [wareLost·ware + (grind + shelf (1 - exp(-(V-holds)/shelfLostVolume)) if V > holds)]
//
// wareLost is the share of pieces lost once glaze has welded them to the cookie; where glaze gets past it,
// wareLostOnShelf takes its place.
func (d *Decision) cost(cookie, holds, wareLost float64) (cost, spills float64) {
	cost = cookie
	for _, o := range d.Overflow.Volumes {
		lost := wareLost
		if past := o.Volume - holds; past > 0 {
			spills += o.Probability
			lost = wareLostOnShelf
			cost += o.Probability * (d.Costs.GrindShelf + d.Costs.LoseShelf*-math.Expm1(-past/shelfLostVolume))
		}
		cost += o.Probability * lost * d.Costs.LoseWare
	}
	return cost, spills
}

func thicknessFor(diameter float64) float64 {
	if diameter >= wideCookie {
		return thickerCookie
	}
	return thinCookie
}

// roundUp gives the smallest size that is at least need; if there is none, the largest size and false.
func roundUp(sizes []float64, need float64) (float64, bool) {
	best, found := 0., false
	for _, s := range sizes {
		if s >= need*(1-1e-9) && (!found || s < best) {
			best, found = s, true
		}
	}
	if !found {
		return slices.Max(sizes), false
	}
	return best, true
}

// reason puts the decision in a sentence.
func (d *Decision) reason(c *Cookie) string {
	chance := percent(d.Overflow.Passes)
	costs := fmt.Sprintf("expected costs are %.1f without a cookie, %.1f with a plain and %.1f with a dished one", c.CostNone, c.CostPlain, c.CostDished)
	var s string
	switch c.Kind {
	case None:
		s = fmt.Sprintf("No cookie: glaze passes the foot in %s of firings, and %s.", chance, costs)
	default:
		s = fmt.Sprintf("A %v cookie of %.0f mm, %.0f mm thick: glaze passes the foot in %s of firings, and %s.", c.Kind, 1e3*c.Diameter, 1e3*c.Thickness, chance, costs)
	}
	if c.TooSmall {
		s += fmt.Sprintf(" No cookie that the studio makes is large enough: glaze reaches the shelf in %s of firings.", percent(c.Spills))
	}
	return s
}

func percent(p float64) string {
	switch {
	case p < 0.001:
		return "less than 0.1 %"
	case p < 0.1:
		return fmt.Sprintf("%.1f %%", 100*p)
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}
