package calib

import "slices"

// Subject is what a prediction is about: conditions whose groups a calibration has found. To find them once saves looking them up by their names for
// every prediction. Begin, and add the groups. It is for one goroutine at a time.
type Subject struct {
	lnPhysics, physicsSD float64 // those of Conditions
	features             Features
	row                  designRow
	unknown              []unknownShare
}

// unknownShare is how much there is of a glaze or lot that the calibration does not know.
type unknownShare struct {
	factor        Factor
	name          string
	weight, doubt float64 // doubt: the weight times the prior's standard deviation
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
	return &Subject{q.LnPhysics, q.PhysicsSD, q.Features, q.designRow(&c.prior, &c.core, &c.pairs), nil}, nil
}

// Begin makes the subject one of a calibration, without groups; lnPhysics, physicsSD and features are those of Conditions.
func (s *Subject) Begin(c *Calibration, lnPhysics, physicsSD float64, features Features) {
	s.lnPhysics, s.physicsSD, s.features, s.unknown = lnPhysics, physicsSD, features, s.unknown[:0]
	s.row.begin(&s.features, &c.prior)
}

// AddPlace adds a kiln, body and tester.
func (s *Subject) AddPlace(kiln, body, tester Group) {
	for i, g := range [...]Group{kiln, body, tester} {
		if g != 0 {
			s.row.addKnown([...]Factor{Kiln, Body, Tester}[i], int32(g), 1)
		}
	}
}

// AddGlaze adds a glaze, and its lot, by its weight. The weights of all sum to 1.
func (s *Subject) AddGlaze(g *KnownGlaze, weight float64) {
	s.add(Glaze, g.group, g.name, weight, g.priorSD)
	if g.lotName != "" {
		s.add(Lot, g.lot, g.lotName, weight, 0)
	}
}

// add adds a group. What is not known of a glaze in two layers is the same in both.
func (s *Subject) add(f Factor, g Group, name string, weight, priorSD float64) {
	if g != 0 {
		s.row.addKnown(f, int32(g), weight)
		return
	}
	at := slices.IndexFunc(s.unknown, func(u unknownShare) bool { return u.factor == f && u.name == name })
	if at < 0 {
		at = len(s.unknown)
		s.unknown = append(s.unknown, unknownShare{factor: f, name: name})
	}
	u := &s.unknown[at]
	before := *u
	u.weight, u.doubt = u.weight+weight, u.doubt+weight*priorSD
	s.row.addUnknown(f, u.weight*u.weight-before.weight*before.weight, u.doubt*u.doubt-before.doubt*before.doubt)
}

// SetPair says which two glazes mix.
func (s *Subject) SetPair(a, b *KnownGlaze) {
	if pair, ok := a.calibration.index.pair(a.group, b.group); ok {
		s.row.pair, s.row.pairWeight = pair, 1
	} else {
		s.row.addUnknown(Pair, 1, 0)
	}
}
