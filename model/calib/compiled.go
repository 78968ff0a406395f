package calib

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"github.com/catchline/catchline/model/chem"
)

// compiled is what a calibration works out for predictions. A prediction asks for the mean and variance of a sparse combination of
// coefficients. From R alone that is a solve of the whole triangle, in a time that grows with the square of the number of groups. Here the
// columns of the covariance (RᵀR)⁻¹ are worked out when first asked for, and kept: then a prediction is a few products, however many
// groups and tiles there are. Memory goes with the number of groups that are asked for.
type compiled struct {
	once    sync.Once
	θ       []float64 // by id
	scale   []float64 // by id
	columns []atomic.Pointer[[]float64]
	fixed   [NumEffects][]float64
	pairs   map[[2]Group]int32
	tops    []denseTop          // by pair
	missing [NumFactors]float64 // variance of a factor's effect where its group is not named, by unit of squared weight
	tiles   []int32             // for evidence
	tilesOf [][]int32           // by id of a glaze or lot
}

// ready gives the calibration's compiled form.
func (c *Calibration) ready() *compiled {
	k := c.compiled
	k.once.Do(func() {
		n := c.tri.n
		k.θ, k.columns = make([]float64, n), make([]atomic.Pointer[[]float64], n)
		k.scale = scales(&c.prior, &c.core, &c.widths)
		for i, v := range c.θ {
			k.θ[c.id(i)] = v
		}
		for e := range k.fixed {
			k.fixed[e] = c.column(k, int32(e))
		}
		k.pairs = c.pairsOfGlazes()
		k.tops = make([]denseTop, len(c.tops))
		for i, t := range c.tops {
			k.tops[i] = t.dense(c.pairs.levels[i].scale(&c.widths))
		}
		for f, used := range c.used {
			if used {
				k.missing[f] = c.widths.spread[f] * c.widths.spread[f]
			}
		}
		c.index(k)
	})
	return k
}

// column of the covariance of the standardised coefficients, by id.
func (c *Calibration) column(k *compiled, id int32) []float64 {
	if known := k.columns[id].Load(); known != nil {
		return *known
	}
	a := make([]float64, c.tri.n)
	a[c.position(id)] = 1
	c.tri.halfSolve(a)
	c.tri.backSolve(a)
	byID := make([]float64, len(a))
	for i, v := range a {
		byID[c.id(i)] = v
	}
	k.columns[id].CompareAndSwap(nil, &byID)
	return *k.columns[id].Load()
}

// fewGroups is how many groups a prediction has room for without allocating.
const fewGroups = 48

// combination is a sparse combination of the standardised coefficients: all fixed effects, and groups sorted by id; a pair's own
// coefficient is eliminated, so that it leaves a mean and a standard deviation and what it takes from the others.
type combination struct {
	fixed          [NumEffects]float64
	groups         []entry
	mean, pairPart float64
}

// combine lays a pattern out; groups go into room.
func (c *Calibration) combine(k *compiled, p *pattern, room []entry) combination {
	out := combination{groups: room[:0], mean: p.offset}
	var b []entry
	if p.pair >= 0 {
		t := c.tops[p.pair]
		out.pairPart = p.pairWeight * c.pairs.levels[p.pair].scale(&c.widths) / t.d
		out.mean += out.pairPart * t.y
		b = t.b
	}
	a := p.entries
	for len(a) > 0 || len(b) > 0 { // both are sorted by id
		var e entry
		switch {
		case len(b) == 0 || len(a) > 0 && a[0].id < b[0].id:
			e, a = entry{a[0].id, a[0].x * k.scale[a[0].id]}, a[1:]
		case len(a) == 0 || b[0].id < a[0].id:
			e, b = entry{b[0].id, -out.pairPart * b[0].x}, b[1:]
		default:
			e, a, b = entry{a[0].id, a[0].x*k.scale[a[0].id] - out.pairPart*b[0].x}, a[1:], b[1:]
		}
		if e.id < int32(NumEffects) {
			out.fixed[e.id] = e.x
		} else {
			out.groups = append(out.groups, e)
		}
		out.mean += e.x * k.θ[e.id]
	}
	return out
}

// variance of a combination.
func (c *Calibration) variance(k *compiled, a *combination) float64 {
	sum := a.pairPart * a.pairPart
	for i, x := range &a.fixed {
		row := k.fixed[i][:NumEffects]
		cross := 0.5 * x * row[i]
		for j, y := range a.fixed[:i] {
			cross += y * row[j]
		}
		sum += 2 * x * cross
	}
	for i, e := range a.groups {
		row := c.column(k, e.id)
		cross := 0.5 * e.x * row[e.id]
		for j, v := range row[:NumEffects] {
			cross += v * a.fixed[j]
		}
		for _, other := range a.groups[:i] {
			cross += other.x * row[other.id]
		}
		sum += 2 * e.x * cross
	}
	return sum
}

// sources of the variance of a combination: how much goes through each factor, and through the fixed effects last. A covariance goes half to either.
func (c *Calibration) sources(k *compiled, a *combination) (sources [NumFactors + 1]float64) {
	sources[Pair] = a.pairPart * a.pairPart
	for i, x := range &a.fixed {
		sources[NumFactors] += x * c.covariance(k, a, int32(i))
	}
	for _, e := range a.groups {
		sources[c.core.levels[e.id-int32(NumEffects)].factor] += e.x * c.covariance(k, a, e.id)
	}
	return sources
}

// covariance of a combination with one coefficient.
func (c *Calibration) covariance(k *compiled, a *combination, id int32) float64 {
	row, sum := c.column(k, id), 0.0
	for j, x := range &a.fixed {
		sum += x * row[j]
	}
	for _, e := range a.groups {
		sum += e.x * row[e.id]
	}
	return sum
}

// Group is a group as one calibration knows it: to find it once by its name saves looking it up for every prediction. The zero
// Group is one that the calibration does not know. Not for pairs.
type Group int32

// Group finds a group by its name.
func (c *Calibration) Group(f Factor, name string) Group {
	if i, ok := c.core.find(f, name); ok {
		return Group(int(NumEffects) + i)
	}
	return 0
}

// pairJoint stands between the names of two glazes in the name of their pair.
const pairJoint = " + "

// PairName is the name under which two glazes are a pair, whichever is on top.
func PairName(a, b string) string {
	if a > b {
		a, b = b, a
	}
	return a + pairJoint + b
}

// pairsOfGlazes finds the glazes of every pair in its name.
func (c *Calibration) pairsOfGlazes() map[[2]Group]int32 {
	pairs := make(map[[2]Group]int32, len(c.pairs.levels))
	for i := range c.pairs.levels {
		name := c.pairs.levels[i].name
		for at := range name {
			if !strings.HasPrefix(name[at:], pairJoint) {
				continue
			}
			a, b := c.Group(Glaze, name[:at]), c.Group(Glaze, name[at+len(pairJoint):])
			if a > 0 && b > 0 {
				pairs[[2]Group{min(a, b), max(a, b)}] = int32(i)
			}
		}
	}
	return pairs
}

// Known are conditions in terms of the groups of one calibration: what Conditions say by name. A weight of 0 is no group; a group that
// the calibration does not know still has its weight.
type Known struct {
	LnPhysics, PhysicsSD float64
	Features             Features
	Layers               int // how many of the following are used
	Glazes, Lots         [MaxShares]KnownShare
	// PairOf are the two glazes that mix, if Paired; they are known by PairName.
	Paired             bool
	PairOf             [2]Group
	Kiln, Body, Tester Group
}

// MaxShares is how many glazes, and lots, Known conditions have room for.
const MaxShares = 8

// KnownShare is a Share of a group of one calibration.
type KnownShare struct {
	Group           Group
	Weight, PriorSD float64
}

// denseTop is a pairTop with its fixed effects apart, and its pair's prior standard deviation over d.
type denseTop struct {
	part, y float64
	fixed   [NumEffects]float64
	groups  []entry
}

func (t *pairTop) dense(scale float64) denseTop {
	d := denseTop{part: scale / t.d, y: t.y}
	for _, e := range t.b {
		if e.id < int32(NumEffects) {
			d.fixed[e.id] = e.x
		} else {
			d.groups = append(d.groups, e)
		}
	}
	return d
}

// combine lays the conditions out, and gives the variance of what they leave unnamed; groups go into room.
func (q *Known) combine(c *Calibration, k *compiled, room []entry) (combination, float64) {
	out := combination{groups: room}
	for e, x := range q.Features.columns() {
		out.mean += x * c.prior.Effects[e].Mean
		out.fixed[e] = x * k.scale[e]
		out.mean += out.fixed[e] * k.θ[e]
	}
	var missing, withoutLot float64
	for i := range q.Layers {
		s := &q.Glazes[i]
		if s.Weight == 0 {
			continue
		}
		w2 := s.Weight * s.Weight
		withoutLot += w2
		if s.Group == 0 {
			missing += w2 * (k.missing[Glaze] + s.PriorSD*s.PriorSD)
			continue
		}
		out.groups = append(out.groups, entry{int32(s.Group), s.Weight * k.scale[s.Group]})
	}
	for i := range q.Layers {
		s := &q.Lots[i]
		if s.Weight == 0 {
			continue
		}
		w2 := s.Weight * s.Weight
		withoutLot -= w2
		if s.Group == 0 {
			missing += w2 * (k.missing[Lot] + s.PriorSD*s.PriorSD)
			continue
		}
		out.groups = append(out.groups, entry{int32(s.Group), s.Weight * k.scale[s.Group]})
	}
	missing += math.Max(0, withoutLot) * k.missing[Lot]
	for f, g := range [NumFactors]Group{Kiln: q.Kiln, Body: q.Body, Tester: q.Tester} {
		switch {
		case Factor(f) < Kiln:
		case g == 0:
			missing += k.missing[f]
		default:
			out.groups = append(out.groups, entry{int32(g), k.scale[g]})
		}
	}
	for _, e := range out.groups {
		out.mean += e.x * k.θ[e.id]
	}
	if q.Paired {
		pair, ok := k.pairs[[2]Group{min(q.PairOf[0], q.PairOf[1]), max(q.PairOf[0], q.PairOf[1])}]
		if !ok {
			return out, missing + k.missing[Pair]
		}
		out.groups = out.take(&k.tops[pair], k.θ, out.groups)
	}
	return out, missing
}

// take eliminates a pair of weight 1.
func (a *combination) take(t *denseTop, θ []float64, groups []entry) []entry {
	a.pairPart = t.part
	a.mean += t.part * t.y
	for e, b := range &t.fixed {
		a.fixed[e] -= t.part * b
		a.mean -= t.part * b * θ[e]
	}
	own := len(groups)
	for _, b := range t.groups {
		x := -t.part * b.x
		a.mean += x * θ[b.id]
		at := 0
		for at < own && groups[at].id != b.id {
			at++
		}
		if at < own {
			groups[at].x += x
		} else {
			groups = append(groups, entry{b.id, x})
		}
	}
	return groups
}

// PredictKnown is Predict for conditions in terms of this calibration's groups, without the Parts and the EffectiveTiles. It does not allocate.
// Errors: *chem.FieldError.
func (c *Calibration) PredictKnown(q *Known) (Prediction, error) {
	if err := q.check(); err != nil {
		return Prediction{}, err
	}
	k := c.ready()
	var groups [fewGroups]entry
	a, missing := q.combine(c, k, groups[:0])
	out := c.spread(q.LnPhysics, q.PhysicsSD, a.mean, c.variance(k, &a)+missing)
	return out, out.check()
}

// check reports the first fault of the conditions as a *chem.FieldError.
func (q *Known) check() error {
	if q.Layers < 0 || q.Layers > MaxShares {
		return &chem.FieldError{Field: "conditions.glazes", Value: fmt.Sprint(q.Layers), Limit: fmt.Sprintf("1 to %d", MaxShares)}
	}
	if err := checkNumbers("conditions.", q.LnPhysics, q.PhysicsSD, &q.Features); err != nil {
		return err
	}
	if err := checkKnownShares("conditions.glazes", q.Glazes[:q.Layers]); err != nil {
		return err
	}
	return checkKnownShares("conditions.lots", q.Lots[:q.Layers])
}

func checkKnownShares(field string, shares []KnownShare) error {
	sum := 0.0
	for i := range shares {
		s := &shares[i]
		if s.Weight >= 0 && s.Weight <= 1+rounding && s.PriorSD >= 0 && s.PriorSD <= maxSD {
			sum += s.Weight
			continue
		}
		one := Share{"known", s.Weight, s.PriorSD}
		return one.check(fmt.Sprintf("%s[%d]", field, i))
	}
	if !(sum <= 1+rounding) {
		return &chem.FieldError{Field: field, Value: fmt.Sprintf("weights that sum to %g", sum), Limit: "a sum of at most 1"}
	}
	return nil
}

// Linear is the posterior mean and covariance of all coefficients, in the order of Coefficients; with Tail, all that a prediction is made
// from, for programs that check it.
func (c *Calibration) Linear() (mean []float64, covariance *mat.SymDense) {
	core, n := c.tri.n, c.tri.n+len(c.tops)
	halves, parts := make([][]float64, n), make([]float64, n)
	mean = make([]float64, n)
	for i := range n {
		p := pattern{pair: -1}
		switch {
		case i < int(NumEffects):
			p.entries = []entry{{int32(i), 1}}
			p.offset = c.prior.Effects[i].Mean
		case i < core:
			p.entries = []entry{{int32(i), 1}}
		default:
			p.pair, p.pairWeight = int32(i-core), 1
		}
		halves[i] = make([]float64, core)
		mean[i], parts[i] = c.project(halves[i], &p)
		c.tri.halfSolve(halves[i])
	}
	covariance = mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			v := floats.Dot(halves[i], halves[k])
			if i == k {
				v += parts[i] * parts[i]
			}
			covariance.SetSym(i, k, v)
		}
	}
	return mean, covariance
}

// Tail is the scale and degrees of freedom of a prediction whose linear predictor has a variance, for a tile whose physics has a standard deviation.
func (c *Calibration) Tail(variance, physicsSD float64) (scale, df float64) {
	return c.blend.of(variance, c.widths.piece2(physicsSD))
}
