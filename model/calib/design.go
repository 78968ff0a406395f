package calib

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"github.com/catchline/catchline/model/fault"
)

// level is one group of a factor: one glaze, one lot, one kiln.
type level struct {
	factor  Factor
	name    string
	priorSD float64 // the physics' own doubt of this group, largest that its tiles state
}

type levelKey struct {
	factor Factor
	name   string
}

// register numbers the levels. Levels added later go into a small map of their own, so that adding a tile copies
// little.
type register struct {
	levels []level
	base   map[levelKey]int
	added  map[levelKey]int
}

func (g *register) find(f Factor, name string) (int, bool) {
	k := levelKey{f, name}
	if i, ok := g.added[k]; ok {
		return i, true
	}
	i, ok := g.base[k]
	return i, ok
}

// id is that of the column of level i, in the core register.
func (g *register) id(i int) int32 { return int32(int(NumEffects) + i) }

// with is the register with one more level.
func (g *register) with(l level) register {
	added := maps.Clone(g.added)
	if added == nil {
		added = map[levelKey]int{}
	}
	added[levelKey{l.factor, l.name}] = len(g.levels)
	return register{append(g.levels[:len(g.levels):len(g.levels)], l), g.base, added}
}

// entry is one nonzero of a row: id counts the fixed effects first, then the levels of the core register.
type entry struct {
	id int32
	x  float64
}

// designRow is a row of the design matrix, kept sparse: what conditions look like to the regression.
type designRow struct {
	entries    []entry // sorted by id
	offset     float64 // x·(prior means): what the prior alone corrects
	pair       int32   // in the register of pairs; -1 for none
	pairWeight float64
	missing    [NumFactors]float64 // squared weight of groups that are not named, or not known to the register
	unseen     float64             // variance of those groups' own doubts (PriorSD)
}

// row is one tile as the regression keeps it.
type row struct {
	designRow
	name      string
	order     int64
	cone      string
	lnPhysics float64
	physicsSD float64
	reading   Reading
	clearance *float64
	h, z      float64 // weight and right-hand side of its least-squares row at the mode
}

// visit calls f for every group that the conditions belong to, in a fixed order.
func (c *Conditions) visit(f func(Factor, Share)) {
	for _, s := range c.Glazes {
		f(Glaze, s)
	}
	for _, s := range c.Lots {
		f(Lot, s)
	}
	if c.Pair.Name != "" {
		f(Pair, c.Pair)
	}
	for factor, name := range [NumFactors]string{Kiln: c.Kiln, Body: c.Body, Tester: c.Tester} {
		if name != "" {
			f(Factor(factor), Share{Name: name, Weight: 1})
		}
	}
	if c.Bead.Name != "" {
		f(Bead, c.Bead)
	}
}

// designRow lays the conditions out on the registers.
func (c *Conditions) designRow(prior *Prior, core, pairs *register) designRow {
	var r designRow
	r.begin(&c.Features, prior)
	c.visit(func(f Factor, s Share) {
		in := core
		if f == Pair {
			in = pairs
		}
		switch i, ok := in.find(f, s.Name); {
		case !ok:
			r.addUnknown(f, s.Weight*s.Weight, s.Weight*s.Weight*s.PriorSD*s.PriorSD)
		case f == Pair:
			r.pair, r.pairWeight = int32(i), s.Weight
		default:
			r.addKnown(f, in.id(i), s.Weight)
		}
	})
	return r
}

// begin begins with the fixed effects. A kiln, body and tester are missing until they are found, and so is the lot of
// each glaze.
func (r *designRow) begin(f *Features, prior *Prior) {
	r.entries, r.offset, r.pair, r.unseen = r.entries[:0], 0, -1, 0
	r.missing = [NumFactors]float64{Kiln: 1, Body: 1, Tester: 1}
	x := f.columns()
	for e := range x {
		if x[e] != 0 {
			r.entries = append(r.entries, entry{int32(e), x[e]})
			r.offset += x[e] * prior.Effects[e].Mean
		}
	}
}

// addKnown adds a group that is in the core register.
func (r *designRow) addKnown(f Factor, id int32, weight float64) {
	before := r.insert(entry{id, weight})
	more := weight * (weight + 2*before) // of the squared weight
	if f == Glaze {
		r.missing[Lot] += more
	} else {
		r.missing[f] = max(0, r.missing[f]-more)
	}
}

// addUnknown adds a group that is not in its register, by its squared weight and the square of its weight times its
// PriorSD.
func (r *designRow) addUnknown(f Factor, weight2, doubt2 float64) {
	switch f {
	case Glaze:
		r.missing[Glaze] += weight2
		r.missing[Lot] += weight2
	case Pair, Bead:
		r.missing[f] += weight2
	}
	r.unseen += doubt2
}

// insert puts an entry in its place by id, or adds it to what there is of that id, as when a glaze is both first and
// third layer, and gives what there was.
func (r *designRow) insert(e entry) (before float64) {
	at := place(r.entries, e.id)
	if at < len(r.entries) && r.entries[at].id == e.id {
		before = r.entries[at].x
	}
	r.entries = insert(r.entries, at, e)
	return before
}

// place is where an id stands among entries, or is to stand.
func place(entries []entry, id int32) int {
	at := len(entries)
	for at > 0 && entries[at-1].id >= id {
		at--
	}
	return at
}

// insert puts an entry in its place, or adds it to the one of its id that stands there.
func insert(entries []entry, at int, e entry) []entry {
	if at < len(entries) && entries[at].id == e.id {
		entries[at].x += e.x
		return entries
	}
	entries = append(entries, entry{})
	copy(entries[at+1:], entries[at:])
	entries[at] = e
	return entries
}

// newRow of a checked tile.
func newRow(t *Tile, prior *Prior, core, pairs *register) *row {
	r := &row{
		designRow: t.Conditions.designRow(prior, core, pairs), name: t.Name, order: t.Order, cone: t.Cone,
		lnPhysics: t.LnPhysics, physicsSD: t.PhysicsSD, reading: t.Reading,
	}
	if t.Clearance != nil {
		v := *t.Clearance
		r.clearance = &v
	}
	return r
}

// inOrder checks the tiles and returns them sorted by time and name.
func inOrder(tiles []Tile) ([]*Tile, error) {
	sorted := make([]*Tile, len(tiles))
	at := make(map[string]int, len(tiles))
	for i := range tiles {
		prefix := fmt.Sprintf("tiles[%d].", i)
		if err := tiles[i].checkAs(prefix); err != nil {
			return nil, err
		}
		if first, dup := at[tiles[i].Name]; dup {
			return nil, &fault.Error{Field: prefix + "name", Value: tiles[i].Name, Limit: fmt.Sprintf("a name of its own; tiles[%d] has it", first)}
		}
		at[tiles[i].Name] = i
		sorted[i] = &tiles[i]
	}
	slices.SortFunc(sorted, func(a, b *Tile) int {
		return cmp.Or(cmp.Compare(a.Order, b.Order), cmp.Compare(a.Name, b.Name))
	})
	return sorted, nil
}

// registers of all groups that the tiles name. Factors with few levels come first and lots last: in the triangle R the
// order is turned round, so that rows begin with many zeros.
func registers(tiles []*Tile) (core, pairs register) {
	core.base, pairs.base = map[levelKey]int{}, map[levelKey]int{}
	for _, wanted := range []Factor{Kiln, Body, Bead, Tester, Glaze, Lot, Pair} {
		in := &core
		if wanted == Pair {
			in = &pairs
		}
		for _, t := range tiles {
			t.Conditions.visit(func(f Factor, s Share) {
				if f != wanted {
					return
				}
				i, ok := in.base[levelKey{f, s.Name}]
				if !ok {
					i = len(in.levels)
					in.base[levelKey{f, s.Name}] = i
					in.levels = append(in.levels, level{factor: f, name: s.Name})
				}
				in.levels[i].priorSD = math.Max(in.levels[i].priorSD, s.PriorSD)
			})
		}
	}
	return core, pairs
}

// scale of a level: the standard deviation that its effect has before any tile.
func (l *level) scale(v *VarianceComponents) float64 {
	return math.Hypot(v.Spread[l.factor], l.priorSD)
}

// scales of all columns by id.
func scales(prior *Prior, core *register, v *VarianceComponents) []float64 {
	s := make([]float64, int(NumEffects)+len(core.levels))
	for e := range prior.Effects {
		s[e] = prior.Effects[e].SD
	}
	for i := range core.levels {
		s[int(NumEffects)+i] = core.levels[i].scale(v)
	}
	return s
}

// inUse says which factors the tiles name at all: a factor that nobody records is part of the noise.
func inUse(core, pairs *register) (used [NumFactors]bool) {
	used[Glaze], used[Pair], used[Bead] = true, true, true
	for i := range core.levels {
		used[core.levels[i].factor] = true
	}
	return used
}

// missingVariance of the groups that are not named.
func (p *designRow) missingVariance(used *[NumFactors]bool, v *VarianceComponents) float64 {
	s := p.unseen
	for f, w := range p.missing {
		if used[f] {
			s += w * v.Spread[f] * v.Spread[f]
		}
	}
	return s
}

// errorScale of a tile: noise, physics, reading and what is not named, together.
func (r *row) errorScale(used *[NumFactors]bool, v *VarianceComponents) float64 {
	return math.Sqrt(v.piece2(r.physicsSD) + r.reading.SD*r.reading.SD + r.missingVariance(used, v))
}
