package calib

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/catchline/catchline/model/calib/internal/student"
)

// A stored calibration is: magic, version, payload, SHA-256 of all before. Integers are unsigned varints, numbers are
// the 8 bytes of a float64, little endian, so that what comes back predicts with the same bits.
const (
	magic   = "CLCAL"
	version = 2 // 1: without beads
)

// ErrCorrupt is wrapped by every error of UnmarshalBinary.
var ErrCorrupt = errors.New("not a stored calibration")

type writer struct{ b []byte }

func (w *writer) uint(v int)      { w.b = binary.AppendUvarint(w.b, uint64(v)) }
func (w *writer) int(v int64)     { w.b = binary.AppendVarint(w.b, v) }
func (w *writer) float(v float64) { w.b = binary.LittleEndian.AppendUint64(w.b, math.Float64bits(v)) }
func (w *writer) string(v string) { w.uint(len(v)); w.b = append(w.b, v...) }
func (w *writer) floats(v []float64) {
	for _, f := range v {
		w.float(f)
	}
}
func (w *writer) bool(v bool) {
	if v {
		w.uint(1)
	} else {
		w.uint(0)
	}
}
func (w *writer) entries(v []entry) {
	w.uint(len(v))
	for _, e := range v {
		w.uint(int(e.id))
		w.float(e.x)
	}
}

// MarshalBinary implements encoding.BinaryMarshaler.
func (c *Calibration) MarshalBinary() ([]byte, error) {
	w := &writer{}
	w.b = append(w.b, magic...)
	w.uint(version)
	for _, e := range c.prior.Effects {
		w.float(e.Mean)
		w.float(e.SD)
	}
	for _, s := range append(c.prior.Spread[:len(c.prior.Spread):len(c.prior.Spread)], c.prior.Noise, c.prior.Physics) {
		w.float(s.Median)
		w.float(s.LnSD)
	}
	w.uint(len(c.prior.DF))
	w.floats(c.prior.DF)
	w.floats(c.components.Spread[:])
	w.float(c.components.Noise)
	w.float(c.components.Physics)
	w.float(c.components.DF)
	for _, u := range c.used {
		w.bool(u)
	}
	for _, g := range []*register{&c.core, &c.pairs} {
		w.uint(len(g.levels))
		for _, l := range g.levels {
			w.uint(int(l.factor))
			w.string(l.name)
			w.float(l.priorSD)
		}
	}
	w.uint(len(c.rows))
	for _, r := range c.rows {
		w.row(r)
	}
	for _, t := range c.tops {
		w.float(t.d)
		w.float(t.y)
		w.entries(t.b)
	}
	for i := 0; i <= c.r.n; i++ {
		w.floats(c.r.row(i)[i:])
	}
	w.floats(c.θ)
	s := &c.search
	w.uint(s.Iterations)
	w.uint(s.EMSteps)
	w.bool(s.Converged)
	w.floats([]float64{s.Decrement, s.LnMarginal, s.Condition})
	w.uint(s.ComponentTiles)
	w.uint(s.Added)
	w.uint(len(c.record))
	for i := range c.record {
		w.judgement(&c.record[i])
	}
	sum := sha256.Sum256(w.b)
	return append(w.b, sum[:]...), nil
}

func (w *writer) row(r *row) {
	w.string(r.name)
	w.int(r.order)
	w.string(r.cone)
	w.entries(r.entries)
	w.uint(int(r.pair + 1))
	w.floats(r.missing[:])
	w.floats([]float64{r.offset, r.pairWeight, r.unseen, r.lnPhysics, r.physicsSD, r.h, r.z})
	w.uint(int(r.reading.Outcome))
	w.floats([]float64{r.reading.Low, r.reading.High, r.reading.SD, r.reading.LowMM, r.reading.HighMM})
	w.bool(r.clearance != nil)
	if r.clearance != nil {
		w.float(*r.clearance)
	}
}

func (w *writer) judgement(j *Judgement) {
	w.string(j.Tile)
	w.int(j.Order)
	w.string(j.Cone)
	w.uint(len(j.Glazes))
	for _, g := range j.Glazes {
		w.string(g)
	}
	w.uint(int(j.Outcome))
	w.floats([]float64{j.Mean, j.Scale, j.DF, j.Error, j.LnScore, j.Low, j.High, j.Exceeds})
	w.bool(j.Decided)
	w.bool(j.Exceeded)
}

// reader keeps its first error; after it every read gives zero.
type reader struct {
	b       []byte
	err     error
	factors int // how many there are in what is read
}

func (r *reader) fail(what string) {
	if r.err == nil {
		r.err = fmt.Errorf("%w: %s", ErrCorrupt, what)
	}
}

func (r *reader) uint(limit int) int {
	v, n := binary.Uvarint(r.b)
	if r.err != nil || n <= 0 || v > uint64(limit) {
		r.fail("a count is out of range")
		return 0
	}
	r.b = r.b[n:]
	return int(v)
}

// count of things that take at least size bytes each: bounded by what is left, so that no lie makes us allocate.
func (r *reader) count(size int) int { return r.uint(len(r.b) / size) }

func (r *reader) int() int64 {
	v, n := binary.Varint(r.b)
	if r.err != nil || n <= 0 {
		r.fail("an integer is cut short")
		return 0
	}
	r.b = r.b[n:]
	return v
}

func (r *reader) bool() bool { return r.uint(1) == 1 }

func (r *reader) string() string {
	n := r.count(1)
	if r.err != nil || n > len(r.b) { // the count itself took a byte
		r.fail("a name is cut short")
		return ""
	}
	s := string(r.b[:n])
	r.b = r.b[n:]
	return s
}

// float is any number but NaN.
func (r *reader) float() float64 {
	if r.err != nil || len(r.b) < 8 {
		r.fail("a number is cut short")
		return 0
	}
	v := math.Float64frombits(binary.LittleEndian.Uint64(r.b))
	if math.IsNaN(v) {
		r.fail("a number is NaN")
		return 0
	}
	r.b = r.b[8:]
	return v
}

func (r *reader) floats(dst []float64) {
	for i := range dst {
		dst[i] = r.float()
	}
}

func (r *reader) entries(limit int) []entry {
	n := r.count(9)
	out := make([]entry, 0, n)
	for range n {
		e := entry{int32(r.uint(limit - 1)), r.float()}
		if k := len(out); k > 0 && out[k-1].id >= e.id {
			r.fail("columns are out of order")
		}
		if math.IsInf(e.x, 0) {
			r.fail("a column is infinite")
		}
		out = append(out, e)
	}
	return out
}

// UnmarshalBinary implements encoding.BinaryUnmarshaler. It is for a new Calibration only, which is immutable after.
// Errors wrap ErrCorrupt.
func (c *Calibration) UnmarshalBinary(data []byte) error {
	if len(data) < len(magic)+1+sha256.Size || string(data[:len(magic)]) != magic {
		return fmt.Errorf("%w: it does not begin as one", ErrCorrupt)
	}
	body, sum := data[:len(data)-sha256.Size], data[len(data)-sha256.Size:]
	if sha256.Sum256(body) != [sha256.Size]byte(sum) {
		return fmt.Errorf("%w: the checksum differs", ErrCorrupt)
	}
	d, err := decode(body[len(magic):])
	if err != nil {
		return err
	}
	*c = *d
	return nil
}

func decode(body []byte) (*Calibration, error) {
	r := &reader{b: body}
	v := r.uint(math.MaxInt32)
	if r.err == nil && (v < 1 || v > version) {
		return nil, fmt.Errorf("%w: it is of version %d; this program reads up to %d", ErrCorrupt, v, version)
	}
	r.factors = int(NumFactors)
	if v == 1 {
		r.factors = int(Bead)
	}
	c := &Calibration{}
	for e := range c.prior.Effects {
		c.prior.Effects[e] = Normal{r.float(), r.float()}
	}
	c.prior.Spread[Bead] = DefaultPrior().Spread[Bead]
	for f := range r.factors {
		c.prior.Spread[f] = LogNormal{r.float(), r.float()}
	}
	c.prior.Noise = LogNormal{r.float(), r.float()}
	c.prior.Physics = LogNormal{r.float(), r.float()}
	c.prior.DF = make([]float64, r.count(8))
	r.floats(c.prior.DF)
	c.components.Spread[Bead], c.used[Bead] = c.prior.Spread[Bead].Median, true
	r.floats(c.components.Spread[:r.factors])
	c.components.Noise, c.components.Physics, c.components.DF = r.float(), r.float(), r.float()
	for f := range r.factors {
		c.used[f] = r.bool()
	}
	if r.err == nil {
		if err := c.prior.check(); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrCorrupt, err)
		}
	}
	for _, v := range append(c.components.Spread[:len(c.components.Spread):len(c.components.Spread)], c.components.Noise, c.components.Physics) {
		if !(v >= minComponent/2 && v <= 2*maxComponent) {
			r.fail("a variance component is out of range")
		}
	}
	if !(c.components.DF > 2) {
		r.fail("the degrees of freedom are out of range")
	}
	for _, g := range []*register{&c.core, &c.pairs} {
		n := r.count(10)
		g.base = make(map[levelKey]int, n)
		for i := range n {
			l := level{Factor(r.uint(int(NumFactors) - 1)), r.string(), r.float()}
			if (l.factor == Pair) != (g == &c.pairs) || !(l.priorSD >= 0 && l.priorSD <= maxSD) {
				r.fail("a group is not as it should be")
			}
			g.base[levelKey{l.factor, l.name}] = i
			g.levels = append(g.levels, l)
		}
		if len(g.base) != len(g.levels) {
			r.fail("a group comes twice")
		}
	}
	columns := int(NumEffects) + len(c.core.levels)
	c.rows = make([]*row, r.count(100))
	for i := range c.rows {
		c.rows[i] = r.row(columns, len(c.pairs.levels))
		if r.err != nil {
			return nil, r.err
		}
	}
	c.tops = make([]*pairTop, len(c.pairs.levels))
	for i := range c.tops {
		t := &pairTop{}
		c.tops[i] = t
		t.d, t.y, t.b = r.float(), r.float(), r.entries(columns)
		if !(t.d >= 0.5) || math.IsInf(t.d, 1) || math.IsInf(t.y, 0) {
			r.fail("a pair's row is not as it should be")
		}
	}
	if r.err != nil {
		return nil, r.err
	}
	if need := 8 * (columns + 1) * (columns + 2) / 2; len(r.b) < need {
		r.fail("the rFactor is cut short")
		return nil, r.err
	}
	c.r = newRFactor(columns)
	for i := 0; i <= columns; i++ {
		at := c.r.row(i)[i:]
		r.floats(at)
		for _, v := range at {
			if math.IsInf(v, 0) {
				r.fail("the rFactor is not finite")
			}
		}
		if i < columns && !(at[0] >= 0.5) { // never below 1: the prior rows are in it
			r.fail("the rFactor has no rank")
		}
	}
	c.θ = make([]float64, columns)
	r.floats(c.θ)
	for _, v := range c.θ {
		if math.IsInf(v, 0) {
			r.fail("a coefficient is infinite")
		}
	}
	s := &c.search
	s.Tiles = len(c.rows)
	s.Iterations, s.EMSteps, s.Converged = r.uint(math.MaxInt32), r.uint(math.MaxInt32), r.bool()
	s.Decrement, s.LnMarginal, s.Condition = r.float(), r.float(), r.float()
	s.ComponentTiles, s.Added = r.uint(math.MaxInt32), r.uint(math.MaxInt32)
	c.record = make([]Judgement, r.count(70))
	for i := range c.record {
		c.record[i] = r.judgement()
	}
	if r.err == nil && len(r.b) > 0 {
		r.fail("there is more than there should be")
	}
	if r.err != nil {
		return nil, r.err
	}
	c.convolution, c.index, c.memo = student.NewConvolution(c.components.DF), c.newIndex(), &memo{}
	return c, nil
}

func (r *reader) row(columns, pairs int) *row {
	out := &row{name: r.string(), order: r.int(), cone: r.string()}
	out.entries = r.entries(columns)
	out.pair = int32(r.uint(pairs)) - 1
	r.floats(out.missing[:r.factors])
	for _, p := range []*float64{&out.offset, &out.pairWeight, &out.unseen, &out.lnPhysics, &out.physicsSD, &out.h, &out.z} {
		if *p = r.float(); math.IsInf(*p, 0) {
			r.fail("a number of a tile is infinite")
		}
	}
	out.reading.Outcome = Outcome(r.uint(int(DidNotMove)))
	for _, p := range []*float64{&out.reading.Low, &out.reading.High, &out.reading.SD, &out.reading.LowMM, &out.reading.HighMM} {
		*p = r.float()
	}
	if r.bool() {
		v := r.float()
		out.clearance = &v
	}
	if r.err == nil {
		if err := out.reading.check("tile.reading."); err != nil {
			r.fail(err.Error())
		}
		if !(out.h >= 0) || len(out.entries) == 0 {
			r.fail("a tile is not as it should be")
		}
	}
	return out
}

func (r *reader) judgement() Judgement {
	j := Judgement{Tile: r.string(), Order: r.int(), Cone: r.string()}
	j.Glazes = make([]string, r.count(1))
	for i := range j.Glazes {
		j.Glazes[i] = r.string()
	}
	j.Outcome = Outcome(r.uint(int(DidNotMove)))
	for _, p := range []*float64{&j.Mean, &j.Scale, &j.DF, &j.Error, &j.LnScore, &j.Low, &j.High, &j.Exceeds} {
		*p = r.float()
	}
	j.Decided, j.Exceeded = r.bool(), r.bool()
	return j
}
