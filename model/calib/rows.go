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

// register numbers the levels. Levels added later go into a small map of their own, so that adding a tile copies little.
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

// pattern is what conditions look like to the regression.
type pattern struct {
	entries    []entry
	offset     float64 // x·(prior means): what the prior alone corrects
	pair       int32   // in the register of pairs; -1 for none
	pairWeight float64
	missing    [NumFactors]float64 // squared weight of groups that are not named, or not known to the register
	unseen     float64             // variance of those groups' own doubts (PriorSD)
	withoutLot float64             // squared weight of glazes less that of lots
}

// row is one tile as the regression keeps it.
type row struct {
	pattern
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
}

// pattern lays the conditions out on the registers.
func (c *Conditions) pattern(prior *Prior, core, pairs *register) pattern {
	p, entries := beginPattern(&c.Features, prior, make([]entry, 0, int(NumEffects)+len(c.Glazes)+len(c.Lots)+3))
	c.visit(func(f Factor, s Share) {
		in := core
		if f == Pair {
			in = pairs
		}
		i, ok := in.find(f, s.Name)
		if !ok {
			i = -1
		}
		entries = p.add(entries, f, int32(i), s.Weight, s.PriorSD)
	})
	p.entries = p.end(entries)
	return p
}

// beginPattern begins with the fixed effects; entries go into room. The entries stay apart from the pattern until its end, so that
// the compiler sees that they need not be allocated.
func beginPattern(f *Features, prior *Prior, room []entry) (pattern, []entry) {
	p := pattern{pair: -1}
	for e, x := range f.columns(f.order()) {
		if x != 0 {
			room = append(room, entry{int32(e), x})
			p.offset += x * prior.Effects[e].Mean
		}
	}
	p.missing[Kiln], p.missing[Body], p.missing[Tester] = 1, 1, 1
	return p, room
}

// add a group by its place in its register; -1 is one that is not in it.
func (p *pattern) add(entries []entry, f Factor, level int32, weight, priorSD float64) []entry {
	switch f {
	case Glaze:
		p.withoutLot += weight * weight
	case Lot:
		p.withoutLot -= weight * weight
	}
	switch {
	case level < 0:
		if f != Kiln && f != Body && f != Tester {
			p.missing[f] += weight * weight
		}
		p.unseen += weight * weight * priorSD * priorSD
	case f == Pair:
		p.pair, p.pairWeight = level, weight
	default:
		if f == Kiln || f == Body || f == Tester {
			p.missing[f] = 0
		}
		entries = append(entries, entry{level + int32(NumEffects), weight})
	}
	return entries
}

// end sorts the entries and adds up those of one group.
func (p *pattern) end(entries []entry) []entry {
	p.missing[Lot] += math.Max(0, p.withoutLot)
	return merge(entries)
}

// merge sorts the entries by id and adds up those of one id, as when a glaze is both first and third layer.
func merge(entries []entry) []entry {
	slices.SortStableFunc(entries, func(a, b entry) int { return cmp.Compare(a.id, b.id) })
	out := entries[:0]
	for _, e := range entries {
		if n := len(out); n > 0 && out[n-1].id == e.id {
			out[n-1].x += e.x
			continue
		}
		out = append(out, e)
	}
	return out
}

// newRow of a checked tile.
func newRow(t *Tile, prior *Prior, core, pairs *register) *row {
	r := &row{
		pattern: t.Conditions.pattern(prior, core, pairs), name: t.Name, order: t.Order, cone: t.Cone,
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

// registers of all groups that the tiles name. Factors with few levels come first and lots last: in the triangle the
// order is turned round, so that rows begin with many zeros.
func registers(tiles []*Tile) (core, pairs register) {
	core.base, pairs.base = map[levelKey]int{}, map[levelKey]int{}
	for _, wanted := range []Factor{Kiln, Body, Tester, Glaze, Lot, Pair} {
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
func (l *level) scale(v *variances) float64 { return math.Hypot(v.spread[l.factor], l.priorSD) }

// scales of all columns by id.
func scales(prior *Prior, core *register, v *variances) []float64 {
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
	used[Glaze], used[Pair] = true, true
	for i := range core.levels {
		used[core.levels[i].factor] = true
	}
	return used
}

// missingVariance of the groups that are not named.
func (p *pattern) missingVariance(used *[NumFactors]bool, v *variances) float64 {
	s := p.unseen
	for f, w := range p.missing {
		if used[f] {
			s += w * v.spread[f] * v.spread[f]
		}
	}
	return s
}

// errorScale of a tile: noise, physics, reading and what is not named, together.
func (r *row) errorScale(used *[NumFactors]bool, v *variances) float64 {
	return math.Sqrt(v.piece2(r.physicsSD) + r.reading.SD*r.reading.SD + r.missingVariance(used, v))
}
