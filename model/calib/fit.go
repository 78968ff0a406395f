package calib

import (
	"cmp"
	"math"
	"slices"

	"github.com/catchline/catchline/model/calib/internal/student"
	"gonum.org/v1/gonum/floats"
)

// Calibration is one fitted regression. It is immutable, and safe for concurrent use.
type Calibration struct {
	prior       Prior
	components  VarianceComponents
	core, pairs register
	used        [NumFactors]bool
	rows        []*row // by time
	tops        []*pairTop
	index       *index
	r           *rFactor  // columns by position
	θ           []float64 // standardised coefficients by position, as sajari/regression gave them
	convolution *student.Convolution
	memo        *memo
	search      Search
	record      []Judgement
}

// pairTop is the row of R of one pair: d·v + b·θ = y. Its pair touches no other row of R, so it is kept sparse, by id.
type pairTop struct {
	d, y float64
	b    []entry
}

// Search says how the fit came out.
type Search struct {
	Tiles          int
	Iterations     int  // of the search for the mode at the final variances
	EMSteps        int  // how many of those were steps of expectation and maximisation
	Converged      bool // whether the last step was below the tolerance
	Decrement      float64
	LnMarginal     float64 // log marginal likelihood of the tiles at the final variances
	ComponentTiles int     // tiles that the variances were learnt from
	Condition      float64 // condition number of R, pairs eliminated
	Added          int     // tiles added since by Add, at these variances
}

// Fit learns from the tiles. With no tile it is the prior alone. Tiles may come in any order; names must differ.
// Errors: *fault.Error naming the tile and field.
func Fit(tiles []Tile, prior Prior) (*Calibration, error) {
	if err := prior.check(); err != nil {
		return nil, err
	}
	sorted, err := inOrder(tiles)
	if err != nil {
		return nil, err
	}
	// The two take about as long, and know nothing of each other.
	var c *Calibration
	var record []Judgement
	err = both(
		func() (err error) { record, err = walk(sorted, prior); return err },
		func() (err error) { c, err = fit(sorted, prior, searchPrecision); return err },
	)
	if err != nil {
		return nil, err
	}
	c.record = record
	return c, nil
}

// both does two things at once, and gives the error of the second before that of the first. A panic in either is one of the caller.
func both(first, second func() error) error {
	var err error
	var panicked any
	done := make(chan struct{})
	go func() {
		defer close(done)
		defer func() { panicked = recover() }()
		err = first()
	}()
	other := func() error {
		defer func() { <-done }()
		return second()
	}()
	if panicked != nil {
		panic(panicked)
	}
	if other != nil {
		return other
	}
	return err
}

// searchPrecision is to what change of the log marginal likelihood the variances are searched. A thousandth is far below what
// the tiles can tell.
const searchPrecision = 1e-3

func fit(sorted []*Tile, prior Prior, precision float64) (*Calibration, error) {
	c := &Calibration{prior: prior, components: prior.middle()}
	if len(sorted) > 0 {
		few := &Calibration{prior: prior}
		few.lay(sample(sorted))
		c.search.ComponentTiles = len(few.rows)
		var err error
		if c.components, err = newSystem(&few.prior, &few.core, &few.pairs, few.rows).components(&few.prior, precision); err != nil {
			return nil, err
		}
	}
	if err := c.learn(sorted); err != nil {
		return nil, err
	}
	return c, nil
}

// lay the tiles out as rows.
func (c *Calibration) lay(sorted []*Tile) {
	c.core, c.pairs = registers(sorted)
	c.used = inUse(&c.core, &c.pairs)
	c.rows = make([]*row, len(sorted))
	for i, t := range sorted {
		c.rows[i] = newRow(t, &c.prior, &c.core, &c.pairs)
	}
}

// learn the coefficients from the tiles at the calibration's variance components.
func (c *Calibration) learn(sorted []*Tile) error {
	c.lay(sorted)
	s := newSystem(&c.prior, &c.core, &c.pairs, c.rows)
	m, err := s.find(&c.components, nil, closely)
	if err != nil {
		return err
	}
	c.search.Tiles = len(sorted)
	c.search.Iterations, c.search.EMSteps = m.iterations, m.emSteps
	c.search.Converged, c.search.Decrement = m.converged, m.decrement
	c.search.LnMarginal = m.lnMarginal()
	s.linearise(m, &c.components)
	c.convolution = student.NewConvolution(c.components.DF)
	c.factorise()
	c.search.Condition = c.r.condition()
	c.θ, err = c.r.solve()
	c.index, c.memo = c.newIndex(), &memo{}
	return err
}

// linearise turns every tile into the least-squares row whose solution is the mode.
func (s *system) linearise(m *posteriorMode, v *VarianceComponents) {
	scale := scales(s.prior, s.core, v)
	pairScale := s.pairScales(v)
	for i, r := range s.rows {
		η := r.predictor(scale, pairScale, m.θ, m.pair)
		r.h = m.support[i].weight()
		r.z = η + m.support[i].slope/r.h
	}
}

func (s *system) pairScales(v *VarianceComponents) []float64 {
	p := make([]float64, len(s.pairs.levels))
	for i := range p {
		p[i] = s.pairs.levels[i].scale(v)
	}
	return p
}

// position of a column in the triangle R: levels from last to first, then the fixed effects.
func (c *Calibration) position(id int32) int {
	levels := len(c.core.levels)
	if int(id) < int(NumEffects) {
		return levels + int(id)
	}
	return levels - 1 - (int(id) - int(NumEffects))
}

// spreadOut writes factor × a design row's standardised entries to dst by position.
func (c *Calibration) spreadOut(dst []float64, p *designRow, factor float64) {
	for _, e := range p.entries {
		dst[c.position(e.id)] += factor * e.x * c.scale(e.id)
	}
}

func (c *Calibration) scale(id int32) float64 {
	if int(id) < int(NumEffects) {
		return c.prior.Effects[id].SD
	}
	return c.core.levels[int(id)-int(NumEffects)].scale(&c.components)
}

// blockRows is how many rows are gathered before a QR of the block.
func blockRows(columns int) int { return max(64, 2*columns) }

// factorise builds R from the prior rows and the linearised tiles: every pair's column is rotated out of its tiles, the
// rest goes through the thin QR in blocks, sorted by leading zeros.
func (c *Calibration) factorise() {
	n := int(NumEffects) + len(c.core.levels)
	c.r = newRFactor(n)
	for i := range n {
		c.r.row(i)[i] = 1 // prior rows
	}
	c.tops = make([]*pairTop, len(c.pairs.levels))
	first := func(r *row) int { return c.position(r.entries[len(r.entries)-1].id) } // entries are sorted by id
	type group struct {
		rows  []*row
		first int
	}
	var order []group
	seen := map[int32]int{}
	for _, r := range c.rows {
		if i, ok := seen[r.pair]; ok && r.pair >= 0 {
			order[i].rows = append(order[i].rows, r)
			order[i].first = min(order[i].first, first(r))
			continue
		}
		seen[r.pair] = len(order)
		order = append(order, group{[]*row{r}, first(r)})
	}
	slices.SortStableFunc(order, func(a, b group) int { return cmp.Compare(a.first, b.first) })
	block, zeros := make([]float64, 0, blockRows(n)*(n+1)), n
	flush := func() {
		c.r.absorb(block, zeros)
		block, zeros = block[:0], n
	}
	top := make([]float64, n+2) // pair, core columns, right-hand side
	line := make([]float64, n+2)
	for _, g := range order {
		p := g.rows[0].pair
		clear(top)
		top[0] = 1
		for _, r := range g.rows {
			clear(line)
			c.weighted(line, r)
			if p >= 0 {
				rotate(top, line, 0)
			}
			block = append(block, line[1:]...)
			zeros = min(zeros, g.first)
			if len(block) == cap(block) {
				flush()
			}
		}
		if p >= 0 {
			c.tops[p] = c.compress(top)
		}
	}
	flush()
}

// weighted writes a tile's least-squares row: pair, core columns by position, right-hand side.
func (c *Calibration) weighted(line []float64, r *row) {
	root := math.Sqrt(r.h)
	if r.pair >= 0 {
		line[0] = root * r.pairWeight * c.pairs.levels[r.pair].scale(&c.components)
	}
	c.spreadOut(line[1:len(line)-1], &r.designRow, root)
	line[len(line)-1] = root * (r.z - r.offset)
}

// id undoes position.
func (c *Calibration) id(position int) int32 {
	levels := len(c.core.levels)
	if position >= levels {
		return int32(position - levels)
	}
	return int32(int(NumEffects) + levels - 1 - position)
}

// compress keeps what is not zero of a pair's row.
func (c *Calibration) compress(top []float64) *pairTop {
	n := len(top) - 2
	t := &pairTop{d: top[0], y: top[n+1]}
	for id := range int32(n) {
		if v := top[1+c.position(id)]; v != 0 {
			t.b = append(t.b, entry{id, v})
		}
	}
	return t
}

// expand undoes compress.
func (c *Calibration) expand(top []float64, t *pairTop) {
	clear(top)
	top[0], top[len(top)-1] = t.d, t.y
	for _, e := range t.b {
		top[1+c.position(e.id)] = e.x
	}
}

// Add is the calibration with one more tile, at the same variances, in a time that grows with the square of the
// number of groups. The tile enters as if all before it were normal, so that a censored tile or an outlier does not have its
// weight revised by later ones: a new Fit does that.
// Errors: *fault.Error.
func (c *Calibration) Add(t *Tile) (*Calibration, error) {
	if err := t.Check(); err != nil {
		return nil, err
	}
	j, next, err := c.meet(t)
	if err != nil {
		return nil, err
	}
	next.record = append(c.record[:len(c.record):len(c.record)], j)
	return next, nil
}

// add a checked tile, the record apart.
func (c *Calibration) add(t *Tile) (*Calibration, error) {
	next := *c
	t.Conditions.visit(func(f Factor, _ Share) { next.used[f] = true })
	next.admit(&t.Conditions)
	r := newRow(t, &next.prior, &next.core, &next.pairs)
	mean, variance := next.linear(&r.designRow)
	r.h, r.z = next.oneStep(r, mean, variance)
	next.rows = append(c.rows[:len(c.rows):len(c.rows)], r)
	n := next.r.n
	line := make([]float64, n+2)
	next.weighted(line, r)
	if r.pair >= 0 {
		top := make([]float64, n+2)
		next.expand(top, next.tops[r.pair])
		rotate(top, line, 0)
		next.tops = append([]*pairTop(nil), next.tops...)
		next.tops[r.pair] = next.compress(top)
	}
	next.r = next.r.clone()
	next.r.absorbRow(line[1:])
	next.index, next.memo = c.index.with(&next), &memo{}
	next.search.Tiles++
	next.search.Added++
	var err error
	if next.θ, err = next.r.coefficients(); err != nil {
		return nil, err
	}
	return &next, nil
}

// oneStep finds the mode of one tile's predictor η under the normal N(mean, variance) that the others give it, and the
// least-squares row that stands for the tile there. The posterior of one number is climbed by bisection of its slope:
// the slope is positive far below the mode and negative far above.
func (c *Calibration) oneStep(r *row, mean, variance float64) (h, z float64) {
	e := newErrorModel(c.components.DF)
	scale := r.errorScale(&c.used, &c.components)
	slope := func(η float64) float64 {
		s := e.of(&r.reading, r.lnPhysics, η, scale)
		return s.slope - (η-mean)/variance
	}
	// A t likelihood can have two modes; the search begins at the mean and goes to the first one uphill.
	var low, high float64
	reach := math.Sqrt(variance)
	if slope(mean) > 0 {
		for high = mean + reach; slope(high) > 0; high += reach {
		}
		low = high - reach
	} else {
		for low = mean - reach; slope(low) < 0; low -= reach {
		}
		high = low + reach
	}
	for range 60 {
		if mid := (low + high) / 2; slope(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	η := (low + high) / 2
	s := e.of(&r.reading, r.lnPhysics, η, scale)
	h = s.weight()
	return h, η + s.slope/h
}

// linear is the mean and variance of the linear predictor of a design row, by a solve of the triangle: for a calibration that
// is asked once, where compiled would not pay.
func (c *Calibration) linear(p *designRow) (mean, variance float64) {
	a := make([]float64, c.r.n)
	mean, pairPart := c.project(a, p)
	c.r.halfSolve(a)
	return mean, pairPart*pairPart + floats.Dot(a, a)
}

// project writes a design row's weights on the core coefficients, its pair eliminated, to a, and returns the mean and the
// standard deviation that the pair adds by itself.
func (c *Calibration) project(a []float64, p *designRow) (mean, pairPart float64) {
	mean = p.offset
	c.spreadOut(a, p, 1)
	if p.pair >= 0 {
		t := c.tops[p.pair]
		pairPart = p.pairWeight * c.pairs.levels[p.pair].scale(&c.components) / t.d
		mean += pairPart * t.y
		for _, e := range t.b {
			a[c.position(e.id)] -= pairPart * e.x
		}
	}
	return mean + floats.Dot(a, c.θ), pairPart
}

// Search says how the fit came out.
func (c *Calibration) Search() Search { return c.search }

// VarianceComponents that the calibration was fitted with.
func (c *Calibration) VarianceComponents() VarianceComponents { return c.components }

// Coefficient is one learnt number, in ln drive per unit of its column.
type Coefficient struct {
	Name     string // "reduction", "glaze NAME"
	Mean, SD float64
}

// Coefficients are the fixed effects and then the group effects, pairs last.
func (c *Calibration) Coefficients() []Coefficient {
	out := make([]Coefficient, 0, c.r.n+len(c.tops))
	one := func(name string, p designRow, offset float64) {
		mean, variance := c.linear(&p)
		out = append(out, Coefficient{name, mean + offset, math.Sqrt(variance)})
	}
	for e := range NumEffects {
		one(e.String(), designRow{entries: []entry{{int32(e), 1}}, pair: -1}, c.prior.Effects[e].Mean)
	}
	for i, l := range c.core.levels {
		one(l.factor.String()+" "+l.name, designRow{entries: []entry{{int32(NumEffects) + int32(i), 1}}, pair: -1}, 0)
	}
	for i, l := range c.pairs.levels {
		one(l.factor.String()+" "+l.name, designRow{pair: int32(i), pairWeight: 1}, 0)
	}
	return out
}
