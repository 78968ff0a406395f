package model

import (
	"math"
	"sync/atomic"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/firing"
)

// Sheet is many layerings that are made of the same choices of layers. What one score shares with another is worked out once: above all
// the blend of two glazes, half and half, which is the same whichever is on top, and but for its iron in every firing. A score of a
// sheet is to the last bit the score of its layering alone.
//
// It is safe for concurrent use, each goroutine with a Scorer of its own.
type Sheet struct {
	parts []part
	total int // combinations
	mixed map[mixed]int32
	mixes []*Fired // one of each of what is mixed, by its number, in any firing
}

// mixed is what of a glaze goes into a blend in every firing: of a described one all that there is.
type mixed struct {
	oxidised  chem.Melt
	crystals  float64
	described *Glaze
}

// part is a firing of a sheet.
type part struct {
	question  Question         // without layers
	firing    *firing.Prepared // nil: there is nothing in it
	mixes     []*Fired         // one of each of what is mixed in it, by its number; nil where it is not in it
	positions [][]choice
	first     int // index of its first combination
	// halves are the exposures to flow of half-and-half blends, by row and column of a triangle, as the bits of a float64; 0 where
	// one was not asked for yet. nil when there would be too many.
	halves []atomic.Uint64
}

// choice is a layer that may come at a position.
type choice struct {
	layer   Layer
	blended int32 // its number among what is mixed
}

// maxHalves bounds what a sheet remembers of its blends, to 64 MB.
const maxHalves = 8 << 20

// Add a firing, as a question without layers and the choices at each position, all fired in it, first applied first. Add all before the first Scorer.
func (s *Sheet) Add(q *Question, positions [][]Layer) {
	p := part{question: *q, first: s.total}
	p.question.halves = s
	p.question.stand()
	p.question.standing.level = p.question.standing.level.Ready()
	if s.mixed == nil {
		s.mixed = map[mixed]int32{}
	}
	for _, layers := range positions {
		var choices []choice
		for _, l := range layers {
			p.firing = l.Firing
			m := mixed{oxidised: l.oxidised, crystals: l.crystals}
			if l.Glaze.Melt == nil {
				m = mixed{described: l.Glaze}
			}
			id, ok := s.mixed[m]
			if !ok {
				id = int32(len(s.mixed))
				s.mixed[m] = id
				s.mixes = append(s.mixes, l.Fired)
			}
			if missing := int(id) + 1 - len(p.mixes); missing > 0 {
				p.mixes = append(p.mixes, make([]*Fired, missing)...)
			}
			p.mixes[id] = l.Fired
			choices = append(choices, choice{l, id})
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

// combinations is how many there are in a firing.
func (p *part) combinations() int {
	n := 1
	for _, choices := range p.positions {
		n *= len(choices)
	}
	return n
}

// Len is the number of combinations in all firings.
func (s *Sheet) Len() int { return s.total }

// At gives the firing of combination index and writes its choice at each position. The choice of the last position goes round fastest, the firing slowest.
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

// half is halves.half; ok is false where there would be too many to remember.
func (s *Sheet) half(l *Layering, i int) (flow float64, ok bool) {
	halves := s.parts[l.part].halves
	if halves == nil {
		return 0, false
	}
	row, column := int(max(l.blended[i], l.blended[i+1])), int(min(l.blended[i], l.blended[i+1]))
	at := row*(row+1)/2 + column
	if known := halves[at].Load(); known != 0 {
		return math.Float64frombits(known), true
	}
	under, over := l.Layers[i].Fired, l.Layers[i+1].Fired
	if under.Glaze.Melt == nil || over.Glaze.Melt == nil { // blended by how it flows in this very firing
		flow = blendFlow(under, over, 0.5)
		halves[at].Store(math.Float64bits(flow))
		return flow, true
	}
	s.blend(row, column)
	return math.Float64frombits(halves[at].Load()), true
}

// inARow is how many blends are worked out in a row: it takes half the time of as many one by one, as the network stays at hand.
const inARow = 16

// blend works out the blend of a row and a column and its neighbours in the column, in all firings. When several ask for it they write the same.
func (s *Sheet) blend(row, column int) {
	first := max(row/inARow*inARow, column)
	for r := first; r < min(row/inARow*inARow+inARow, len(s.mixes)); r++ {
		a, b := s.mixes[r], s.mixes[column]
		if a.Glaze.Melt == nil {
			continue
		}
		k := oxidisedBlend(a, b, 0.5)
		for i := range s.parts {
			p := &s.parts[i]
			if r >= len(p.mixes) || p.mixes[r] == nil || p.mixes[column] == nil {
				continue
			}
			fired := k.Shifted(blendRedox(p.mixes[r], p.mixes[column], 0.5))
			p.halves[r*(r+1)/2+column].Store(math.Float64bits(p.firing.Flow(&fired)))
		}
	}
}

// together is how many combinations are answered at a time.
const together = 32

// Scorer scores the combinations of a sheet.
type Scorer struct {
	sheet    *Sheet
	part     int // that the question is of; -1: none yet
	question Question
	choices  []int
	physics  Physics
	batch    batch
}

// Scorer makes a scorer.
func (s *Sheet) Scorer() *Scorer { return &Scorer{sheet: s, part: -1, batch: newBatch(together)} }

// Question is about combination index. It holds until the next one.
func (s *Scorer) Question(index int) *Question {
	s.begin(index)
	return &s.question
}

// begin makes the question that of combination index.
func (s *Scorer) begin(index int) {
	positions := 0
	for i := range s.sheet.parts {
		positions = max(positions, len(s.sheet.parts[i].positions))
	}
	if len(s.choices) < positions {
		s.choices = make([]int, positions)
	}
	firing := s.sheet.At(index, s.choices)
	p := &s.sheet.parts[firing]
	if s.part != firing {
		s.part = firing
		s.question = p.question
		s.question.part = firing
		s.question.Layers = make([]Layer, len(p.positions))
	}
	for i := range p.positions {
		s.choose(p, i, s.choices[i])
	}
}

// choose puts choice k in position i of the question.
func (s *Scorer) choose(p *part, i, k int) {
	c := &p.positions[i][k]
	s.choices[i] = k
	s.question.Layers[i], s.question.blended[i] = c.layer, c.blended
}

// next makes the question that of the next combination of the same firing.
func (s *Scorer) next(p *part) {
	for i := len(p.positions) - 1; i >= 0; i-- {
		if k := s.choices[i] + 1; k < len(p.positions[i]) {
			s.choose(p, i, k)
			return
		}
		s.choose(p, i, 0)
	}
}

// Estimates writes Question.Estimate of combination first and those that follow into dst. It does not allocate but for the first of a firing. With
// an error it says how many come before the one that cannot be answered.
func (s *Scorer) Estimates(dst []Estimate, first int) (int, error) {
	done := 0
	for done < len(dst) {
		s.begin(first + done)
		p := &s.sheet.parts[s.part]
		n := min(len(dst)-done, together, p.first+p.combinations()-first-done)
		for i := range n {
			if i > 0 {
				s.next(p)
			}
			if err := s.question.work(&s.physics); err != nil {
				return done + i, err
			}
			s.question.put(&s.physics, &s.batch, i)
		}
		answered, err := s.question.answer(dst[done:done+n], &s.batch)
		if done += answered; err != nil {
			return done, err
		}
	}
	return done, nil
}
