package calib

// Subject is what a prediction is about: conditions as a calibration knows them. It is for one goroutine at a time.
//
// It is made from Conditions by their names, or put together: Begin, AddPlace, AddGlaze for each, and AddPair last.
type Subject struct {
	calibration          *Calibration
	lnPhysics, physicsSD float64 // those of Conditions
	features             Features

	combination
	glazes  []partGlaze // that were added
	unknown float64     // variance of what the calibration does not know
	prior   float64     // variance of the rest, before any tile

	bead       Group
	beadWeight float64
}

// partGlaze is how much of a layering is of a glaze.
type partGlaze struct {
	*KnownGlaze
	weight float64
}

// Group is a group as one calibration knows it, a glaze, lot, kiln, body or tester. The zero Group is one that the
// calibration does not know.
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
	without := *q
	without.Bead = Share{}
	r := without.designRow(&c.prior, &c.core, &c.pairs)
	s := &Subject{calibration: c, lnPhysics: q.LnPhysics, physicsSD: q.PhysicsSD, features: q.Features, combination: c.combine(&r)}
	s.unknown, s.prior = r.missingVariance(&c.used, &c.components), c.priorVariance(&r)
	s.SetBead(c.Group(Bead, q.Bead.Name), q.Bead.Weight)
	return s, nil
}

// SetBead says how much the drive depends on the bead at the edge of a body, see Conditions.Bead; 0 for not at all.
func (s *Subject) SetBead(body Group, weight float64) { s.bead, s.beadWeight = body, weight }

// Begin makes the subject one of a calibration, without groups; lnPhysics, physicsSD and features are those of
// Conditions.
func (s *Subject) Begin(c *Calibration, lnPhysics, physicsSD float64, features *Features) {
	k := c.remembered()
	s.calibration, s.lnPhysics, s.physicsSD, s.features = c, lnPhysics, physicsSD, *features
	s.groups, s.own, s.pair, s.glazes = s.groups[:0], 0, -1, s.glazes[:0]
	s.constant, s.pairSD, s.unknown, s.prior = 0, 0, 0, 0
	s.bead, s.beadWeight = 0, 0
	x := features.columns()
	for e := range x {
		s.constant += x[e] * c.prior.Effects[e].Mean
		s.fixed[e] = x[e] * k.scale[e]
		s.prior += s.fixed[e] * s.fixed[e]
	}
}

// AddPlace adds a kiln, body and tester.
func (s *Subject) AddPlace(kiln, body, tester Group) {
	for f, g := range [...]Group{kiln, body, tester} {
		if g != 0 {
			s.add(g, 1)
		} else {
			s.unknown += s.calibration.memo.spread2[[...]Factor{Kiln, Body, Tester}[f]]
		}
	}
}

// AddGlaze adds a glaze, and its lot, by its weight. The weights of all sum to 1.
func (s *Subject) AddGlaze(g *KnownGlaze, weight float64) {
	if g.group != 0 {
		s.add(g.group, weight)
	}
	if g.lot != 0 {
		s.add(g.lot, weight)
	}
	s.unknown += weight * weight * g.unknown(g)
	for _, other := range s.glazes {
		s.unknown += 2 * weight * other.weight * g.unknown(other.KnownGlaze)
	}
	s.glazes = append(s.glazes, partGlaze{g, weight})
}

// unknown is the covariance of what a calibration does not know of two glazes of weight 1. It is 0 but for one and the
// same glaze. A glaze that has no group is as unknown in both, and so is a lot: what comes of one glaze is taken to be
// of one lot unless that is known.
func (g *KnownGlaze) unknown(other *KnownGlaze) float64 {
	if g.group != other.group || g.name != other.name {
		return 0
	}
	sum, spread2 := 0.0, &g.calibration.memo.spread2
	if g.group == 0 {
		sum += spread2[Glaze] + g.priorSD*other.priorSD
	}
	if g.lot == 0 || g.lotName != other.lotName {
		sum += spread2[Lot]
	}
	return sum
}

// AddPair adds the pair of two glazes, which mix, by how much that counts, 0 to 1.
func (s *Subject) AddPair(a, b *KnownGlaze, weight float64) {
	c := s.calibration
	pair, ok := c.index.pair(a.group, b.group)
	if !ok {
		s.unknown += weight * weight * c.memo.spread2[Pair]
		return
	}
	scale := weight * c.pairs.levels[pair].scale(&c.components)
	s.prior += scale * scale
	c.combinePair(&s.combination, pair, weight)
}

// add adds a group that is known. One that is there already is the same effect again.
func (s *Subject) add(g Group, weight float64) {
	x := weight * s.calibration.memo.scale[g]
	s.prior += x * x
	for _, other := range s.groups {
		if other.id == int32(g) {
			s.prior += 2 * x * other.x
		}
	}
	s.groups = append(s.groups, entry{int32(g), x})
	s.own = len(s.groups)
}
