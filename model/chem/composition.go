package chem

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// MaxParts is the largest number of lines of a recipe, an analysis or a formula.
const MaxParts = 64

// maxAmount bounds a single amount so that no sum can overflow.
const maxAmount = 1e9

// Part is one line of a recipe, an analysis or a formula.
type Part struct {
	Name   string  // of a raw material in a recipe, otherwise the formula of an oxide
	Amount float64 // 0 to 1e9, in the unit of the list
}

// Composition is the melt that a recipe, an analysis or a formula gives.
type Composition struct {
	Melt          Melt               // mole fractions
	MassFractions [NumOxides]float64 // of the melt; they sum to 1
	LOI           float64            // mass lost on firing / dry mass of the batch; negative where the batch takes up oxygen
	Fluorine      float64            // mass of fluorine given off / dry mass of the batch
	Notes         []string           // assumptions, as sentences
}

// FromWeightPercent reads an oxide analysis by mass. It is normalised, with a note when it does
// not sum to 100 within 0.5. Repeated oxides are added up.
//
// LOI, H2O, CO2, SO3, F and Cl count as loss on firing. Oxides that the melt holds in another form are converted by
// their cations with a note (Fe3O4 to Fe2O3, MnO2 and Mn3O4 to MnO, Co3O4 to CoO, Cu2O to CuO). Oxides that the melt
// models do not cover (Bi2O3, Er2O3, Rb2O, ...) are left out with a note, and refused when they are more than 5 % of
// the fired mass.
//
// Errors are fault.Error values with paths such as oxides[2].name and oxides[2].amount.
func FromWeightPercent(oxides []Part) (*Composition, error) {
	t, err := readOxides(oxides, false)
	if err != nil {
		return nil, err
	}
	c := &Composition{}
	c.noteSum("percentages", t.sum, 0.5)
	if err := c.settle(t, "oxides"); err != nil {
		return nil, err
	}
	return c, nil
}

// FromMolePercent reads an oxide analysis by moles, by the rules of FromWeightPercent.
func FromMolePercent(oxides []Part) (*Composition, error) {
	t, err := readOxides(oxides, true)
	if err != nil {
		return nil, err
	}
	c := &Composition{}
	c.noteSum("mole percentages", t.sum, 0.5)
	if err := c.settle(t, "oxides"); err != nil {
		return nil, err
	}
	return c, nil
}

// FromSeger reads a Seger formula (moles of oxides), by the rules of FromWeightPercent. It scales the fluxes to sum to
// 1, with a note when they did not within 0.005.
func FromSeger(oxides []Part) (*Composition, error) {
	t, err := readOxides(oxides, true)
	if err != nil {
		return nil, err
	}
	c := &Composition{}
	if err := c.settle(t, "oxides"); err != nil {
		return nil, err
	}
	if _, err := Seger(&c.Melt); err != nil {
		return nil, err
	}
	unity := 0.0
	for _, o := range fluxes {
		unity += t.mass[o] / o.MolarMass()
	}
	if math.Abs(unity-1) > 0.005 {
		c.note("the fluxes sum to %s; brought to 1", short(unity))
	}
	return c, nil
}

// tally adds up masses, in one unit, while a list is read.
type tally struct {
	mass        [NumOxides]float64 // of oxides in the melt
	lost        float64            // on firing
	fluorine    float64            // the part of lost that is fluorine
	excluded    float64            // components that the melt models do not cover
	exclusions  []string           // their formulas
	conversions []string           // notes on converted components
	sum         float64            // of the amounts as given
}

// readOxides adds up a list of oxides, as masses, or as moles turned into masses.
func readOxides(oxides []Part, moles bool) (*tally, error) {
	if err := checkParts("oxides", "name", oxides); err != nil {
		return nil, err
	}
	t := &tally{}
	for i, p := range oxides {
		t.sum += p.Amount
		scale := 1.0
		if o, ok := ParseOxide(p.Name); ok {
			if moles {
				scale = o.MolarMass()
			}
			t.mass[o] += p.Amount * scale
			continue
		}
		c, ok := components[p.Name]
		if !ok || (moles && c.mass == 0) {
			return nil, &fault.Error{
				Field: fmt.Sprintf("oxides[%d].name", i), Value: quoted(p.Name),
				Limit: "the formula of an oxide, such as " + strings.Join(nearest(p.Name, oxideNames(), 3), ", "),
			}
		}
		if moles {
			scale = c.mass
		}
		t.addComponent(p.Name, c, p.Amount*scale)
	}
	return t, nil
}

// settle makes the masses into the composition of a melt. Errors name the given field: less than 1 % that stays in the
// melt, or more than 5 % that the melt models do not cover.
func (c *Composition) settle(t *tally, field string) error {
	melt := 0.0
	for _, m := range t.mass {
		melt += m
	}
	raw := melt + t.excluded + t.lost
	const least = 0.01
	if !(melt >= least*raw) {
		return &fault.Error{Field: field, Value: short(100*(1-melt/raw)) + " % that leaves in the fire or is no part of the melt", Limit: "at least 1 % that stays in the melt"}
	}
	const most = 0.05
	if t.excluded > most*(t.excluded+melt) {
		return &fault.Error{Field: field, Value: fmt.Sprintf("%s %% %s", short(100*t.excluded/(t.excluded+melt)), strings.Join(t.exclusions, ", ")),
			Limit: "at most 5 % of the fired mass as oxides that the melt models do not cover"}
	}
	for o, m := range t.mass {
		c.MassFractions[o] = m / melt
	}
	c.Melt.FromMassFractions(&c.MassFractions)
	c.LOI = t.lost / raw
	c.Fluorine = t.fluorine / raw
	for _, s := range t.conversions {
		c.note("%s", s)
	}
	if len(t.exclusions) > 0 && t.excluded > 0 {
		c.note("left out, as the melt models do not cover it: %s (%s %% of the fired mass)",
			strings.Join(t.exclusions, ", "), short(100*t.excluded/(t.excluded+melt)))
	}
	return nil
}

func (c *Composition) note(format string, a ...any) {
	c.Notes = append(c.Notes, fmt.Sprintf(format, a...))
}

func (c *Composition) noteSum(what string, sum, tolerance float64) {
	if math.Abs(sum-100) > tolerance {
		c.note("the %s sum to %s; normalised to 100", what, short(sum))
	}
}

// checkParts refuses a list that is empty or too long, an amount outside 0 to 1e9, and a total of zero.
func checkParts(field, nameField string, parts []Part) error {
	if len(parts) == 0 || len(parts) > MaxParts {
		return &fault.Error{Field: field, Value: fmt.Sprintf("%d lines", len(parts)), Limit: fmt.Sprintf("1 to %d lines", MaxParts)}
	}
	total := 0.0
	for i, p := range parts {
		if strings.TrimSpace(p.Name) == "" {
			return &fault.Error{Field: fmt.Sprintf("%s[%d].%s", field, i, nameField), Value: "empty", Limit: "a name"}
		}
		if !(p.Amount >= 0 && p.Amount <= maxAmount) {
			return &fault.Error{Field: fmt.Sprintf("%s[%d].amount", field, i), Value: number(p.Amount) + " (" + p.Name + ")", Limit: "0 to 1000000000"}
		}
		total += p.Amount
	}
	// Anything smaller than this is a slip, and its reciprocal could overflow.
	if total < 1e-9 {
		return &fault.Error{Field: field, Value: "amounts that sum to " + number(total), Limit: "a sum of more than 0"}
	}
	return nil
}

// number writes a value for an error in full.
func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// short writes a value for a note with at most four significant digits.
func short(v float64) string { return strconv.FormatFloat(v, 'g', 4, 64) }

// quoted writes a name for an error, cut so that a hostile one cannot fill it.
func quoted(name string) string {
	const longest = 80
	if len(name) > longest {
		return strconv.Quote(name[:longest]) + "..."
	}
	return strconv.Quote(name)
}
