package risk

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
)

// Candidate is a tile that could be fired next.
type Candidate struct {
	Name       string
	Conditions calib.Conditions
	// LnRunsOff is the ln drive at which its glaze runs off the bottom of the tile.
	LnRunsOff float64
}

// Concern is a combination whose risk the studio wants to judge correctly.
type Concern struct {
	Name       string
	Conditions calib.Conditions
	// LnClearance is the ln drive at which its run uses up the clearance.
	LnClearance float64
	// Weight is its importance, for example how many are made; more than 0.
	Weight float64
}

// TileSearch asks for the tiles that teach most.
type TileSearch struct {
	Candidates []Candidate
	Concerns   []Concern // at least one; the candidates themselves will do
	Count      int       // tiles wanted, 1 to 100
	// Tolerated is the probability of exceeding the clearance that the studio tolerates, between 0 and 1. A risk is
	// judged correctly when it is said to be on the side of this boundary on which it is.
	Tolerated float64
	// RunOff is the probability of running off from which a candidate is left out, unless AllowRunOff is set.
	RunOff      float64
	AllowRunOff bool
}

// Suggestion is one tile to fire.
type Suggestion struct {
	Candidate int // index
	// Gain is the expected fall of the weighted mean chance of misjudging a concern, 0 to 0.5, once the suggestions
	// before this one have been fired.
	Gain float64
	// Before and After are that weighted mean chance.
	Before, After float64
	RunsOff       float64 // probability
	// Most is the index of the concern that it helps most, and its own chance of being misjudged before and after.
	Most                  int
	MostBefore, MostAfter float64
	Sentence              string
}

func (q *TileSearch) check() error {
	if len(q.Candidates) == 0 {
		return &fault.Error{Field: "candidates", Value: "empty", Limit: "at least one"}
	}
	if len(q.Concerns) == 0 {
		return &fault.Error{Field: "concerns", Value: "empty", Limit: "at least one"}
	}
	if q.Count < 1 || q.Count > 100 {
		return &fault.Error{Field: "count", Value: fmt.Sprint(q.Count), Limit: "1 to 100"}
	}
	if !(q.Tolerated > 0 && q.Tolerated < 1) {
		return &fault.Error{Field: "tolerated", Value: fmt.Sprint(q.Tolerated), Limit: "more than 0 and less than 1"}
	}
	if !(q.RunOff > 0 && q.RunOff <= 1) {
		return &fault.Error{Field: "run_off", Value: fmt.Sprint(q.RunOff), Limit: "more than 0 and at most 1"}
	}
	for i := range q.Candidates {
		if v := q.Candidates[i].LnRunsOff; math.IsNaN(v) {
			return &fault.Error{Field: fmt.Sprintf("candidates[%d].ln_runs_off", i), Value: "NaN", Limit: "a number"}
		}
	}
	for i := range q.Concerns {
		at := fmt.Sprintf("concerns[%d].", i)
		if v := q.Concerns[i].LnClearance; math.IsNaN(v) || math.IsInf(v, 0) {
			return &fault.Error{Field: at + "ln_clearance", Value: fmt.Sprint(v), Limit: "a finite number"}
		}
		if w := q.Concerns[i].Weight; !(w > 0) || math.IsInf(w, 0) {
			return &fault.Error{Field: at + "weight", Value: fmt.Sprint(w), Limit: "more than 0"}
		}
	}
	return nil
}

// NextTiles picks tiles one at a time. Each pick is the tile that, fired with those already picked, is expected to
// lower the chance of misjudging the concerns most. The covariance of all layerings is updated for every pick, so a
// second tile that would teach the same gains little and the picks spread. Tiles that would probably run off are left
// out unless allowed, and so are tiles that teach nothing; so there can be fewer than asked for.
//
// In the normal approximation of the posterior, the expected change of a judgement depends on the covariance alone and
// not on how the tile comes out, so nothing is sampled. Errors: *fault.Error.
func (q *TileSearch) NextTiles(c *calib.Calibration) ([]Suggestion, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	n := len(q.Candidates)
	all := make([]calib.Conditions, 0, n+len(q.Concerns))
	runsOff := make([]float64, n)
	for i := range q.Candidates {
		k := &q.Candidates[i]
		subject, err := c.Subject(&k.Conditions)
		if err != nil {
			return nil, fmt.Errorf("candidates[%d]: %w", i, err)
		}
		p, err := subject.Predict()
		if err != nil {
			return nil, fmt.Errorf("candidates[%d]: %w", i, err)
		}
		runsOff[i] = p.Exceedance(k.LnRunsOff)
		all = append(all, k.Conditions)
	}
	for i := range q.Concerns {
		all = append(all, q.Concerns[i].Conditions)
	}
	j, err := c.Posterior(all)
	if err != nil {
		return nil, err
	}
	noise := distuv.StudentsT{Sigma: 1, Nu: math.Min(j.DF, 1e5)}.Quantile(1 - q.Tolerated)
	judged := make([]judgement, len(q.Concerns))
	total := 0.0
	for i := range q.Concerns {
		mean := all[n+i].LnPhysics + j.Mean[n+i]
		boundary := q.Concerns[i].LnClearance - noise*math.Sqrt(j.Noise2[n+i])
		judged[i] = judgement{margin: boundary - mean, variance: j.Covariance.At(n+i, n+i)}
		total += q.Concerns[i].Weight
	}
	cov := mat.NewSymDense(n+len(q.Concerns), nil)
	cov.CopySym(j.Covariance)
	rule := newGauss()
	before := make([]float64, len(judged))
	picked := make([]bool, n)
	var out []Suggestion
	for len(out) < q.Count {
		best := Suggestion{Candidate: -1}
		for k := range judged {
			before[k] = judged[k].misjudged(0, rule)
		}
		for i := range q.Candidates {
			if picked[i] || (runsOff[i] >= q.RunOff && !q.AllowRunOff) {
				continue
			}
			info := information(j, i) * (1 - runsOff[i]) // one that runs off tells little
			if s := q.gain(cov, judged, before, i, info/(1+info*cov.At(i, i)), total, rule); best.Candidate < 0 || s.Gain > best.Gain {
				best = s
			}
		}
		if best.Candidate < 0 || best.Gain < leastGain {
			break
		}
		i := best.Candidate
		best.RunsOff = runsOff[i]
		best.Sentence = q.sentence(&best)
		picked[i] = true
		out = append(out, best)
		info := information(j, i) * (1 - runsOff[i])
		gain := info / (1 + info*cov.At(i, i))
		for k := range judged {
			v := cov.At(i, n+k)
			judged[k].learnt += gain * v * v
		}
		column := mat.NewVecDense(cov.SymmetricDim(), nil)
		for k := range cov.SymmetricDim() {
			column.SetVec(k, cov.At(k, i))
		}
		cov.SymRankOne(cov, -gain, column)
	}
	return out, nil
}

// leastGain is the fall of the chance of misjudgement below which no tile is suggested.
const leastGain = 1e-6

// nothing is the share of a concern's variance below which what a tile would take away is ignored.
const nothing = 1e-9

// gain works out the suggestion of candidate i, whose reading takes gain·cov(i, k)² off the variance of concern k.
func (q *TileSearch) gain(cov *mat.SymDense, judged []judgement, before []float64, i int, gain, total float64, rule *gauss) Suggestion {
	s := Suggestion{Candidate: i, Most: -1}
	n := len(q.Candidates)
	most := math.Inf(-1)
	for k := range judged {
		weight := q.Concerns[k].Weight / total
		v := cov.At(i, n+k)
		after := before[k]
		if learnt := gain * v * v; learnt > nothing*judged[k].variance {
			after = judged[k].misjudged(learnt, rule)
		}
		s.Before += weight * before[k]
		s.After += weight * after
		if fall := weight * (before[k] - after); fall > most {
			most, s.Most, s.MostBefore, s.MostAfter = fall, k, before[k], after
		}
	}
	s.Gain = s.Before - s.After
	return s
}

// judgement is what is known of one concern's ln drive.
type judgement struct {
	margin   float64 // from its mean up to the boundary of tolerated risk
	variance float64 // of the mean
	learnt   float64 // variance that the tiles picked so far take away
}

// misjudged is the chance that, once more of the variance is learnt, the truth lies on the other side of the boundary a
// than is then said. What is then said is U ~ N(0, r) above the present mean, the truth is T ~ N(0, v), and T-U is
// independent of U, so that their correlation is √(r/v) and
//
//	P(T and U on different sides of a) = 2 T(a/√v, √((v-r)/r)),  T(h, c) = 1/(2π) ∫ exp(-h²/(2 cos²φ)) dφ from 0 to arctan c
//
// by Owen's function T (Owen 1956, Ann. Math. Statist. 27, equation 2.1 for correlated normals, from memory).
func (j *judgement) misjudged(more float64, g *gauss) float64 {
	v, r := j.variance, math.Min(j.learnt+more, j.variance)
	if v <= 0 {
		return 0
	}
	h2 := j.margin * j.margin / v
	return g.integrate(func(φ float64) float64 {
		c := math.Cos(φ)
		return math.Exp(-h2 / (2 * c * c))
	}, 0, math.Atan2(math.Sqrt(v-r), math.Sqrt(r))) / math.Pi
}

// gauss is a Gauss-Legendre rule on (-1, 1), made once for the many integrals of a search.
type gauss struct{ at, weight [24]float64 }

func newGauss() *gauss {
	g := &gauss{}
	quad.Legendre{}.FixedLocations(g.at[:], g.weight[:], -1, 1)
	return g
}

func (g *gauss) integrate(f func(float64) float64, a, b float64) float64 {
	s, middle, half := 0.0, (a+b)/2, (b-a)/2
	for i, x := range g.at {
		s += g.weight[i] * f(middle+half*x)
	}
	return s * half
}

func (q *TileSearch) sentence(s *Suggestion) string {
	k := &q.Candidates[s.Candidate]
	var names []string
	for _, g := range k.Conditions.Glazes {
		names = append(names, g.Name)
	}
	about := strings.Join(names, " and ")
	if k.Conditions.Pair.Name != "" {
		about += ", alone and together"
	}
	text := fmt.Sprintf("%s teaches about %s. It should lower the chance of misjudging %s from %s to %s, "+
		"and the mean over all combinations that you named from %s to %s.",
		k.Name, about, q.Concerns[s.Most].Name, percent(s.MostBefore), percent(s.MostAfter), percent(s.Before), percent(s.After))
	if s.RunsOff >= q.RunOff {
		text += fmt.Sprintf(" Its glaze runs off with a probability of %s: put a catch tile under it.", percent(s.RunsOff))
	}
	return text
}
