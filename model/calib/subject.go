package calib

import "math"

// Subject is what a prediction is about: Conditions whose groups a calibration has found. To find them once saves looking them up by their names for
// every prediction. The zero Subject is empty; Begin makes it so again. It is for one goroutine at a time.
type Subject struct {
	LnPhysics, PhysicsSD float64 // those of Conditions
	Features             Features

	groups  []foundGroup
	pair    foundPair
	entries []entry // of its design row, so that they need not be allocated anew
}

// foundGroup is a share of a group that was looked for.
type foundGroup struct {
	factor          Factor
	group           Group  // 0: not known
	name            string // of one that is not known
	weight, priorSD float64
}

// foundPair is a pair that was looked for.
type foundPair struct {
	named, known    bool
	pair            int32
	weight, priorSD float64
}

// Group is a group as one calibration knows it, a glaze, lot, kiln, body or tester. The zero Group is one that the calibration does not know.
type Group int32

// Group finds a group by its name.
func (c *Calibration) Group(f Factor, name string) Group {
	if i, ok := c.core.find(f, name); ok {
		return Group(c.core.id(i))
	}
	return 0
}

// KnownGlaze is a glaze, and its lot where that is known, as one calibration knows them.
type KnownGlaze struct {
	calibration *Calibration
	group, lot  Group
	name        string
	lotName     string // empty where it is not known
	priorSD     float64
}

// KnownGlaze finds a glaze, and its lot unless it is empty. priorSD is that of a Share.
func (c *Calibration) KnownGlaze(name, lot string, priorSD float64) *KnownGlaze {
	return &KnownGlaze{c, c.Group(Glaze, name), c.Group(Lot, lot), name, lot, priorSD}
}

// Of says whether it is of a calibration.
func (g *KnownGlaze) Of(c *Calibration) bool { return g.calibration == c }

// Subject finds what conditions name.
// Errors: *fault.Error.
func (c *Calibration) Subject(q *Conditions) (*Subject, error) {
	if err := q.Check(); err != nil {
		return nil, err
	}
	s := &Subject{LnPhysics: q.LnPhysics, PhysicsSD: q.PhysicsSD, Features: q.Features}
	q.visit(func(f Factor, share Share) {
		if f == Pair {
			i, ok := c.pairs.find(Pair, share.Name)
			s.pair = foundPair{true, ok, int32(i), share.Weight, share.PriorSD}
			return
		}
		s.add(foundGroup{f, c.Group(f, share.Name), share.Name, share.Weight, share.PriorSD})
	})
	return s, nil
}

// Begin empties the subject.
func (s *Subject) Begin() { s.groups, s.pair = s.groups[:0], foundPair{} }

// AddPlace adds a kiln, body and tester.
func (s *Subject) AddPlace(kiln, body, tester Group) {
	s.add(foundGroup{factor: Kiln, group: kiln, weight: 1})
	s.add(foundGroup{factor: Body, group: body, weight: 1})
	s.add(foundGroup{factor: Tester, group: tester, weight: 1})
}

// AddGlaze adds a glaze, and its lot, by its weight. The weights of all sum to 1.
func (s *Subject) AddGlaze(g *KnownGlaze, weight float64) {
	s.add(foundGroup{Glaze, g.group, g.name, weight, g.priorSD})
	if g.lotName != "" {
		s.add(foundGroup{Lot, g.lot, g.lotName, weight, 0})
	}
}

// SetPair says which two glazes mix.
func (s *Subject) SetPair(a, b *KnownGlaze) {
	pair, ok := a.calibration.index.pair(a.group, b.group)
	s.pair = foundPair{named: true, known: ok, pair: pair, weight: 1}
}

// add adds a group to what there is of it already: what is not known of a glaze in two layers is the same in both.
func (s *Subject) add(g foundGroup) {
	for i := range s.groups {
		known := &s.groups[i]
		if known.factor == g.factor && known.group == g.group && (g.group != 0 || known.name == g.name) {
			weight := known.weight + g.weight
			known.priorSD = (known.weight*known.priorSD + g.weight*g.priorSD) / weight
			known.weight = math.Min(1, weight) // shares that sum to 1 may round to more
			return
		}
	}
	s.groups = append(s.groups, g)
}

// designRow lays the subject out. It holds until the next one.
func (s *Subject) designRow(prior *Prior) designRow {
	r := newDesignRow(&s.Features, prior, s.entries)
	for i := range s.groups {
		g := &s.groups[i]
		r.addGroup(g.factor, int32(g.group), g.group != 0, g.weight, g.priorSD)
	}
	if s.pair.named {
		r.addPair(s.pair.pair, s.pair.known, s.pair.weight, s.pair.priorSD)
	}
	s.entries = r.entries
	return r
}
