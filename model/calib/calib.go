// Package calib corrects the physics of glaze flow by a studio's own logged tiles.
//
// A tile is one firing of one layering whose run was measured. Its run, inverted through the front law, shows the
// drive X = H²M in metres (H the glaze's thickness, M its mobility over the firing); the physics computed another.
// The regression works on the difference of their natural logarithms,
//
//	y = ln X(observed) - ln X(physics) = x·β + Σ share·u(glaze) + Σ share·u(lot) + u(pair) + u(kiln) + u(body) + u(tester) + x·u(bead) + ε
//
// so that what is learnt adds where the physics multiplies, and a predicted run can never be negative.
//
//   - β are fixed effects (Features) with normal priors; u are group effects, shrunk to zero by variances found by
//     marginal likelihood; a group with one tile leans on the rest.
//   - u(bead) is by how much the bead at the edge of a body is smaller than it was taken for when the run was inverted, in ln; x = ∂ln X/∂ln A at that run. So it counts for
//     short runs and not for long ones, and where it counts differently the tiles tell it from u(body).
//   - ε is Student-t with degrees of freedom chosen by likelihood, so that one bad tile does not bend the rest. Its
//     scale joins the tile-to-tile noise of the studio, the tile's own reading error and the physics' own error.
//   - Tiles that ran off, did not move, or were read as an interval are censored: they enter by the probability of
//     what was seen, not by a number.
//
// The mode of the posterior is found by Newton's method on the exact likelihood, falling back to expectation and
// maximisation (which cannot go downhill) where a Newton step would not climb. At the mode the problem is a weighted
// least-squares problem of tile rows and prior rows. All its rows go through a thin QR, block by block, and the rows of
// R are handed to github.com/sajari/regression, see r_factor.go. Covariances come from the same R (Laplace's
// approximation: exact when nothing is censored and the errors are normal).
//
// Nothing here reads a clock, a file or a random number: the same tiles give the same bits.
//
// What is known of a layering and a tile stands in calib.go and prior.go, its row of the design matrix in design.go.
// Then
//
//	fit      fit.go, likelihood.go, posterior_mode.go, variance_components.go, r_factor.go
//	predict  subject.go, combination.go, predict.go, evidence.go, index.go; joint.go for several at once
//	record   judge.go, record.go, diagnostics.go
//
// and encode.go stores it all. They are one package because they share one thing, rows and R: a tile is judged by a
// prediction before a fit learns from it, and a fit brings its record with it. What stands alone, Student's t, is a
// package of its own.
package calib

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Share is how much of one named group there is in a layering.
type Share struct {
	Name   string
	Weight float64 // 0 < Weight <= 1; for a glaze, its share of the layering's mobility
	// PriorSD is the standard deviation of ln(drive) that the physics itself admits for this group, beyond what the
	// studio's groups of this kind differ by: for a glaze that is only described, that of its ln(viscosity).
	// 0 where there is nothing to say; at most 5.
	PriorSD float64
}

// Features are the fixed effects of a layering in a firing. The zero value of each means "nothing to say".
type Features struct {
	Reduction   float64 // 0 oxidation to 1 full reduction
	ConeExcess  float64 // equivalent cone of the firing less the cone that the glazes are made for, -30 to 30
	LnThickness float64 // ln of the total fired thickness in metres, -14 to -2; 0 means unknown and is read as 0.5 mm
	LnContrast  float64 // ln η(over) - ln η(under) at the firing's reference temperature, -80 to 80; 0 for one glaze
	Stirring    float64 // d ln(drive) / d ln(stirring factor of the mixed zones), -5 to 5; 0 for one glaze
	Layered     float64 // 0 one glaze alone to 1 two that have equal parts in the drive, or more
	Matte       float64 // share of matte or crystallising glazes, 0 to 1
	LnCooling   float64 // ln of the cooling rate near the peak over 150 K/h, -8 to 8
	Described   float64 // share of glazes known by description only, 0 to 1
}

// Conditions are what the regression sees of one layering in one firing.
type Conditions struct {
	LnPhysics float64 // ln of the drive X in metres by the physics, -80 to 20
	PhysicsSD float64 // standard deviation of LnPhysics that belongs to this piece alone (thickness, temperature), 0 to 5
	Features  Features
	Glazes    []Share // at least one; weights sum to at most 1
	Lots      []Share // lots of those glazes, named uniquely over glazes; may be empty
	Pair      Share   // the glaze pair that mixes; no name for a glaze alone
	// Bead is the body whose edge the front has to wet, and how much the drive that a run shows depends on the bead
	// there: ∂ln X/∂ln A at the run that was read, at its limit for what is censored. No name where it does not.
	Bead   Share
	Kiln   string // these three may be empty: unknown
	Body   string
	Tester string
}

// Outcome says what kind of reading a tile gave.
type Outcome uint8

// The kinds of reading.
const (
	Measured   Outcome = iota // a number with an error
	Between                   // between two numbers
	RanOff                    // at least the bare length
	DidNotMove                // at most what can be read
)

// Reading is the outcome of a tile, as ln of the drive in metres that the front law says would give it, and in
// millimetres as it was read, for sentences. Make it by ReadRun, Read, ReadBetween, ReadAtLeast or ReadAtMost.
type Reading struct {
	Outcome Outcome
	Low     float64 // ln drive; Measured: the value; Between: the lower end; RanOff: at least this; DidNotMove: -Inf
	High    float64 // ln drive; Measured: the value; Between: the upper end; RanOff: +Inf; DidNotMove: at most this
	SD      float64 // reading error in ln drive, 0 to 5
	LowMM   float64 // millimetres, as Low
	HighMM  float64 // millimetres, as High
}

// Read is a measured run of mm millimetres, whose ln drive is lnX with reading error sd.
func Read(lnX, sd, mm float64) Reading {
	return Reading{Outcome: Measured, Low: lnX, High: lnX, SD: sd, LowMM: mm, HighMM: mm}
}

// A run of less than shortRun reading errors is taken as an interval of halfWidth reading errors to either side,
// which is the uniform distribution of the same standard deviation. As a number with an error in ln drive it would
// bias the fit: a run that was read too short would get a large error, one that was read too long a small one.
const (
	shortRun  = 5
	halfWidth = 1.7320508075688772 // √3
)

// ReadRun is a measured run of runMM millimetres with a reading error of errorMM (standard deviation, more than 0).
// lnDrive turns millimetres of run on that tile into ln drive; it must rise.
func ReadRun(runMM, errorMM float64, lnDrive func(mm float64) float64) Reading {
	if runMM >= shortRun*errorMM {
		return Read(lnDrive(runMM), (lnDrive(runMM+errorMM)-lnDrive(runMM-errorMM))/2, runMM)
	}
	low, high := math.Max(runMM-halfWidth*errorMM, errorMM/100), runMM+halfWidth*errorMM
	r := ReadBetween(lnDrive(low), lnDrive(high), 0, low, high)
	r.LowMM, r.HighMM = runMM, runMM // as it was read
	return r
}

// ReadBetween is a run read as an interval.
func ReadBetween(lnLow, lnHigh, sd, lowMM, highMM float64) Reading {
	return Reading{Outcome: Between, Low: lnLow, High: lnHigh, SD: sd, LowMM: lowMM, HighMM: highMM}
}

// ReadAtLeast is a run off the bottom: at least the bare length of mm millimetres.
func ReadAtLeast(lnX, sd, mm float64) Reading {
	return Reading{Outcome: RanOff, Low: lnX, High: math.Inf(1), SD: sd, LowMM: mm, HighMM: math.Inf(1)}
}

// ReadAtMost is a glaze that did not move: at most the reading limit of mm millimetres.
func ReadAtMost(lnX, sd, mm float64) Reading {
	return Reading{Outcome: DidNotMove, Low: math.Inf(-1), High: lnX, SD: sd, LowMM: 0, HighMM: mm}
}

// String says the reading in words.
func (r Reading) String() string {
	switch r.Outcome {
	case Between:
		if r.LowMM == r.HighMM {
			return fmt.Sprintf("ran %s mm", mm(r.LowMM))
		}
		return fmt.Sprintf("ran %s to %s mm", mm(r.LowMM), mm(r.HighMM))
	case RanOff:
		return fmt.Sprintf("ran off, at least %s mm", mm(r.LowMM))
	case DidNotMove:
		return fmt.Sprintf("did not move, at most %s mm", mm(r.HighMM))
	default:
		return fmt.Sprintf("ran %s mm", mm(r.LowMM))
	}
}

// mm writes a length as a person would: tenths below ten.
func mm(v float64) string {
	if v < 9.95 {
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.0f", v)
}

// Tile is one logged tile.
type Tile struct {
	Name  string // unique in a log
	Order int64  // its place in time: tiles of a lower order were known earlier
	Conditions
	Reading Reading
	Cone    string // label under which diagnostics gather it; may be empty
	// Clearance is the ln drive at which the run would have used up the clearance of this tile or ware, for the
	// record of 'exceeds clearance'; nil where there is none.
	Clearance *float64
}

// limits of what is taken as data, in ln units: e^±80 is far outside anything that flows.
const (
	maxLnDrive = 80
	maxSD      = 5
)

func badNumber(field string, v, low, high float64) error {
	if v >= low && v <= high { // false for NaN
		return nil
	}
	return &fault.Error{Field: field, Value: fmt.Sprint(v), Limit: fmt.Sprintf("%g to %g", low, high)}
}

// check reports the first fault of the conditions, naming fields under prefix.
func (c *Conditions) check(prefix string) error {
	if err := checkNumbers(prefix, c.LnPhysics, c.PhysicsSD, &c.Features); err != nil {
		return err
	}
	if len(c.Glazes) == 0 {
		return &fault.Error{Field: prefix + "glazes", Value: "empty", Limit: "at least one glaze"}
	}
	if err := checkShares(prefix, "glazes", c.Glazes); err != nil {
		return err
	}
	if err := checkShares(prefix, "lots", c.Lots); err != nil {
		return err
	}
	if c.Pair.Name != "" {
		if err := c.Pair.check(prefix + "pair"); err != nil {
			return err
		}
	}
	if c.Bead.Name != "" {
		return c.Bead.check(prefix + "bead")
	}
	return nil
}

// numberLimits are those of what conditions hold besides groups, in the order in which checkNumbers goes.
var numberLimits = [...]struct {
	field     string
	low, high float64
}{
	{"ln_physics", -maxLnDrive, maxLnDrive},
	{"physics_sd", 0, maxSD},
	{"features.reduction", 0, 1},
	{"features.cone_excess", -30, 30},
	{"features.ln_thickness", -14, 0},
	{"features.ln_contrast", -80, 80},
	{"features.stirring", -5, 5},
	{"features.layered", 0, 1},
	{"features.matte", 0, 1},
	{"features.ln_cooling", -8, 8},
	{"features.described", 0, 1},
}

// checkNumbers checks what conditions hold besides groups.
func checkNumbers(prefix string, lnPhysics, physicsSD float64, f *Features) error {
	for i, v := range [len(numberLimits)]float64{lnPhysics, physicsSD, f.Reduction, f.ConeExcess, f.LnThickness, f.LnContrast, f.Stirring, f.Layered,
		f.Matte, f.LnCooling, f.Described} {
		if l := &numberLimits[i]; !(v >= l.low && v <= l.high) {
			return badNumber(prefix+l.field, v, l.low, l.high)
		}
	}
	return nil
}

// rounding is how far over 1 a sum of weights may come out.
const rounding = 1e-6

func (s *Share) check(at string) error {
	if s.Name == "" {
		return &fault.Error{Field: at + ".name", Value: "empty", Limit: "a name"}
	}
	if !(s.Weight > 0 && s.Weight <= 1+rounding) {
		return &fault.Error{Field: at + ".weight", Value: fmt.Sprint(s.Weight), Limit: "more than 0 and at most 1"}
	}
	if !(s.PriorSD >= 0 && s.PriorSD <= maxSD) {
		return badNumber(at+".prior_sd", s.PriorSD, 0, maxSD)
	}
	return nil
}

func checkShares(prefix, field string, shares []Share) error {
	sum := 0.0
	for i := range shares {
		if shares[i].check("") != nil {
			return shares[i].check(fmt.Sprintf("%s%s[%d]", prefix, field, i))
		}
		sum += shares[i].Weight
	}
	if sum > 1+rounding {
		return &fault.Error{Field: prefix + field, Value: fmt.Sprintf("weights that sum to %g", sum), Limit: "a sum of at most 1"}
	}
	return nil
}

// check reports the first fault of the reading.
func (r *Reading) check(prefix string) error {
	if err := badNumber(prefix+"sd", r.SD, 0, maxSD); err != nil {
		return err
	}
	hasLow, hasHigh := true, true
	switch r.Outcome {
	case Measured:
		if r.Low != r.High {
			return &fault.Error{Field: prefix + "high", Value: fmt.Sprint(r.High), Limit: "the same as low for a measured run"}
		}
	case Between:
		if !(r.Low < r.High) {
			return &fault.Error{Field: prefix + "high", Value: fmt.Sprint(r.High), Limit: fmt.Sprintf("more than low, %g", r.Low)}
		}
	case RanOff:
		hasHigh = false
	case DidNotMove:
		hasLow = false
	default:
		return &fault.Error{Field: prefix + "outcome", Value: fmt.Sprint(r.Outcome), Limit: "measured, between, ran off or did not move"}
	}
	if hasLow {
		if err := badNumber(prefix+"low", r.Low, -maxLnDrive, maxLnDrive); err != nil {
			return err
		}
	} else if !math.IsInf(r.Low, -1) {
		return &fault.Error{Field: prefix + "low", Value: fmt.Sprint(r.Low), Limit: "minus infinity for a glaze that did not move"}
	}
	if hasHigh {
		return badNumber(prefix+"high", r.High, -maxLnDrive, maxLnDrive)
	} else if !math.IsInf(r.High, 1) {
		return &fault.Error{Field: prefix + "high", Value: fmt.Sprint(r.High), Limit: "infinity for a run off the bottom"}
	}
	return nil
}

// Check reports the first fault of the tile as a *fault.Error.
func (t *Tile) Check() error { return t.checkAs("tile.") }

func (t *Tile) checkAs(prefix string) error {
	if t.Name == "" {
		return &fault.Error{Field: prefix + "name", Value: "empty", Limit: "a name"}
	}
	if err := t.Conditions.check(prefix); err != nil {
		return err
	}
	if err := t.Reading.check(prefix + "reading."); err != nil {
		return err
	}
	if t.Clearance != nil {
		return badNumber(prefix+"clearance", *t.Clearance, -maxLnDrive, maxLnDrive)
	}
	return nil
}

// Check reports the first fault of the conditions as a *fault.Error.
func (c *Conditions) Check() error { return c.check("conditions.") }
