package firing

import (
	"math"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// A cone number puts all cones on one rising scale. Cone 6 is 6; cones with a nought count downwards from 01, so cone
// 0n is 1-n: 01 is 0, 02 is -1, 022 is -21, 05.5 is -4.5. Between two neighbours it is linear in the logarithm of heat
// work.

// Ends of the scale: cone 022 and cone 14.
const (
	MinConeNumber = -21
	MaxConeNumber = 14
)

// ParseConeNumber reads a cone as people write it, or a reading between two cones: "6", "06", "05.5", "6.3", from 022
// to 14. Between 01 and 1 the noughts go on counting: "00.4" is 0.6. The error is a fault.Error of cone.
func ParseConeNumber(s string) (float64, error) {
	fault := &fault.Error{Field: "cone", Value: quoted(s), Limit: `a cone from "022" to "14", or a reading in between such as "6.3"`}
	if len(s) > 5 || strings.Trim(s, "0123456789.") != "" {
		return 0, fault
	}
	digits, nought := strings.CutPrefix(s, "0")
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil || strings.HasPrefix(digits, ".") || strings.HasSuffix(digits, ".") {
		return 0, fault
	}
	if nought {
		if !(v > 0 && v <= 1-MinConeNumber) {
			return 0, fault
		}
		return 1 - v, nil
	}
	if !(v >= 1 && v <= MaxConeNumber) {
		return 0, fault
	}
	return v, nil
}

// coneNumber is ParseConeNumber for names that the table holds.
func coneNumber(name string) float64 {
	v, err := ParseConeNumber(name)
	if err != nil {
		panic("firing: " + err.Error())
	}
	return v
}

// FormatConeNumber writes a cone number, to one decimal, as people write cones: 6.31 is "6.3", 6 is "6", -4.5 is
// "05.5", -5 is "06".
func FormatConeNumber(c float64) string {
	tenths := math.Round(c * 10)
	if tenths >= 10 {
		return strconv.FormatFloat(tenths/10, 'f', -1, 64)
	}
	return "0" + strconv.FormatFloat((10-tenths)/10, 'f', -1, 64)
}
