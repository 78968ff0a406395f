package film

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/fault"
)

// HuppertSpacing is the distance in metres between the drips into which the front of a band of cross-section area
// (m², thickness times height) breaks: 7.5 (A^(1/2) γ/(ρ g sinθ))^(1/3) (Huppert 1982, Nature 300, 427-429, from
// memory). Surface tension in N/m, density in kg/m³.
func HuppertSpacing(area, surfaceTension, density, sinSlope float64) float64 {
	return 7.5 * math.Cbrt(math.Sqrt(area)*surfaceTension/(density*Gravity*sinSlope))
}

// TroianSpacing is the same from the thickness h (m) of the film behind the front: 14 h (3 Ca)^(-1/3), which is 14 (h
// γ/(ρ g sinθ))^(1/3), whatever the viscosity (Troian, Herbolzheimer, Safran & Joanny 1989, Europhys. Lett. 10, 25,
// from memory).
func TroianSpacing(h, surfaceTension, density, sinSlope float64) float64 {
	return 14 * math.Cbrt(h*surfaceTension/(density*Gravity*sinSlope))
}

// DripReading is a run on one tile read twice, in metres.
type DripReading struct{ Longest, MeanFront float64 }

// DripRatio is how much further the longest drip runs than the mean front, as a distribution of the logarithm of
// the ratio.
type DripRatio struct {
	Median  float64 // longest over mean, 1 or more
	MeanSD  float64 // standard deviation of ln Median: how well the studio's ratio is known
	Scatter float64 // standard deviation of ln ratio from piece to piece
	Tiles   int     // readings behind it
}

// The prior of the drip ratio on a tile is Usual.Drip; common practice (no source) has 1.3 to 4.5 for 80 % of tiles,
// of which the larger part is scatter from tile to tile. How the two parts share is ours.
const (
	priorDripSD      = 0.25
	priorDripScatter = 0.4
	// priorDripWeight is how many tiles the prior scatter counts for.
	priorDripWeight = 8
)

// DripsOn gives the drip ratio on a width in m, from that on a tile, which is tileWidth wide. The longest drip is the
// longest of as many as there is room for, so that it grows with the width as the expected greatest of so many normal
// numbers does (Blom 1958, Statistical Estimates and Transformed Beta-Variables, from memory); dripSpread is their
// standard deviation. It does not fall below 1.
func DripsOn(width, ratio float64) float64 {
	greatest := func(width float64) float64 {
		n := max(width/dripRoom, 1)
		return distuv.UnitNormal.Quantile((n - 0.375) / (n + 0.25))
	}
	return max(1, ratio*math.Exp(dripSpread*(greatest(width)-greatest(tileWidth))))
}

const (
	tileWidth  = 50e-3 // m
	dripRoom   = 24e-3 // m, the room of a drip: TroianSpacing of 0.35 mm of a usual melt
	dripSpread = 0.35  // standard deviation of ln of the drips of one piece, ours
)

// CalibrateDrips gives a studio's drip ratio from tiles that hold both readings; with none it is the prior. The mean of
// ln(longest/mean) is drawn towards the prior's as far as its own uncertainty asks (normal prior, normal scatter),
// and the scatter is pooled with the prior's.
func CalibrateDrips(readings []DripReading) (DripRatio, error) {
	prior := math.Log(Usual.Drip)
	sum := 0.
	logs := make([]float64, len(readings))
	for i, r := range readings {
		field := func(name string) string { return fmt.Sprintf("readings[%d].%s", i, name) }
		if !(r.MeanFront > 0 && r.MeanFront <= MaxProfileSize) {
			return DripRatio{}, &fault.Error{Field: field("mean front"), Value: number(1e3*r.MeanFront) + " mm", Limit: "more than 0 and at most 4000 mm"}
		}
		if !(r.Longest >= r.MeanFront && r.Longest <= MaxProfileSize) {
			return DripRatio{}, &fault.Error{Field: field("longest"), Value: number(1e3*r.Longest) + " mm", Limit: "not below the mean front, " + number(1e3*r.MeanFront) + " mm, and at most 4000 mm"}
		}
		logs[i] = math.Log(r.Longest / r.MeanFront)
		sum += logs[i]
	}
	n := float64(len(readings))
	squares := priorDripWeight * priorDripScatter * priorDripScatter
	for _, v := range logs {
		squares += (v - sum/n) * (v - sum/n)
	}
	variance := squares / (priorDripWeight + max(n-1, 0))
	precision := 1/(priorDripSD*priorDripSD) + n/variance
	mean := (prior/(priorDripSD*priorDripSD) + sum/variance) / precision
	return DripRatio{math.Exp(max(mean, 0)), 1 / math.Sqrt(precision), math.Sqrt(variance), len(readings)}, nil
}
