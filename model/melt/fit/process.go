package main

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"

	"github.com/catchline/catchline/model/chem"
)

// process is a Gaussian process over curves: log10 η = Σ_j φ_j(T) g_j(x) with φ = 1, u, u² in u, the inverse temperature, and
// each g_j the sum of three independent processes over the composition: a plane, one smooth over long distances and one over
// short ones. It remembers single melts, which a network smooths over; far from the data only its plane is left.
//
// A measurement misses it by an error of its own, one that its melt's points share and one that its group's share, a group being mostly
// one paper's. All three have Student's tails, by weights that are worked out anew after a first solution.
type process struct {
	c     *scaling
	base  float64
	melts [][]float64  // distance coordinates of each melt
	beta  [][3]float64 // by melt, Σ φ_j α over its points
}

// amplitude holds the standard deviations of the three functions of temperature (columns) in the plane, the long and the short part (rows), in log10 η.
// These and the errors are rounded from what maximised the marginal likelihood of parts of the data.
var amplitude = [3][3]float64{{1, 0.4, 0.17}, {1.2, 1.2, 0.36}, {0.5, 0.28, 0.13}}

const (
	pointError   = 0.08 // standard deviations of the errors, in log10 η
	meltError    = 0.12
	groupError   = 0.08
	formulaError = 0.15 // of a melt of the published formula, besides

	shortness   = 1.5 // of the short part's distances against the long one's
	ratioWeight = 0.3 // of ratios against amounts, in distances

	processMelts        = 500 // of the published formula
	stiffest            = 7.5 // log10 η of the points taken
	pointsOfWindowMelt  = 3   // at most, since the time goes with the cube of all points
	pointsOfAnotherMelt = 2
)

// temperatureTerms are the functions of temperature.
func temperatureTerms(T float64) [3]float64 {
	u := (1e4/T - 7) / 1.5
	return [3]float64{1, u, u * u}
}

// observation is a point that the process is fitted on.
type observation struct {
	melt, group int
	phi         [3]float64
	y           float64
}

// fitProcess fits the process on data and on some melts of the published formula.
func fitProcess(data, formula []sample, c *scaling) (*process, error) {
	p := &process{c: c}
	var obs []observation
	var meltVariance, groupVariance []float64
	groups := map[int]int{}
	add := func(s *sample, points []point, group int, variance float64) {
		for _, pt := range points {
			obs = append(obs, observation{len(p.melts), group, temperatureTerms(pt.T), s.inAir(pt)})
		}
		p.melts = append(p.melts, p.coordinates(&s.x))
		meltVariance = append(meltVariance, variance)
	}
	for i := range data {
		s := &data[i]
		points := spreadPoints(s)
		if len(points) == 0 {
			continue
		}
		g, ok := groups[s.group]
		if !ok {
			g = len(groups)
			groups[s.group] = g
			groupVariance = append(groupVariance, groupError*groupError)
		}
		add(s, points, g, meltError*meltError)
	}
	for _, o := range obs {
		p.base += o.y / float64(len(obs))
	}
	for i := range formula[:min(processMelts, len(formula))] {
		groupVariance = append(groupVariance, 1e-6)
		add(&formula[i], formula[i].points, len(groupVariance)-1, meltError*meltError+formulaError*formulaError)
	}
	pointVariance := make([]float64, len(obs))
	for i := range pointVariance {
		pointVariance[i] = pointError * pointError
	}

	first := covariance(p.melts, obs)
	alpha, err := solve(first, obs, p.base, pointVariance, meltVariance, groupVariance)
	if err != nil {
		return nil, err
	}
	// What each error is thought to be, given the first solution, widens its variance.
	byMelt, byGroup := make([]float64, len(meltVariance)), make([]float64, len(groupVariance))
	for i, o := range obs {
		byMelt[o.melt] += alpha[i]
		byGroup[o.group] += alpha[i]
	}
	alpha, err = solve(first, obs, p.base, widened(pointVariance, alpha), widened(meltVariance, byMelt), widened(groupVariance, byGroup))
	if err != nil {
		return nil, err
	}
	p.beta = make([][3]float64, len(p.melts))
	for i, o := range obs {
		for j, f := range o.phi {
			p.beta[o.melt][j] += f * alpha[i]
		}
	}
	return p, nil
}

// widened gives the variances of errors whose expectation is variance times share, as Student's t of three degrees of freedom asks.
func widened(variance, share []float64) []float64 {
	const freedom = 3
	out := make([]float64, len(variance))
	for i, v := range variance {
		out[i] = v * math.Min((freedom+v*share[i]*share[i])/(freedom+1), 1e4)
	}
	return out
}

// spreadPoints takes a few of a melt's points, spread over its temperatures.
func spreadPoints(s *sample) []point {
	most := pointsOfAnotherMelt
	if s.window() > 0 {
		most = pointsOfWindowMelt
	}
	var points []point
	for _, p := range s.points {
		if p.log10 < stiffest {
			points = append(points, p)
		}
	}
	if len(points) <= most {
		return points
	}
	sort.SliceStable(points, func(i, j int) bool { return points[i].T < points[j].T })
	out := make([]point, most)
	for i := range out {
		out[i] = points[int(math.RoundToEven(float64(i*(len(points)-1))/float64(most-1)))]
	}
	return out
}

// coordinates places a melt so that distances between melts are about 1 to 2.
func (p *process) coordinates(x *[chem.NumNetworkOxides]float64) []float64 {
	row := p.c.apply(x)
	out := make([]float64, len(row))
	for i, v := range row {
		out[i] = float64(v) / math.Sqrt(float64(len(row)))
		if isRatio(i) {
			out[i] *= ratioWeight
		}
	}
	return out
}

// similarities of two melts in the three parts: the plane, a rational quadratic and a Matérn function of order 3/2 (Rasmussen &
// Williams 2006, Gaussian Processes for Machine Learning, equations 4.19 and 4.17).
func similarities(a, b []float64) [3]float64 {
	dot, square := 0.0, 0.0
	b = b[:len(a)]
	for i, v := range a {
		dot += v * b[i]
		d := v - b[i]
		square += d * d
	}
	r := shortness * math.Sqrt(3*square)
	return [3]float64{dot, 1 / (1 + 0.5*square), (1 + r) * math.Exp(-r)}
}

// covariance gives the lower half of the covariance of the observations without their errors, row by row.
func covariance(melts [][]float64, obs []observation) []float64 {
	n := len(obs)
	k := make([]float64, n*n)
	first := make([]int, len(melts)+1) // observations stand melt by melt
	for i, o := range obs {
		first[o.melt+1] = i + 1
	}
	inParallel(len(melts), func(a int) {
		for b := 0; b <= a; b++ {
			s := similarities(melts[a], melts[b])
			var w [3]float64
			for q, v := range s {
				for j := range w {
					w[j] += v * amplitude[q][j] * amplitude[q][j]
				}
			}
			for i := first[a]; i < first[a+1]; i++ {
				f := &obs[i].phi
				f0, f1, f2 := f[0]*w[0], f[1]*w[1], f[2]*w[2]
				for j := first[b]; j < first[b+1]; j++ {
					g := &obs[j].phi
					k[i*n+j] = f0*g[0] + f1*g[1] + f2*g[2]
				}
			}
		}
	})
	return k
}

// solve gives α = (K + errors)^-1 (y - base).
func solve(k []float64, obs []observation, base float64, pointVariance, meltVariance, groupVariance []float64) ([]float64, error) {
	n := len(obs)
	m := make([]float64, n*n)
	copy(m, k)
	alpha := make([]float64, n)
	const jitter = 1e-4
	for i, o := range obs {
		for j := 0; j <= i; j++ {
			if obs[j].group == o.group {
				m[i*n+j] += groupVariance[o.group]
				if obs[j].melt == o.melt {
					m[i*n+j] += meltVariance[o.melt]
				}
			}
		}
		m[i*n+i] += pointVariance[i] + jitter
		alpha[i] = o.y - base
	}
	t, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Lower, N: n, Stride: n, Data: m})
	if !ok {
		return nil, fmt.Errorf("the covariance of %d points is not positive definite", n)
	}
	lapack64.Potrs(t, blas64.General{Rows: n, Cols: 1, Stride: 1, Data: alpha})
	return alpha, nil
}

// curve gives the process's mean for a melt as coefficients of the functions of temperature.
func (p *process) curve(x *[chem.NumNetworkOxides]float64) [3]float64 {
	at := p.coordinates(x)
	out := [3]float64{p.base}
	for i, m := range p.melts {
		for q, v := range similarities(at, m) {
			for j, b := range p.beta[i] {
				out[j] += v * amplitude[q][j] * amplitude[q][j] * b
			}
		}
	}
	return out
}

// log10At is such a curve's value at T.
func log10At(curve [3]float64, T float64) float64 {
	f := temperatureTerms(T)
	return curve[0]*f[0] + curve[1]*f[1] + curve[2]*f[2]
}
