package main

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"

	"github.com/catchline/catchline/model/chem"
)

// quadratic is a teacher of a third kind: log10 η along the curve of Mauro et al. (2009, Proc. Natl. Acad. Sci. 106, 19780; MYEGA), whose temperature of
// log10 η = 12 is quadratic in what is told of a melt, while fragility and A are linear. It draws straight what networks and process bend.
type quadratic struct {
	c     *scaling
	theta []float64 // coefficients of the three outputs, one after the other
}

const (
	// Ridge penalties: of linear terms by output, and how much more a product is held.
	heldTg, heldFragility, heldA = 100.0, 100.0, 300.0
	heldProduct                  = 10.0
	heldConstant                 = 1e-3

	quadraticScale = 0.12 // of the robust loss, in log10 η
	quadraticSteps = 12
	linearEnd      = 8.0 // in products a scaled feature levels off towards this: melts of two oxides are far out
)

// myega gives log10 η at T from three outputs, and its derivatives to them.
func myega(u [3]float64, T float64) (y float64, slope [3]float64) {
	const top, spanA = 2.2, 0.8
	level := math.Tanh(u[2] / top)
	a := -2.8 + spanA*top*level
	rise := 12 - a
	h := 900 * math.Exp(0.2*u[0]) / T
	k := math.Exp(0.9 + 0.4*u[1]) // fragility/rise - 1
	x := h * math.Exp(k*(h-1))
	slope[0] = 0.2 * rise * x * (1 + k*h)
	slope[1] = 0.4 * rise * x * (h - 1) * k
	slope[2] = spanA * (1 - level*level) * (1 - x)
	return a + rise*x, slope
}

// terms are 1, the scaled features and all their products; the first 1+len(features) serve the linear outputs.
func (q *quadratic) terms(x *[chem.NumNetworkOxides]float64) []float64 {
	z := q.c.apply(x)
	out := make([]float64, 1, q.numTerms(0))
	out[0] = 1
	levelled := make([]float64, len(z))
	for i, v := range z {
		out = append(out, float64(v))
		levelled[i] = linearEnd * math.Tanh(float64(v)/linearEnd)
	}
	for i, v := range levelled {
		for _, w := range levelled[i:] {
			out = append(out, v*w)
		}
	}
	return out
}

// outputs gives the three outputs from a melt's terms.
func (q *quadratic) outputs(terms []float64) (u [3]float64) {
	theta := q.theta
	for j := range u {
		part := terms[:q.numTerms(j)]
		for i, v := range part {
			u[j] += v * theta[i]
		}
		theta = theta[len(part):]
	}
	return u
}

// numTerms is how many of the terms, from the first on, serve output j.
func (q *quadratic) numTerms(j int) int {
	n := len(q.c.mean)
	if j == 0 {
		return 1 + n*(n+3)/2
	}
	return 1 + n
}

// conditions are what one melt asks of the form.
type conditions struct {
	terms  []float64
	points []target
}

// conditionsOf takes all points. A group's weight goes with the root of its points, since they share an error.
func (q *quadratic) conditionsOf(samples []sample) []conditions {
	size := map[int]int{}
	for i := range samples {
		size[samples[i].group] += len(samples[i].points)
	}
	out := make([]conditions, len(samples))
	for i := range samples {
		s := &samples[i]
		out[i].terms = q.terms(&s.x)
		for _, p := range s.points {
			out[i].points = append(out[i].points, target{p.T, s.inAir(p), windowWeight(p.window) / math.Sqrt(float64(size[s.group]))})
		}
	}
	return out
}

// penalties of the coefficients.
func (q *quadratic) penalties() []float64 {
	var out []float64
	for j, held := range []float64{heldTg, heldFragility, heldA} {
		for i := range q.numTerms(j) {
			switch {
			case i == 0:
				out = append(out, heldConstant)
			case i <= len(q.c.mean):
				out = append(out, held)
			default:
				out = append(out, held*heldProduct)
			}
		}
	}
	return out
}

// fitQuadratic fits the form by Levenberg & Marquardt's steps on Student's loss of three degrees of freedom.
func fitQuadratic(data, formula []sample, c *scaling) (*quadratic, error) {
	q := &quadratic{c: c}
	melts := q.conditionsOf(slices.Concat(data, formula))
	penalty := q.penalties()
	n := len(penalty)
	q.theta = make([]float64, n)
	damping, last := 1e-2, q.loss(melts, penalty)
	damped := mat.NewSymDense(n, nil)
	for range quadraticSteps {
		normal, slope := q.normal(melts)
		for i, v := range penalty {
			slope.SetVec(i, slope.AtVec(i)+v*q.theta[i])
		}
		start := q.theta
		for {
			damped.CopySym(normal)
			for i, v := range penalty {
				damped.SetSym(i, i, normal.At(i, i)*(1+damping)+v)
			}
			var factor mat.Cholesky
			if !factor.Factorize(damped) {
				return nil, errors.New("the quadratic form's normal equations are not positive definite")
			}
			step := mat.NewVecDense(n, nil)
			if err := factor.SolveVecTo(step, slope); err != nil {
				return nil, fmt.Errorf("quadratic form: %w", err)
			}
			q.theta = make([]float64, n)
			floats.SubTo(q.theta, start, step.RawVector().Data)
			if loss := q.loss(melts, penalty); loss < last {
				damping, last = damping/5, loss
				break
			}
			if damping *= 6; damping > 1e6 {
				q.theta = start // nothing leads further down
				return q, nil
			}
		}
	}
	return q, nil
}

// normal gives the matrix of the normal equations and the slope of the loss, without penalties. A melt's points share its terms, so it adds the
// terms times a matrix of three outputs by three; of that matrix's root only the first row meets the many terms of Tg.
func (q *quadratic) normal(melts []conditions) (*mat.SymDense, *mat.VecDense) {
	n := len(q.theta)
	linear := q.numTerms(1)
	normal, slope := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	raw := normal.RawSymmetric()
	last := raw // of the linear outputs
	last.N, last.Data = 2*linear, raw.Data[(n-2*linear)*(n+1):]
	const together = 64 // melts, so that their rows stay in the processor's cache
	long, short := mat.NewDense(together, n, nil), mat.NewDense(2*together, 2*linear, nil)
	for len(melts) > 0 {
		some := melts[:min(together, len(melts))]
		melts = melts[len(some):]
		long.Zero()
		short.Zero()
		for i := range some {
			root, pull := q.curvature(&some[i])
			fill := func(row []float64, by []float64, first int) {
				for j, r := range by {
					part := some[i].terms[:q.numTerms(first+j)]
					floats.AddScaled(row[:len(part)], r, part)
					row = row[len(part):]
				}
			}
			fill(long.RawRowView(i), root[0][:], 0)
			fill(short.RawRowView(2*i), root[1][1:], 1)
			fill(short.RawRowView(2*i + 1)[linear:], root[2][2:], 2)
			fill(slope.RawVector().Data, pull[:], 0)
		}
		blas64.Syrk(blas.Trans, 1, long.RawMatrix(), 1, raw)
		blas64.Syrk(blas.Trans, 1, short.RawMatrix(), 1, last)
	}
	return normal, slope
}

// curvature gives the root (upper triangular) of a melt's second derivatives of the loss to its outputs as Gauss and Newton take them, and the first derivatives.
func (q *quadratic) curvature(c *conditions) (root [3][3]float64, pull [3]float64) {
	u := q.outputs(c.terms)
	var h [3][3]float64
	for _, p := range c.points {
		y, slope := myega(u, p.T)
		z := (y - p.log10) / quadraticScale
		w := p.weight * 4 / (3 + z*z)
		for j, s := range slope {
			pull[j] += w * z * s / quadraticScale
			for k, t := range slope {
				h[j][k] += w * s * t / (quadraticScale * quadraticScale)
			}
		}
	}
	for j := range h {
		if h[j][j] < 1e-9 {
			continue // fewer points than outputs
		}
		for k := j; k < 3; k++ {
			root[j][k] = h[j][k] / math.Sqrt(h[j][j])
		}
		for k := j + 1; k < 3; k++ {
			for l := k; l < 3; l++ {
				h[k][l] -= root[j][k] * root[j][l]
			}
		}
	}
	return root, pull
}

func (q *quadratic) loss(melts []conditions, penalty []float64) float64 {
	sum := 0.0
	for i := range melts {
		u := q.outputs(melts[i].terms)
		for _, p := range melts[i].points {
			y, _ := myega(u, p.T)
			z := (y - p.log10) / quadraticScale
			sum += p.weight * 2 * math.Log1p(z*z/3)
		}
	}
	for i, v := range penalty {
		sum += v * q.theta[i] * q.theta[i] / 2
	}
	return sum
}
