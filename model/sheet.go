package model

import (
	"math"
	"sync/atomic"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
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
	question  Question // without layers
	mixes     []*Fired // one of each of what is mixed in it, by its number; nil where it is not in it
	positions []position
	setting   *calib.Setting
	first     int // index of its first combination
	// halves are the exposures to flow of half-and-half blends, by row and column of a triangle, as the bits of a float64; 0 where
	// one was not asked for yet. nil when there would be too many.
	halves []atomic.Uint64
}

// position is the choice of layers that there is at one.
type position struct {
	choices []choice
	columns columns
	coats   *calib.CoatColumns
}

// choice is a layer that may come at a position.
type choice struct {
	layer   Layer
	blended int32 // its number among what is mixed
	melt    int32 // its number among melts that differ as a film sees them
	odd     bool  // something in it may be refused
	coat    *calib.CoatIn
}

// columns are what is seen of choices, by column: a film's layers, and a regression's.
type columns struct {
	thickness, density, flow, diffusion          []float64
	mass, variance, coneExcess, matte, described []float64
	tension, log10                               []float64
}

func (c *columns) add(l *Layer) {
	for column, v := range map[*[]float64]float64{
		&c.thickness: l.Thickness.Metres, &c.density: l.Density, &c.flow: l.Exposure.Flow, &c.diffusion: film.FourthRoot(l.Exposure.Diffusion),
		&c.mass: l.Density * l.Thickness.Metres, &c.variance: l.variance(), &c.coneExcess: l.coneExcess,
		&c.matte: l.matte, &c.described: l.described, &c.tension: l.Tension, &c.log10: l.ReferenceLog10,
	} {
		*column = append(*column, v)
	}
}

// maxHalves bounds what a sheet remembers of its blends, to 64 MB.
const maxHalves = 8 << 20

// Add a firing, as a question without layers and the choices at each position, all fired in it, first applied first. Add all before the first Scorer.
func (s *Sheet) Add(q *Question, positions [][]Layer) {
	p := part{question: *q, first: s.total}
	p.question.halves = s
	p.question.stand()
	if s.mixed == nil {
		s.mixed = map[mixed]int32{}
	}
	melts := map[film.Layer]int32{}
	for _, layers := range positions {
		var at position
		for i := range layers {
			l := &layers[i]
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
			alike := film.Layer{Density: l.Density, Exposure: l.Exposure} // as film.Layer.Alike has it
			number, ok := melts[alike]
			if !ok {
				number = int32(len(melts))
				melts[alike] = number
			}
			at.choices = append(at.choices, choice{layer: *l, blended: id, melt: number, odd: l.odd()})
			at.columns.add(l)
		}
		p.positions = append(p.positions, at)
	}
	p.regress()
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

// Choices that are within these are never refused with others like them, whatever the sheet: only they are answered in rows.
const (
	leastThickness = 1e-6 // m; the regression takes films from 8e-7 on
	mostRelativeSD = 2
	mostConeExcess = 30
	mostLog10      = 30 // the contrast of two is at most 80 in ln
)

// odd says that something of a layer may be refused.
func (l *Layer) odd() bool {
	f := l.film()
	return f.Check() != nil || film.CheckTension(l.Tension) != nil || !(l.Thickness.Metres >= leastThickness) ||
		!(l.Thickness.RelativeSD >= 0 && l.Thickness.RelativeSD <= mostRelativeSD) || !(math.Abs(l.coneExcess) <= mostConeExcess) ||
		!(l.ReferenceLog10 >= -4 && l.ReferenceLog10 <= mostLog10)
}

// regress finds what the regression knows of the choices.
func (p *part) regress() {
	q := &p.question
	if p.combinations() == 0 || len(p.positions) == 0 || len(p.positions) > film.MaxLayers || !(q.Stirring >= 0 && q.Stirring <= film.MaxStirring) ||
		!(q.Tolerated >= MinTolerated && q.Tolerated <= MaxTolerated) {
		return
	}
	p.setting = q.setting(p.positions[0].choices[0].layer.Fired, len(p.positions) > 1)
	for i := range p.positions {
		at := &p.positions[i]
		var coats []*calib.CoatIn
		for k := range at.choices {
			c := &at.choices[k]
			c.coat = c.layer.coatIn(p.setting)
			coats = append(coats, c.coat)
		}
		at.coats = calib.NewCoatColumns(coats)
	}
}

// combinations is how many there are in a firing.
func (p *part) combinations() int {
	n := 1
	for i := range p.positions {
		n *= len(p.positions[i].choices)
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
		n := len(p.positions[i].choices)
		choices[i], index = index%n, index/n
	}
	return firing
}

// half is halves.half; ok is false where there would be too many to remember.
func (s *Sheet) half(l *Layering, i int) (flow float64, ok bool) {
	if s.parts[l.part].halves == nil {
		return 0, false
	}
	return s.blended(l.part, l.blended[i], l.blended[i+1], l.Layers[i].Fired, l.Layers[i+1].Fired), true
}

// blended is the exposure to flow in a firing of the blend of two choices, half and half, by their numbers among what is mixed.
func (s *Sheet) blended(part int, a, b int32, under, over *Fired) float64 {
	halves := s.parts[part].halves
	row, column := int(max(a, b)), int(min(a, b))
	at := row*(row+1)/2 + column
	if known := halves[at].Load(); known != 0 {
		return math.Float64frombits(known)
	}
	if under.Glaze.Melt == nil || over.Glaze.Melt == nil { // blended by how it flows in this very firing
		flow := blendFlow(under, over, 0.5)
		halves[at].Store(math.Float64bits(flow))
		return flow
	}
	s.blend(row, column)
	return math.Float64frombits(halves[at].Load())
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
			p.halves[r*(r+1)/2+column].Store(math.Float64bits(oxidisedFlow(&k, p.mixes[r], p.mixes[column], 0.5)))
		}
	}
}

// together is how many combinations are answered at a time.
const together = 64

// Scorer scores the combinations of a sheet.
type Scorer struct {
	sheet    *Sheet
	part     int // that the question is of; -1: none yet
	question Question
	choices  []int
	physics  Physics
	batches  [film.MaxLayers + 1]*batch
	runs     []run
	odd      [together]bool // lanes that are asked about by themselves
}

// Scorer makes a scorer.
func (s *Sheet) Scorer() *Scorer { return &Scorer{sheet: s, part: -1} }

// Question is about combination index. It holds until the next one.
func (s *Scorer) Question(index int) *Question {
	s.begin(index)
	s.choose(&s.sheet.parts[s.part])
	return &s.question
}

// begin finds the choices of combination index, and its firing.
func (s *Scorer) begin(index int) {
	positions := 0
	for i := range s.sheet.parts {
		positions = max(positions, len(s.sheet.parts[i].positions))
	}
	if len(s.choices) < positions {
		s.choices = make([]int, positions)
	}
	firing := s.sheet.At(index, s.choices)
	if s.part != firing {
		p := &s.sheet.parts[firing]
		s.part = firing
		s.question = p.question
		s.question.part = firing
		s.question.Layers = make([]Layer, len(p.positions))
	}
}

// choose puts the choices into the question.
func (s *Scorer) choose(p *part) {
	for i := range p.positions {
		c := &p.positions[i].choices[s.choices[i]]
		s.question.Layers[i], s.question.blended[i] = c.layer, c.blended
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
		some := dst[done : done+n]
		s.answer(p, some)
		for i := range some {
			if !s.odd[i] {
				continue
			}
			var err error
			if some[i], err = s.Question(first + done + i).Estimate(&s.physics); err != nil {
				return done + i, err
			}
		}
		done += n
	}
	return done, nil
}

// answer answers as many combinations as there is room in dst, from the choices on, and says which are odd: those in which neighbours are alike or a
// choice is odd, and what did not turn out to be an answer.
func (s *Scorer) answer(p *part, dst []Estimate) {
	n, layers := len(dst), len(p.positions)
	for i := range n {
		s.odd[i] = p.setting == nil || p.halves == nil
	}
	if s.odd[0] {
		return
	}
	a := s.batches[layers]
	if a == nil {
		a = newBatch(film.NewStacks(layers, together), together)
		s.batches[layers] = a
	}
	a.set(&p.question, p.setting)
	s.split(p, n)
	s.fill(p, a)
	a.films.Stir(p.question.Stirring, 0, n)
	a.films.Mix(n)
	s.blend(p, a)
	a.films.Flow(p.question.Wall.Sin(), n)
	a.see(n)
	s.pair(p, a)
	a.answer(dst, p.question.Wall)
	for i := range dst {
		s.odd[i] = s.odd[i] || a.faulty(i)
	}
}
