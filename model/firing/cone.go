package firing

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"github.com/catchline/catchline/model/fault"
)

// zeroCelsius is 0 °C in K.
const zeroCelsius = 273.15

// ConeType is the size of a pyrometric cone; the sizes differ in their end points.
type ConeType uint8

// The types of cones that the published table knows.
const (
	Large ConeType = iota
	SelfSupporting
	Small
	numConeTypes
)

var coneTypeNames = [numConeTypes]string{"large", "self-supporting", "small"}

// String gives the name in words, such as "self-supporting".
func (t ConeType) String() string {
	if t >= numConeTypes {
		return "ConeType(" + strconv.Itoa(int(t)) + ")"
	}
	return coneTypeNames[t]
}

// Limits of the rate of heating at which a cone has an end point, °C/h.
const (
	MinRampCPerHour = 5
	MaxRampCPerHour = 600
)

// knot is one published end point.
type knot struct {
	rate   float64 // °C/h over the last 100 °C
	kelvin float64
}

// coneTable holds the published end points.
type coneTable struct {
	names []string                        // in order of rising heat work
	knots map[string][numConeTypes][]knot // by name; rates ascend
}

// cone_endpoints.csv holds the end points of the cones at the published rates, in °C as the source rounds them.
//
//go:embed cone_endpoints.csv
var coneEndpointsCSV string

var loadCones = sync.OnceValue(func() *coneTable {
	rows, err := csv.NewReader(strings.NewReader(coneEndpointsCSV)).ReadAll()
	if err != nil {
		panic("firing: cone_endpoints.csv: " + err.Error())
	}
	c := &coneTable{knots: map[string][numConeTypes][]knot{}}
	for _, row := range rows[1:] {
		name := row[0]
		rate, err1 := strconv.ParseFloat(row[2], 64)
		celsius, err2 := strconv.ParseFloat(row[3], 64)
		if err1 != nil || err2 != nil {
			panic("firing: cone_endpoints.csv: bad number for cone " + name)
		}
		byType, seen := c.knots[name]
		if !seen {
			c.names = append(c.names, name)
		}
		for t, n := range coneTypeNames {
			if n == row[1] {
				byType[t] = append(byType[t], knot{rate, celsius + zeroCelsius})
			}
		}
		c.knots[name] = byType
	}
	return c
})

// Cones lists the names of the cones as the table writes them, from the coolest (022) to the hottest (14).
func Cones() []string { return append([]string{}, loadCones().names...) }

// ConeEndpoint gives the temperature (K) at which a cone goes down when the last 100 °C are fired at a rate of 5 to 600
// °C/h. Between the published rates it is linear in the logarithm of the rate, as for a thermally activated process.
// extrapolated is true if the rate lies outside the published ones:
//   - self-supporting: published for 15, 60 and 150 °C/h (022 to 020: 60 and 150);
//   - large: published for 60 and 150 °C/h; below, it follows the self-supporting cone;
//   - small: published for 300 °C/h only; elsewhere it follows the self-supporting cone.
//
// Source: see the column source of cone_endpoints.csv. The published end point of the large cone 14 falls from 60 to
// 150 °C/h, which no cone does: that cone is refused. Errors are fault.Error values of cone, cone_type and
// final_ramp_c_per_h.
func ConeEndpoint(cone string, typ ConeType, rateCPerHour float64) (kelvin float64, extrapolated bool, err error) {
	if typ >= numConeTypes {
		return 0, false, &fault.Error{Field: "cone_type", Value: typ.String(), Limit: "large, self-supporting or small"}
	}
	if !(rateCPerHour >= MinRampCPerHour && rateCPerHour <= MaxRampCPerHour) {
		return 0, false, outside("final_ramp_c_per_h", rateCPerHour, MinRampCPerHour, MaxRampCPerHour)
	}
	c := loadCones()
	byType, ok := c.knots[cone]
	if !ok {
		return 0, false, &fault.Error{Field: "cone", Value: quoted(cone), Limit: "a cone from 022 to 14 as it is written; nearest: " + c.nearest(cone)}
	}
	knots, follow := byType[typ], byType[SelfSupporting]
	if len(knots) == 0 {
		return 0, false, &fault.Error{Field: "cone", Value: fmt.Sprintf("%s, %s", quoted(cone), typ), Limit: "a cone that is made as " + typ.String()}
	}
	for i := 1; i < len(knots); i++ {
		if knots[i].kelvin < knots[i-1].kelvin {
			return 0, false, &fault.Error{Field: "cone", Value: fmt.Sprintf("%s, %s", quoted(cone), typ),
				Limit: "a cone whose published end point rises with the rate, or this cone as self-supporting"}
		}
	}
	first, last := knots[0], knots[len(knots)-1]
	switch {
	case rateCPerHour == first.rate:
		return first.kelvin, false, nil
	case rateCPerHour >= first.rate && rateCPerHour <= last.rate:
		return alongRate(knots, rateCPerHour), false, nil
	case typ == Large && rateCPerHour > last.rate:
		return alongRate(knots, rateCPerHour), true, nil
	default:
		// For the self-supporting cone itself the two last terms are its own extrapolation.
		return first.kelvin + alongRate(follow, rateCPerHour) - alongRate(follow, first.rate), true, nil
	}
}

// alongRate interpolates an end point (K) linearly in the logarithm of the rate, and extrapolates beyond the knots
// along the outermost line. There are at least two knots.
func alongRate(knots []knot, rate float64) float64 {
	i := 1
	for i < len(knots)-1 && rate > knots[i].rate {
		i++
	}
	a, b := knots[i-1], knots[i]
	return a.kelvin + (b.kelvin-a.kelvin)*math.Log(rate/a.rate)/math.Log(b.rate/a.rate)
}

// nearest names up to three cones next to one that the table does not have.
func (c *coneTable) nearest(cone string) string {
	number, err := ParseConeNumber(strings.TrimSpace(cone))
	if err != nil {
		return "06, 6, 10"
	}
	best := 0
	for i, name := range c.names {
		if math.Abs(coneNumber(name)-number) < math.Abs(coneNumber(c.names[best])-number) {
			best = i
		}
	}
	from := min(max(best-1, 0), len(c.names)-3)
	return strings.Join(c.names[from:from+3], ", ")
}

// outside is the error of a number outside its limits.
func outside(field string, value, low, high float64) error {
	return &fault.Error{Field: field, Value: number(value), Limit: number(low) + " to " + number(high)}
}

// number writes a value for an error in full.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// quoted writes a text for an error, cut so that a hostile one cannot fill it.
func quoted(s string) string {
	const longest = 40
	if len(s) > longest {
		return strconv.Quote(s[:longest]) + "..."
	}
	return strconv.Quote(s)
}
