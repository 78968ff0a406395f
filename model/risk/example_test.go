package risk_test

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/risk"
)

func ExampleThresholds_Word() {
	fmt.Println(risk.DefaultThresholds.Word(0.04), risk.DefaultThresholds.Word(0.30))
	// Output: RISK_LOW RISK_HIGH
}

// What to put under an invented vase with a foot of 80 mm, if 2 cm³ of glaze come over the foot in 31 firings of a
// hundred. By hand: on the bare shelf that is expected to cost 0.31 (15 + 120 (1 - exp(-2/20)) + 0.7·30) = 14.7, on a
// plain cookie 2 + 0.31·0.25·30 = 4.3, on a dished one 5 + 2.3.
func ExampleDecision_Cookie() {
	const volume = 2e-6 // m³
	overflow := risk.Overflow{
		Passes: 0.31, Expected: 0.31 * volume, P90: volume, Tolerated: volume,
		Volumes: []risk.WeightedVolume{{Probability: 0.31, Volume: volume}},
	}
	d := risk.Decision{
		Overflow: &overflow, FootDiameter: 0.080, CapillaryLength: film.CapillaryLength(0.30, 2400),
		Costs: risk.DefaultCosts, Sizes: risk.DefaultSizes,
	}
	c, err := d.Cookie()
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(c.Reason)
	// Output: A plain cookie of 100 mm, 8 mm thick: glaze passes the foot in 31 % of firings, and expected costs are 14.7 without a cookie, 4.3 with a plain and 7.3 with a dished one.
}

// What comes over the foot of a wall when the median drive is the one at which the front is there: half of all firings
// pass it.
func ExampleOverflowOf() {
	wall := bareWall{band: 0.060, clearance: 0.030}
	drive := calib.Prediction{LnPhysics: math.Log(wall.Drive(wall.clearance)), Scale: 0.7, DF: 6}
	f, err := risk.OverflowOf(&drive, wall, 0.5e-3, 0.05)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("passes in %.0f %% of firings\n", 100*f.Passes)
	// Output: passes in 50 % of firings
}

// bareWall is a wall of 0.1 m in width on which what has passed the foot is as thick as the band.
type bareWall struct{ band, clearance float64 }

func (w bareWall) Clearance() float64        { return w.clearance }
func (w bareWall) Drive(run float64) float64 { return film.Drive(run, w.band) }
func (w bareWall) Overflow(drive, thickness float64) float64 {
	return 0.1 * thickness * max(film.Run(drive, w.band)-w.clearance, 0)
}
