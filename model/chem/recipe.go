package chem

import (
	"fmt"
	"math"
	"strings"

	"github.com/catchline/catchline/model/fault"
)

// FromRecipe works out the melt of a recipe of raw materials by mass. Amounts need not sum to
// 100: they are normalised, and a note says so. Colourants that a recipe adds over 100 are just more
// lines. A material on several lines counts with the sum of its amounts.
//
// A name is looked up among the studio's own materials first, then in the library, by its name or by another name that
// it goes by, without regard to case and extra blanks. So an own material hides one of the library with the same name,
// and a note says so. Plain trade names such as "kaolin" or "potash feldspar" stand for a typical commercial analysis,
// with a note; the mineral of theory has its mineral's name, such as "kaolinite" or "orthoclase".
//
// Errors are fault.Error values with paths such as recipe[2].material, recipe[2].amount and materials[1].name.
func FromRecipe(recipe []Part, own []Material) (*Composition, error) {
	if err := checkParts("recipe", "material", recipe); err != nil {
		return nil, err
	}
	ownByName, err := indexOwn(own)
	if err != nil {
		return nil, err
	}
	lib := loadLibrary()
	c := &Composition{}
	t := &tally{}
	noted := map[string]bool{}
	for i, p := range recipe {
		t.sum += p.Amount
		key := fold(p.Name)
		var m *Material
		at, inLibrary := lib.byName[key]
		if j, ok := ownByName[key]; ok {
			m = &own[j]
			if inLibrary && !noted[key] {
				c.note("%q is the studio's own material, not the library's", m.Name)
			}
		} else if inLibrary {
			m = &lib.list[at].Material
			if lib.list[at].Formula == "" && !noted[key] {
				c.note("%q is a typical analysis; the supplier's own makes the answer better", m.Name)
			}
		} else {
			return nil, &fault.Error{
				Field: fmt.Sprintf("recipe[%d].material", i), Value: quoted(p.Name),
				Limit: "a material of the library or the studio's own; nearest: " + strings.Join(nearest(p.Name, materialNames(own), 3), "; "),
			}
		}
		noted[key] = true
		fired := p.Amount * (1 - m.LOI)
		for o, w := range m.Oxides {
			t.mass[o] += fired * w
		}
		t.lost += p.Amount * m.LOI
		t.fluorine += p.Amount * m.Fluorine
	}
	c.noteSum("amounts", t.sum, 0.005)
	if err := c.settle(t, "recipe"); err != nil {
		return nil, err
	}
	return c, nil
}

// indexOwn checks a studio's own materials and finds them by folded name. Two of one name are refused, as nobody could
// say which is meant.
func indexOwn(own []Material) (map[string]int, error) {
	index := make(map[string]int, len(own))
	for i := range own {
		m := &own[i]
		field := fmt.Sprintf("materials[%d]", i)
		key := fold(m.Name)
		if key == "" {
			return nil, &fault.Error{Field: field + ".name", Value: quoted(m.Name), Limit: "a name"}
		}
		if j, taken := index[key]; taken {
			return nil, &fault.Error{Field: field + ".name", Value: quoted(m.Name), Limit: fmt.Sprintf("a name other than that of materials[%d]", j)}
		}
		index[key] = i
		if !(m.LOI >= -0.5 && m.LOI <= 1) {
			return nil, &fault.Error{Field: field + ".loi", Value: number(m.LOI), Limit: "-0.5 to 1"}
		}
		if !(m.Fluorine >= 0 && m.Fluorine <= 1) {
			return nil, &fault.Error{Field: field + ".fluorine", Value: number(m.Fluorine), Limit: "0 to 1"}
		}
		sum := 0.0
		for o, w := range m.Oxides {
			if !(w >= 0 && w <= 1) {
				return nil, &fault.Error{Field: field + ".oxides." + Oxide(o).String(), Value: number(w), Limit: "0 to 1"}
			}
			sum += w
		}
		if m.LOI < 1 && math.Abs(sum-1) > 1e-6 {
			return nil, &fault.Error{Field: field + ".oxides", Value: "fractions that sum to " + number(sum), Limit: "a sum of 1"}
		}
	}
	return index, nil
}

// materialNames lists every name that a recipe may use.
func materialNames(own []Material) []string {
	var all []string
	for _, m := range own {
		all = append(all, m.Name)
	}
	for _, m := range loadLibrary().list {
		all = append(all, m.Name)
		all = append(all, m.Also...)
	}
	return all
}
