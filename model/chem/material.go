package chem

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

// Material is a raw material as it is weighed out for a recipe.
type Material struct {
	Name string
	// LOI is the mass lost on firing / raw mass: -0.5 to 1, negative if the material takes up oxygen. A material of LOI
	// 1, such as a gum, leaves nothing and has no Oxides.
	LOI float64
	// Oxides are mass fractions of the fired material; they sum to 1.
	Oxides [NumOxides]float64
	// Fluorine is the mass of fluorine / raw mass, 0 to 1. It is part of the LOI, as all of it is taken to leave.
	Fluorine float64
}

// LibraryMaterial is a raw material of the built-in library with the source of its numbers.
type LibraryMaterial struct {
	Material
	Also    []string // other names that find it
	Formula string   // of the mineral; empty for a typical analysis
	Source  string
	How     string // how the numbers were obtained: "computed" from the formula, or from "memory"
}

// materials.csv holds minerals by formula and typical analyses. Iron, manganese, cobalt and copper
// are given as the oxides that the fired melt holds (Fe2O3, MnO, CoO, CuO), whatever was weighed out;
// the oxygen given off or taken up is in the LOI. Fluorine leaves, and oxygen takes its place.
//
//go:embed materials.csv
var materialsCSV string

// library holds the materials in file order and the index of each folded name.
type library struct {
	list   []LibraryMaterial
	byName map[string]int
}

var loadLibrary = sync.OnceValue(func() *library {
	l := &library{byName: map[string]int{}}
	rows, err := csv.NewReader(strings.NewReader(materialsCSV)).ReadAll()
	if err != nil {
		panic("chem: materials.csv: " + err.Error())
	}
	head := rows[0]
	for _, row := range rows[1:] {
		var m LibraryMaterial
		for i, column := range head {
			cell := row[i]
			switch column {
			case "name":
				m.Name = cell
			case "also":
				if cell != "" {
					m.Also = strings.Split(cell, ";")
				}
			case "formula":
				m.Formula = cell
			case "source":
				m.Source = cell
			case "how":
				m.How = cell
			case "loi_percent":
				m.LOI = mustPercent(cell)
			case "f_percent_raw":
				m.Fluorine = mustPercent(cell)
			default:
				o, ok := ParseOxide(column)
				if !ok {
					panic("chem: materials.csv: column " + column)
				}
				m.Oxides[o] = mustPercent(cell)
			}
		}
		normalise(&m.Oxides)
		for _, name := range append([]string{m.Name}, m.Also...) {
			if _, taken := l.byName[fold(name)]; taken {
				panic("chem: materials.csv: two materials are called " + name)
			}
			l.byName[fold(name)] = len(l.list)
		}
		l.list = append(l.list, m)
	}
	return l
})

// mustPercent reads a cell of the embedded table, empty for zero, as a fraction.
func mustPercent(cell string) float64 {
	if cell == "" {
		return 0
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		panic("chem: materials.csv: " + err.Error())
	}
	return v / 100
}

// normalise scales v to sum to 1.
func normalise(v *[NumOxides]float64) {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	for i := range v {
		v[i] /= sum
	}
}

// Library lists the built-in raw materials. The caller may keep and change the list, but not the
// Also of its entries.
func Library() []LibraryMaterial {
	return append([]LibraryMaterial{}, loadLibrary().list...)
}

// NewMaterial makes a studio's own raw material from an analysis by mass, as a supplier prints it, and the loss on
// ignition in percent of the raw mass, -50 to 100. The analysis may be of the raw or of the fired material: only the
// ratios of the oxides count, and a line LOI in it is not read (the argument is). Rules for other components are those
// of FromWeightPercent, but for F, which is read as percent of the raw mass. A material with an LOI of 100 has no
// analysis.
//
// Errors are fault.Error values with the paths name, loi_percent and oxides[i].
func NewMaterial(name string, oxides []Part, loiPercent float64) (Material, []string, error) {
	const longest = 120
	if strings.TrimSpace(name) == "" || len(name) > longest {
		return Material{}, nil, &fault.Error{Field: "name", Value: quoted(name), Limit: "1 to 120 bytes"}
	}
	if !(loiPercent >= -50 && loiPercent <= 100) {
		return Material{}, nil, &fault.Error{Field: "loi_percent", Value: number(loiPercent), Limit: "-50 to 100"}
	}
	m := Material{Name: name, LOI: loiPercent / 100}
	if loiPercent == 100 && len(oxides) == 0 {
		return m, nil, nil
	}
	t, err := readOxides(oxides, false)
	if err != nil {
		return Material{}, nil, err
	}
	c := &Composition{}
	if math.Abs(t.sum-100) > 1.5 && math.Abs(t.sum+loiPercent-100) > 1.5 {
		c.note("the percentages sum to %s, and with the loss on ignition to %s; normalised", short(t.sum), short(t.sum+loiPercent))
	}
	if err := c.settle(t, "oxides"); err != nil {
		return Material{}, nil, err
	}
	if loiPercent == 100 {
		return Material{}, nil, &fault.Error{Field: "loi_percent", Value: "100", Limit: "less than 100 for a material that has oxides"}
	}
	for _, p := range oxides {
		if p.Name == "F" {
			m.Fluorine += p.Amount / 100
		}
	}
	if m.Fluorine > 1 {
		return Material{}, nil, &fault.Error{Field: "oxides", Value: fmt.Sprintf("%s %% F", short(100*m.Fluorine)), Limit: "at most 100 % F"}
	}
	m.Oxides = c.MassFractions
	return m, c.Notes, nil
}
