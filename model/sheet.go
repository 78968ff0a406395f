package model

import (
	"math"
	"sync/atomic"

	"github.com/catchline/catchline/model/chem"
)

// Sheet is many layerings that are made of the same choices of layers. What one score shares with another is worked out
// once: above all the blend of two glazes, half and half, which is the same whichever is on top, and but for its iron
// in every firing. A score of a sheet is to the last bit the score of its layering alone.
//
// It is safe for concurrent use, each goroutine with a Scorer of its own.
type Sheet struct {
	parts []part
	total int // combinations
	mixed map[mixed]int32
}

// mixed is the part of a glaze that goes into a blend in every firing; for a described glaze it is everything.
type mixed struct {
	oxidised  chem.Melt
	crystals  float64
	own       float64 // K, of its own cone
	described *Glaze
}

// part is a firing of a sheet.
type part struct {
	question  Question // without layers
	mixes     []*Fired // one of each of what is mixed in it, by its number; nil where it is not in it
	positions [][]choice
	first     int // index of its first combination
	// halves are the exposures to flow of half-and-half blends, by row and column of a triangle, as the bits of a
	// float64; 0 where one was not asked for yet. nil when there would be too many.
	halves []atomic.Uint64
}

// choice is a layer that may come at a position.
type choice struct {
	layer   Layer
	blended int32 // its number among what is mixed
}

// maxHalves bounds what a sheet remembers of its blends, to 64 MB.
const maxHalves = 8 << 20

// Add a firing, as a question without layers and the choices at each position, all fired in it, first applied first.
// Add all before the first Scorer.
func (s *Sheet) Add(q *Question, positions [][]Layer) {
	p := part{question: *q, first: s.total}
	p.question.sheet, p.question.part = s, len(s.parts)
	if s.mixed == nil {
		s.mixed = map[mixed]int32{}
	}
	for _, layers := range positions {
		choices := make([]choice, len(layers))
		for i, l := range layers {
			choices[i] = choice{l, s.number(&p, l.Fired)}
		}
		p.positions = append(p.positions, choices)
	}
	s.parts = append(s.parts, p)
	s.total += p.combinations()
	n := len(s.mixed)
	n = n * (n + 1) / 2
	for i := range s.parts {
		s.parts[i].halves = nil
		if n*len(s.parts) <= maxHalves {
			s.parts[i].halves = make([]atomic.Uint64, n)
		}
	}
}

// number finds the number of a glaze among what is mixed, and notes it as one of the firing's.
func (s *Sheet) number(p *part, d *Fired) int32 {
	m := mixed{oxidised: d.oxidised, crystals: d.maturity.Crystals, own: d.maturity.Own}
	if d.Glaze.Melt == nil {
		m = mixed{described: d.Glaze}
	}
	id, ok := s.mixed[m]
	if !ok {
		id = int32(len(s.mixed))
		s.mixed[m] = id
	}
	if missing := int(id) + 1 - len(p.mixes); missing > 0 {
		p.mixes = append(p.mixes, make([]*Fired, missing)...)
	}
	p.mixes[id] = d
	return id
}

// combinations is how many there are in a firing.
func (p *part) combinations() int {
	n := 1
	for i := range p.positions {
		n *= len(p.positions[i])
	}
	return n
}

// Len is the number of combinations in all firings.
func (s *Sheet) Len() int { return s.total }

// At gives the firing of combination index and writes its choice at each position. The choice of the last position goes
// round fastest, the firing slowest.
func (s *Sheet) At(index int, choices []int) (firing int) {
	for firing = len(s.parts) - 1; s.parts[firing].first > index; {
		firing--
	}
	p := &s.parts[firing]
	index -= p.first
	for i := len(p.positions) - 1; i >= 0; i-- {
		n := len(p.positions[i])
		choices[i], index = index%n, index/n
	}
	return firing
}

// half is blendFlow of two layers of a layering, half and half, which is remembered.
func (s *Sheet) half(l *Layering, under, over int) float64 {
	a, b := l.Layers[under].Fired, l.Layers[over].Fired
	halves := s.parts[l.part].halves
	if halves == nil {
		return blendFlow(a, b, 0.5)
	}
	row, column := int(max(l.blended[under], l.blended[over])), int(min(l.blended[under], l.blended[over]))
	at := row*(row+1)/2 + column
	if known := halves[at].Load(); known != 0 {
		return math.Float64frombits(known)
	}
	if a.Glaze.Melt == nil || b.Glaze.Melt == nil { // blended by how it flows in this very firing
		flow := blendFlow(a, b, 0.5)
		halves[at].Store(math.Float64bits(flow))
		return flow
	}
	// In all firings at once, which differ in what they make of the iron. When several ask for it they write the same.
	oxidised := oxidisedBlend(a, b, 0.5)
	for i := range s.parts {
		p := &s.parts[i]
		if row < len(p.mixes) && p.mixes[row] != nil && p.mixes[column] != nil {
			p.halves[at].Store(math.Float64bits(oxidisedFlow(&oxidised, p.mixes[row], p.mixes[column], 0.5)))
		}
	}
	return math.Float64frombits(halves[at].Load())
}

// Scorer scores the combinations of a sheet.
type Scorer struct {
	sheet    *Sheet
	part     int // that the question is of; -1: none yet
	question Question
	choices  []int
	physics  Physics
}

// Scorer makes a scorer.
func (s *Sheet) Scorer() *Scorer {
	positions := 0
	for i := range s.parts {
		positions = max(positions, len(s.parts[i].positions))
	}
	return &Scorer{sheet: s, part: -1, choices: make([]int, positions)}
}

// Question is about combination index. It holds until the next one.
func (s *Scorer) Question(index int) *Question {
	firing := s.sheet.At(index, s.choices)
	p := &s.sheet.parts[firing]
	if s.part != firing {
		s.part = firing
		s.question = p.question
		s.question.Layers = make([]Layer, len(p.positions))
	}
	for i := range p.positions {
		c := &p.positions[i][s.choices[i]]
		s.question.Layers[i] = c.layer
		if i < len(s.question.blended) { // more layers are refused
			s.question.blended[i] = c.blended
		}
	}
	return &s.question
}

// Estimates writes Question.Estimate of combination first and those that follow into dst. It does not allocate but for
// the first of a firing. With an error it says how many come before the one that cannot be answered.
func (s *Scorer) Estimates(dst []Estimate, first int) (int, error) {
	for i := range dst {
		var err error
		if dst[i], err = s.Question(first + i).Estimate(&s.physics); err != nil {
			return i, err
		}
	}
	return len(dst), nil
}
