package model

import (
	"sync/atomic"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt"
)

// Sheet is many layerings that are made of the same choices of layers. What one score shares with another is worked out once: which groups of
// the regression a glaze belongs to, and the viscosity of the blend of two glazes, half and half, which is the same whichever is on top and in
// every firing that leaves their iron alike. A score of a sheet is to the last bit the score of its layering alone.
//
// It is safe for concurrent use, each goroutine with a Scorer of its own.
type Sheet struct {
	parts  []part
	melts  map[mixed]int32
	halves []half // of the melts, by row and column of a triangle; nil when there would be too many
}

// mixed is what of a glaze goes into a blend.
type mixed struct {
	melt     chem.Melt
	crystals float64
}

// part is a firing of a sheet.
type part struct {
	question  Question // without layers
	where     groups   // without glazes
	positions [][]choice
}

// choice is a layer that may come at a position.
type choice struct {
	layer      Layer
	glaze, lot calib.Group
	melt       int32
}

// maxHalves bounds what a sheet remembers of its blends, to some 64 MB.
const maxHalves = 2 << 20

// half is the viscosity of a half-and-half blend.
type half struct {
	state     atomic.Uint32
	viscosity melt.VFT
}

// The states of a half.
const (
	halfUnknown = iota
	halfBeingWritten
	halfKnown
)

// Add a firing, as a question without layers and the choices at each position, all fired in it, first applied first. Add all before the first Scorer.
func (s *Sheet) Add(q *Question, positions [][]Layer) {
	p := part{question: *q, where: groupsOf(q.Calibration, &Layering{}, q.Where)}
	p.question.sheet, p.question.tolerated = s, calib.NewLevel(1-q.Tolerated)
	if s.melts == nil {
		s.melts = map[mixed]int32{}
	}
	for _, layers := range positions {
		var choices []choice
		for _, l := range layers {
			c := choice{layer: l, melt: -1}
			c.glaze, c.lot = glazeGroups(q.Calibration, l.Glaze)
			if l.Glaze.Melt != nil {
				m := mixed{l.Melt, l.crystals}
				id, ok := s.melts[m]
				if !ok {
					id = int32(len(s.melts))
					s.melts[m] = id
				}
				c.melt = id
			}
			choices = append(choices, c)
		}
		p.positions = append(p.positions, choices)
	}
	s.parts = append(s.parts, p)
	if n := len(s.melts); n*(n+1)/2 <= maxHalves {
		s.halves = make([]half, n*(n+1)/2)
	} else {
		s.halves = nil
	}
}

// half gives the exposure to flow of the blend, half and half, of a layer and the next.
func (s *Sheet) half(l *Layering, i int) (flow float64, ok bool) {
	row, column := max(l.melts[i], l.melts[i+1]), min(l.melts[i], l.melts[i+1])
	if column < 0 || s.halves == nil {
		return 0, false
	}
	h := &s.halves[int(row)*(int(row)+1)/2+int(column)]
	if h.state.Load() != halfKnown {
		under, over := inOrder(l.Layers[i].Fired, l.Layers[i+1].Fired)
		k := blendViscosity(under, over, 0.5)
		if !h.state.CompareAndSwap(halfUnknown, halfBeingWritten) {
			return under.Firing.Flow(&k), true // another is at it
		}
		h.viscosity = k
		h.state.Store(halfKnown)
	}
	return l.Layers[i].Firing.Flow(&h.viscosity), true
}

// Scorer scores the layerings of a sheet, one at a time.
type Scorer struct {
	sheet    *Sheet
	question Question
	groups   groups
	physics  Physics
	part     int // that the question is of; -1: none yet
}

// Scorer makes a scorer.
func (s *Sheet) Scorer() *Scorer { return &Scorer{sheet: s, part: -1} }

// Question is about the layering in a firing (by the order in which they were added) with a choice at each position. It holds until the next one.
func (s *Scorer) Question(firing int, choices []int) *Question {
	p := &s.sheet.parts[firing]
	if s.part != firing {
		s.part = firing
		s.question, s.groups = p.question, p.where
		s.question.Layers = make([]Layer, len(p.positions))
	}
	for i, k := range choices {
		c := &p.positions[i][k]
		s.question.Layers[i], s.question.melts[i] = c.layer, c.melt
		s.groups.glaze[i], s.groups.lot[i] = c.glaze, c.lot
	}
	return &s.question
}

// Estimate is Question.Estimate of that question. It does not allocate.
func (s *Scorer) Estimate(firing int, choices []int) (Estimate, error) {
	q := s.Question(firing, choices)
	if err := q.work(&s.physics); err != nil {
		return Estimate{}, err
	}
	return q.ask(&s.physics, &s.groups)
}
