package melt

import (
	"fmt"
	"strings"

	"github.com/catchline/catchline/model/chem"
)

// Domain is how far a melt lies from the data behind its viscosity. The zero Domain is a melt well inside.
type Domain struct {
	over      uint32 // bit per oxide above its highest share in the data
	lumped    uint32 // bit per oxide counted as another, see lump
	lowSilica bool
	described bool

	// Distance is how much several fits differ on the melt, as a multiple of what 95 % of the glaze-like melts of the
	// data stay below: around 0.3 among the data, 1 at its edge, without an upper end.
	Distance float64
}

// Outside is true if any oxide lies beyond its range in the data, or the melt as a whole far from it (Distance over
// 1.5).
func (d Domain) Outside() bool { return d.over != 0 || d.lowSilica || d.Distance > farDistance }

// farDistance is the Distance above which a melt counts as outside the data.
const farDistance = 1.5

// Described is true if the melt's chemistry is unknown and its viscosity a guess from a description.
func (d Domain) Described() bool { return d.described }

// Over calls f for each oxide above its highest share in the data.
func (d Domain) Over(f func(chem.Oxide)) { eachBit(d.over, f) }

// Lumped calls f for each oxide that the data lacks and that was counted as another.
func (d Domain) Lumped(f func(chem.Oxide)) { eachBit(d.lumped, f) }

func eachBit(bits uint32, f func(chem.Oxide)) {
	for o := chem.Oxide(0); o < chem.NumOxides; o++ {
		if bits&(1<<o) != 0 {
			f(o)
		}
	}
}

// String words what is outside; it is empty for a melt among the data.
func (d Domain) String() string {
	var parts []string
	if d.described {
		parts = append(parts, "the chemistry is unknown: the viscosity is a guess from the description")
	}
	if d.lowSilica {
		parts = append(parts, "SiO2 is below the viscosity data")
	}
	var over, lumped []string
	d.Over(func(o chem.Oxide) { over = append(over, o.String()) })
	d.Lumped(func(o chem.Oxide) { lumped = append(lumped, o.String()) })
	if len(over) > 0 {
		parts = append(parts, strings.Join(over, ", ")+" above the viscosity data")
	}
	if len(lumped) > 0 {
		parts = append(parts, strings.Join(lumped, ", ")+" counted as a neighbour, for want of data")
	}
	if d.Distance > farDistance {
		parts = append(parts, fmt.Sprintf("few measured melts are like it (distance %.1f)", d.Distance))
	}
	return strings.Join(parts, "; ")
}
