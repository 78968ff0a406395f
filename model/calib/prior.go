package calib

import (
	"fmt"
	"math"

	"github.com/catchline/catchline/model/fault"
)

// Normal is a normal prior of a fixed effect, in ln drive per unit of its column.
type Normal struct{ Mean, SD float64 }

// LogNormal is a prior of a standard deviation: its logarithm is normal around ln(Median) with standard deviation LnSD.
// An infinite LnSD is flat in the logarithm; then Median is only where the search starts.
type LogNormal struct{ Median, LnSD float64 }

// Effect numbers the fixed effects, the columns of x.
type Effect int

// The fixed effects.
const (
	Common     Effect = iota // 1: this kiln, this hand, this melt model
	Reduction                // Features.Reduction
	ConeExcess               // Features.ConeExcess
	Thickness                // ln(thickness / 0.5 mm)
	Order                    // tanh(LnContrast/2): a stiffer glaze over a more fluid one is positive, and the other way round
	Contrast                 // |tanh(LnContrast/2)|
	Stirring                 // Features.Stirring: its coefficient is the correction of ln(stirring factor)
	Layered                  // Features.Layered: what pairs do on average beyond their blends
	Matte                    // Features.Matte
	Cooling                  // Features.LnCooling
	Described                // Features.Described
	NumEffects
)

var effectNames = [NumEffects]string{"common", "reduction", "cone excess", "thickness", "order", "contrast", "stirring",
	"layered", "matte", "cooling", "described"}

func (e Effect) String() string {
	if e < 0 || e >= NumEffects {
		return fmt.Sprintf("effect %d", int(e))
	}
	return effectNames[e]
}

// Factor numbers the groupings whose effects are shrunk.
type Factor int

// The groupings.
const (
	Glaze Factor = iota
	Lot
	Pair
	Kiln
	Body
	Tester
	Bead // of a body: by how much the section of the bead at its edge is smaller than it was taken for, in ln; weighed by Conditions.Bead
	NumFactors
)

var factorNames = [NumFactors]string{"glaze", "lot", "pair", "kiln", "body", "tester", "bead"}

func (f Factor) String() string {
	if f < 0 || f >= NumFactors {
		return fmt.Sprintf("factor %d", int(f))
	}
	return factorNames[f]
}

// Prior is what is believed before any tile. All standard deviations are of ln drive.
type Prior struct {
	Effects [NumEffects]Normal
	Spread  [NumFactors]LogNormal // how much the groups of a factor differ
	Noise   LogNormal             // scale of what tiles of one layering in one firing differ by, beyond reading and physics
	// Physics is the factor on the tiles' PhysicsSD. What the physics says of one piece alone is a guess of how even
	// coats and kilns are anywhere; how even they are here shows in the tiles. Without a tile it is its median.
	Physics LogNormal
	// DF are the degrees of freedom of the tiles' errors to choose from, each more than 2; +Inf is normal.
	DF []float64
}

// DefaultPrior is the prior of a studio of which nothing is known. The spreads are ours (no source): the physics of a
// whole studio good to a factor of about two, its hand included, and glazes that differ by half as much beyond what
// the melt model says of itself (Share.PriorSD). They are in ln drive, so 0.35 is about 40 % of a short run and 12 %
// of a long one.
func DefaultPrior() Prior {
	return Prior{
		Effects: [NumEffects]Normal{
			Common:     {0, 0.7},
			Reduction:  {0, 0.3},
			ConeExcess: {0, 0.1},
			Thickness:  {0, 0.4},
			Order:      {0, 0.3},
			Contrast:   {0, 0.3},
			Stirring:   {0, 1},
			Layered:    {0, 0.4},
			Matte:      {0, 0.5},
			Cooling:    {0, 0.2},
			Described:  {0, 0.3},
		},
		Spread: [NumFactors]LogNormal{
			Glaze:  {0.35, 0.5},
			Lot:    {0.15, 0.5},
			Pair:   {0.3, 0.5},
			Kiln:   {0.2, 0.5},
			Body:   {0.15, 0.5},
			Tester: {0.2, 0.5},
			Bead:   {0.4, 0.2}, // what the table of common practice leaves of it, see the program in model/film/prior
		},
		Noise:   LogNormal{0.3, 0.5},
		Physics: LogNormal{1, 0.5},
		DF:      []float64{3, 4, 6, 10, 30},
	}
}

func (p *Prior) check() error {
	for e, n := range p.Effects {
		if err := badNumber(fmt.Sprintf("prior.effects[%s].mean", Effect(e)), n.Mean, -10, 10); err != nil {
			return err
		}
		if err := badNumber(fmt.Sprintf("prior.effects[%s].sd", Effect(e)), n.SD, 1e-6, 1e6); err != nil {
			return err
		}
	}
	spreads := append(p.Spread[:len(p.Spread):len(p.Spread)], p.Noise, p.Physics)
	for i, s := range spreads {
		field := "prior.noise"
		if i == len(spreads)-1 {
			field = "prior.physics"
		}
		if i < int(NumFactors) {
			field = fmt.Sprintf("prior.spread[%s]", Factor(i))
		}
		if err := badNumber(field+".median", s.Median, 1e-3, 10); err != nil {
			return err
		}
		if !(s.LnSD > 0) {
			return &fault.Error{Field: field + ".ln_sd", Value: fmt.Sprint(s.LnSD), Limit: "more than 0"}
		}
	}
	if len(p.DF) == 0 {
		return &fault.Error{Field: "prior.df", Value: "empty", Limit: "at least one value"}
	}
	for i, v := range p.DF {
		if !(v > 2) {
			return &fault.Error{Field: fmt.Sprintf("prior.df[%d]", i), Value: fmt.Sprint(v), Limit: "more than 2"}
		}
	}
	return nil
}

// VarianceComponents are the fitted standard deviations of the effects and errors, in ln drive: the hyperparameters
// of the regression.
type VarianceComponents struct {
	Spread [NumFactors]float64 // of the effects of a factor's groups
	Noise  float64             // scale of the tiles' errors
	// Physics is the factor on what the physics says it does not know of one piece.
	Physics float64
	DF      float64 // degrees of freedom of the tiles' errors
}

// piece2 is the squared scale of what one piece differs by from the next of the same layering: noise, and the
// physics' own doubt of it.
func (v *VarianceComponents) piece2(physicsSD float64) float64 {
	p := v.Physics * physicsSD
	return v.Noise*v.Noise + p*p
}

// middle is the prior's own guess.
func (p *Prior) middle() VarianceComponents {
	v := VarianceComponents{Noise: p.Noise.Median, Physics: p.Physics.Median, DF: p.DF[len(p.DF)/2]}
	for f, s := range p.Spread {
		v.Spread[f] = s.Median
	}
	return v
}

// lnDensity of a standard deviation under its prior, as a density of its logarithm and up to a constant.
func (l LogNormal) lnDensity(sd float64) float64 {
	if math.IsInf(l.LnSD, 1) {
		return 0
	}
	z := math.Log(sd/l.Median) / l.LnSD
	return -0.5 * z * z
}

// referenceThickness is where the thickness effect is zero: about two brushed coats (common practice, no source).
const referenceThickness = 0.5e-3 // m

var lnReferenceThickness = math.Log(referenceThickness)

// columns of the fixed effects. Beyond a contrast of e⁴ more contrast changes nothing.
func (f *Features) columns() [NumEffects]float64 {
	lnH := f.LnThickness
	if lnH == 0 {
		lnH = lnReferenceThickness
	}
	order := math.Tanh(f.LnContrast / 2)
	return [NumEffects]float64{
		Common: 1, Reduction: f.Reduction, ConeExcess: f.ConeExcess, Thickness: lnH - lnReferenceThickness,
		Order: order, Contrast: math.Abs(order), Stirring: f.Stirring, Layered: f.Layered, Matte: f.Matte,
		Cooling: f.LnCooling, Described: f.Described,
	}
}
