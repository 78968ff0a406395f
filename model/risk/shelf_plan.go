package risk

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// MaxShelves is the greatest number of shelves in a kiln.
const MaxShelves = 20

// Piece is a number of like pieces in a kiln load.
type Piece struct {
	Label     string
	Count     int     // 1 to 1000
	Shelf     int     // from the bottom, 1 to MaxShelves; 0: not decided
	Exceed    float64 // probability of exceeding the clearance
	Word      Word
	Overflow  Overflow
	Cookie    Cookie
	Tolerated float64 // probability that is tolerated
}

// Line is the advice for one piece of a shelf plan.
type Line struct {
	Index   int  // of the piece as given
	KeepLow bool // stand it below all other ware
	LeaveBe bool // do not fire it as it is
	Advice  string
}

// CookieCount is how many cookies of a kind and size (m) to make.
type CookieCount struct {
	Kind                CookieKind
	Diameter, Thickness float64
	Count               int
}

// ShelfPlan says where to put the pieces of a kiln load and which cookies to make.
type ShelfPlan struct {
	Lines        []Line        // the riskiest first
	Cookies      []CookieCount // by kind, then diameter and thickness
	TotalCookies int
	// ExpectedOverFoot is the expected number of pieces whose glaze passes the foot.
	ExpectedOverFoot float64
	// ExpectedCost is what the load is expected to cost with the cookies of the plan.
	ExpectedCost float64
	Warnings     []string
}

// PlanShelves plans a kiln load. Keep a piece low when its risk is high or severe, or when glaze gets past its cookie
// with more than the tolerated probability: it could then drip over the edge of a shelf. Do not fire a piece as it is
// when its risk is severe and no cookie that the studio makes holds the glaze. The error is a fault.Error of pieces.
func PlanShelves(pieces []Piece) (ShelfPlan, error) {
	if len(pieces) == 0 {
		return ShelfPlan{}, &fault.Error{Field: "pieces", Value: "none", Limit: "at least 1"}
	}
	var p ShelfPlan
	counts := map[CookieCount]int{}
	for i := range pieces {
		q := &pieces[i]
		if err := q.check(i); err != nil {
			return ShelfPlan{}, err
		}
		n := float64(q.Count)
		p.ExpectedOverFoot += n * q.Overflow.Passes
		p.ExpectedCost += n * q.cost()
		if q.Cookie.Kind != None {
			counts[CookieCount{Kind: q.Cookie.Kind, Diameter: q.Cookie.Diameter, Thickness: q.Cookie.Thickness}] += q.Count
			p.TotalCookies += q.Count
		}
		line := Line{
			Index:   i,
			KeepLow: q.Word >= High || q.Cookie.Spills > q.Tolerated,
			LeaveBe: q.Word == Severe && q.Cookie.TooSmall,
		}
		below := standsBelow(pieces, q)
		line.Advice = q.advice(&line, below)
		if line.KeepLow && len(below) > 0 {
			p.Warnings = append(p.Warnings, fmt.Sprintf("Glaze that drips from %s on shelf %d falls on %s.", q.Label, q.Shelf, names(below)))
		}
		if line.LeaveBe {
			p.Warnings = append(p.Warnings, fmt.Sprintf("Do not fire %s as it is: no cookie that the studio makes holds the glaze that may run off.", q.Label))
		}
		p.Lines = append(p.Lines, line)
	}
	slices.SortStableFunc(p.Lines, func(a, b Line) int {
		x, y := &pieces[a.Index], &pieces[b.Index]
		return cmp.Or(cmp.Compare(y.Exceed, x.Exceed), cmp.Compare(y.Overflow.Expected, x.Overflow.Expected))
	})
	for c, n := range counts {
		c.Count = n
		p.Cookies = append(p.Cookies, c)
	}
	slices.SortFunc(p.Cookies, func(a, b CookieCount) int {
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.Diameter, b.Diameter), cmp.Compare(a.Thickness, b.Thickness))
	})
	return p, nil
}

func (q *Piece) check(i int) error {
	field := func(name string) string { return fmt.Sprintf("pieces[%d].%s", i, name) }
	switch {
	case q.Label == "":
		return &fault.Error{Field: field("label"), Value: "empty", Limit: "a name"}
	case q.Count < 1 || q.Count > 1000:
		return &fault.Error{Field: field("count"), Value: fmt.Sprint(q.Count), Limit: "1 to 1000"}
	case q.Shelf < 0 || q.Shelf > MaxShelves:
		return &fault.Error{Field: field("shelf"), Value: fmt.Sprint(q.Shelf), Limit: fmt.Sprintf("0 to %d", MaxShelves)}
	case !(q.Exceed >= 0 && q.Exceed <= 1):
		return &fault.Error{Field: field("exceed"), Value: fmt.Sprint(q.Exceed), Limit: "0 to 1"}
	case !(q.Overflow.Passes >= 0 && q.Overflow.Passes <= 1):
		return &fault.Error{Field: field("overflow.passes"), Value: fmt.Sprint(q.Overflow.Passes), Limit: "0 to 1"}
	}
	return nil
}

// cost is what the piece is expected to cost with its cookie.
func (q *Piece) cost() float64 {
	switch q.Cookie.Kind {
	case Plain:
		return q.Cookie.CostPlain
	case Dished:
		return q.Cookie.CostDished
	}
	return q.Cookie.CostNone
}

// standsBelow lists what stands on a lower shelf.
func standsBelow(pieces []Piece, q *Piece) []string {
	var labels []string
	for i := range pieces {
		if o := &pieces[i]; o.Shelf > 0 && o.Shelf < q.Shelf && !slices.Contains(labels, o.Label) {
			labels = append(labels, o.Label)
		}
	}
	return labels
}

func (q *Piece) advice(line *Line, below []string) string {
	var parts []string
	if line.LeaveBe {
		parts = append(parts, "Do not fire it as it is: use less glaze or a higher band, or fire a test tile first.")
	}
	switch q.Cookie.Kind {
	case None:
		parts = append(parts, "No cookie.")
	default:
		parts = append(parts, fmt.Sprintf("A %v cookie of %.0f mm, %.0f mm thick.", q.Cookie.Kind, 1e3*q.Cookie.Diameter, 1e3*q.Cookie.Thickness))
	}
	switch {
	case line.KeepLow && len(below) > 0:
		parts = append(parts, fmt.Sprintf("Move it to the lowest shelf; on shelf %d it stands above %s.", q.Shelf, names(below)))
	case line.KeepLow:
		parts = append(parts, "Stand it on the lowest shelf, with nothing below it.")
	}
	return strings.Join(parts, " ")
}

// names joins labels, the first few of them.
func names(labels []string) string {
	const few = 3
	if n := len(labels) - few; n > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(labels[:few], ", "), n)
	}
	return strings.Join(labels, ", ")
}
