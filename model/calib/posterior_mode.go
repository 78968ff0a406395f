package calib

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
)

// system is the rows, laid out for the search of the mode. Standardised coefficients θ have a standard normal prior:
// coefficient = prior mean + scale·θ. Pair effects touch only their own tiles, so they are eliminated one by one and the
// dense matrix keeps the rest; that is what lets 300 glazes have 45,000 pairs.
type system struct {
	prior       *Prior
	core, pairs *register
	used        [NumFactors]bool
	rows        []*row    // sorted by pair; those of none first
	touched     [][]int32 // by pair, the columns that its rows touch
	workspace   *normal
}

func newSystem(prior *Prior, core, pairs *register, rows []*row) *system {
	sorted := append([]*row(nil), rows...)
	slices.SortStableFunc(sorted, func(a, b *row) int { return cmp.Compare(a.pair, b.pair) })
	touched := make([][]int32, len(pairs.levels))
	for _, r := range rows {
		for _, e := range r.entries {
			if r.pair >= 0 {
				touched[r.pair] = append(touched[r.pair], e.id)
			}
		}
	}
	for i := range touched {
		slices.Sort(touched[i])
		touched[i] = slices.Compact(touched[i])
	}
	return &system{prior, core, pairs, inUse(core, pairs), sorted, touched, newNormal(int(NumEffects)+len(core.levels), len(pairs.levels))}
}

// posteriorMode is a maximum of the posterior at given variances.
type posteriorMode struct {
	θ, pair    []float64 // standardised, by id and by pair
	lnJoint    float64   // ln likelihood + ln prior at the mode, without the prior's constants
	lnDet      float64   // ln determinant of minus the second derivative
	iterations int
	emSteps    int // how many of them were steps of expectation and maximisation
	decrement  float64
	converged  bool
	support    []support // by row of the system
}

// lnMarginal is the log marginal likelihood by Laplace's approximation (the prior's constants cancel those of the
// determinant as θ is standardised). Exact for normal errors and no censoring.
func (m *posteriorMode) lnMarginal() float64 { return m.lnJoint - 0.5*m.lnDet }

const (
	maxModeSteps = 200
	// Newton decrements per tile at which the mode is found, in units of log likelihood.
	roughly = 1e-5  // of the precision of the marginal likelihood, which is flat there
	closely = 1e-18 // for the coefficients
)

// evaluate fills the support of every row at a point and returns the log joint density.
func (s *system) evaluate(e *errorModel, scale, pairScale, rowScale, θ, pair []float64, out []support) float64 {
	joint := 0.0
	for i, r := range s.rows {
		out[i] = e.of(&r.reading, r.lnPhysics, r.predictor(scale, pairScale, θ, pair), rowScale[i])
		joint += out[i].lnLikelihood
	}
	for _, v := range θ {
		joint -= 0.5 * v * v
	}
	for _, v := range pair {
		joint -= 0.5 * v * v
	}
	return joint
}

// predictor is η of a row, the correction that the coefficients predict.
func (p *designRow) predictor(scale, pairScale, θ, pair []float64) float64 {
	η := p.offset
	for _, e := range p.entries {
		η += e.x * scale[e.id] * θ[e.id]
	}
	if p.pair >= 0 {
		η += p.pairWeight * pairScale[p.pair] * pair[p.pair]
	}
	return η
}

// normal is the Newton system in the core coefficients after the pairs are eliminated.
type normal struct {
	matrix   blas64.Symmetric // upper
	right    []float64
	pairDiag []float64 // D of every pair
	pairGrad []float64
	cross    []entry // B of every pair, the sparse row of pair against core, one after another
	ends     []int   // where in cross each pair's ends
	scratch  []float64
}

func newNormal(core, pairs int) *normal {
	return &normal{
		matrix:   blas64.Symmetric{Uplo: blas.Upper, N: core, Stride: max(1, core), Data: make([]float64, core*core)},
		right:    make([]float64, core),
		pairDiag: make([]float64, pairs), pairGrad: make([]float64, pairs), ends: make([]int, pairs),
		scratch: make([]float64, core),
	}
}

// assemble the Newton equations (XᵀHX + I) δ = Xᵀg - θ with weights from weight() into eq, over what was there.
func (s *system) assemble(eq *normal, scale, pairScale, θ, pair []float64, sup []support, weight func(*support) float64) {
	a := eq.matrix
	clear(a.Data)
	for i := range scale {
		a.Data[i*a.Stride+i] = 1
		eq.right[i] = -θ[i]
	}
	for p := range pairScale { // a pair without a tile here
		eq.pairDiag[p], eq.pairGrad[p], eq.ends[p] = 1, -pair[p], 0
	}
	eq.cross = eq.cross[:0]
	scratch := eq.scratch
	x := make([]entry, 0, 64)
	for i := 0; i < len(s.rows); {
		p := s.rows[i].pair
		d, grad := 1.0, 0.0
		if p >= 0 {
			grad = -pair[p]
		}
		for ; i < len(s.rows) && s.rows[i].pair == p; i++ {
			r, h, g := s.rows[i], weight(&sup[i]), sup[i].slope
			x = x[:0]
			for _, e := range r.entries {
				x = append(x, entry{e.id, e.x * scale[e.id]})
			}
			for j, e := range x {
				hx := h * e.x
				out := a.Data[int(e.id)*a.Stride:][:a.N]
				for _, other := range x[j:] {
					out[other.id] += hx * other.x
				}
				eq.right[e.id] += g * e.x
			}
			if p >= 0 {
				w := r.pairWeight * pairScale[p]
				d += h * w * w
				grad += g * w
				for _, e := range x {
					scratch[e.id] += h * w * e.x
				}
			}
		}
		if p < 0 {
			continue
		}
		touched := s.touched[p]
		eq.pairDiag[p], eq.pairGrad[p] = d, grad
		for j, id := range touched {
			b := scratch[id] / d
			out := a.Data[int(id)*a.Stride:][:a.N]
			for _, other := range touched[j:] {
				out[other] -= b * scratch[other]
			}
			eq.right[id] -= b * grad
			eq.cross = append(eq.cross, entry{id, scratch[id]})
		}
		for _, id := range touched {
			scratch[id] = 0
		}
		eq.ends[p] = len(eq.cross)
	}
}

// step solves the Newton equations, using the matrix up: the step, its decrement (twice the rise that it promises) and the log determinant.
func (eq *normal) step() (core, pair []float64, decrement, lnDet float64, err error) {
	root, ok := lapack64.Potrf(eq.matrix)
	if !ok {
		return nil, nil, 0, 0, fmt.Errorf("%w: the Newton matrix is not positive", errRank)
	}
	core = append([]float64(nil), eq.right...)
	x := blas64.Vector{N: len(core), Inc: 1, Data: core}
	blas64.Trsv(blas.Trans, root, x)
	blas64.Trsv(blas.NoTrans, root, x)
	for i := range core {
		lnDet += 2 * math.Log(root.Data[i*root.Stride+i])
	}
	pair = make([]float64, len(eq.pairDiag))
	for i, v := range core {
		decrement += v * eq.right[i]
	}
	begin := 0
	for p, d := range eq.pairDiag {
		lnDet += math.Log(d)
		g := eq.pairGrad[p]
		decrement += g * g / d
		for ; begin < eq.ends[p]; begin++ {
			g -= eq.cross[begin].x * core[eq.cross[begin].id]
		}
		pair[p] = g / d
	}
	return core, pair, decrement, lnDet, nil
}

// find the mode at given variances, from a starting point (nil: the prior's own).
func (s *system) find(v *VarianceComponents, start *posteriorMode, tolerance float64) (*posteriorMode, error) {
	scale := scales(s.prior, s.core, v)
	pairScale := s.pairScales(v)
	rowScale := make([]float64, len(s.rows))
	for i, r := range s.rows {
		rowScale[i] = r.errorScale(&s.used, v)
	}
	e := newErrorModel(v.DF)
	m := &posteriorMode{θ: make([]float64, len(scale)), pair: make([]float64, len(pairScale)), support: make([]support, len(s.rows))}
	if start != nil {
		copy(m.θ, start.θ)
		copy(m.pair, start.pair)
	}
	m.lnJoint = s.evaluate(&e, scale, pairScale, rowScale, m.θ, m.pair, m.support)
	trial := make([]support, len(s.rows))
	eq := s.workspace
	tθ, tp := make([]float64, len(m.θ)), make([]float64, len(m.pair))
	for m.iterations = 0; m.iterations < maxModeSteps; m.iterations++ {
		s.assemble(eq, scale, pairScale, m.θ, m.pair, m.support, (*support).weight)
		core, pair, decrement, lnDet, err := eq.step()
		if err != nil {
			return nil, err
		}
		m.decrement, m.lnDet = decrement, lnDet
		if decrement < tolerance*math.Max(1, float64(len(s.rows))) {
			m.converged = true
			break
		}
		try := func(core, pair []float64, length float64) bool {
			for i := range tθ {
				tθ[i] = m.θ[i] + length*core[i]
			}
			for i := range tp {
				tp[i] = m.pair[i] + length*pair[i]
			}
			joint := s.evaluate(&e, scale, pairScale, rowScale, tθ, tp, trial)
			// The rise of the last steps drowns in rounding; they are still steps towards the mode.
			slack := 1e-13 * (math.Abs(joint) + float64(len(s.rows)))
			if !(joint >= m.lnJoint-slack) {
				return false
			}
			m.lnJoint = joint
			m.θ, tθ, m.pair, tp, m.support, trial = tθ, m.θ, tp, m.pair, trial, m.support
			return true
		}
		if try(core, pair, 1) {
			continue
		}
		m.emSteps++
		s.assemble(eq, scale, pairScale, m.θ, m.pair, m.support, func(p *support) float64 { return p.emWeight })
		core, pair, _, _, err = eq.step()
		if err != nil {
			return nil, err
		}
		length := 1.0
		for !try(core, pair, length) {
			if length /= 2; length < 1e-6 {
				return m, nil // stands at the top as well as rounding lets it; converged stays false
			}
		}
	}
	if math.IsNaN(m.lnJoint) || math.IsInf(m.lnJoint, 0) || math.IsNaN(m.lnDet) {
		return nil, fmt.Errorf("the likelihood of the tiles is not finite")
	}
	return m, nil
}
