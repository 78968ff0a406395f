package calib

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"
)

const (
	// Variance components are few numbers, and a part of a long log tells them to a few per cent: at most so many tiles, of as many glazes
	// as bring at most so many groups. Coefficients are always learnt from all tiles and groups.
	maxComponentTiles  = 1024
	maxComponentGroups = 200
	minComponent       = 1e-4
	maxComponent       = 10.0
)

// components finds the variances that maximise the marginal likelihood times their priors, and the mode there.
func (s *system) components(prior *Prior, precision float64) (VarianceComponents, error) {
	v := prior.middle()
	free := s.freeComponents()
	physics := slices.ContainsFunc(s.rows, func(r *row) bool { return r.physicsSD > 0 })
	var m *posteriorMode
	var failure error
	objective := func(v *VarianceComponents) float64 {
		found, err := s.find(v, m, roughly*precision)
		if err != nil {
			failure = err
			return math.Inf(1)
		}
		m = found
		return -found.lnMarginal() - v.lnPrior(prior)
	}
	search := func(v VarianceComponents, free []*float64, at func(*VarianceComponents) []*float64) (VarianceComponents, float64, error) {
		start := make([]float64, len(free))
		for i, p := range free {
			start[i] = math.Log(*p)
		}
		set := func(x []float64) VarianceComponents {
			w := v
			for i, p := range at(&w) {
				*p = math.Exp(math.Min(math.Max(x[i], math.Log(minComponent)), math.Log(maxComponent)))
			}
			return w
		}
		result, err := optimize.Minimize(
			optimize.Problem{Func: func(x []float64) float64 { w := set(x); return objective(&w) }},
			start,
			&optimize.Settings{
				Converger:       &optimize.FunctionConverge{Absolute: precision, Iterations: 4 + 2*len(free)},
				FuncEvaluations: 400 * len(free),
			},
			&optimize.NelderMead{SimplexSize: 0.4})
		if failure != nil {
			return v, 0, failure
		}
		if err != nil {
			return v, 0, fmt.Errorf("search of the variances: %w", err)
		}
		return set(result.X), result.F, nil
	}
	all := func(v *VarianceComponents) []*float64 {
		p := []*float64{&v.Noise}
		if physics {
			p = append(p, &v.Physics)
		}
		for _, f := range free {
			p = append(p, &v.Spread[f])
		}
		return p
	}
	noise := func(v *VarianceComponents) []*float64 { return []*float64{&v.Noise} }

	v, _, err := search(v, all(&v), all)
	if err != nil {
		return v, err
	}
	if len(prior.DF) > 1 {
		best, at := math.Inf(1), v
		for _, df := range prior.DF {
			w := v
			w.DF = df
			w, f, err := search(w, noise(&w), noise)
			if err != nil {
				return v, err
			}
			if f < best {
				best, at = f, w
			}
		}
		if at.DF != v.DF {
			if v, _, err = search(at, all(&at), all); err != nil {
				return v, err
			}
		}
	}
	return v, nil
}

// freeComponents are the factors whose spread the tiles can tell: those with at least two levels.
func (s *system) freeComponents() []Factor {
	var count [NumFactors]int
	for i := range s.core.levels {
		count[s.core.levels[i].factor]++
	}
	count[Pair] = len(s.pairs.levels)
	var free []Factor
	for f, n := range count {
		if n >= 2 {
			free = append(free, Factor(f))
		}
	}
	return free
}

// lnPrior of the components.
func (v *VarianceComponents) lnPrior(p *Prior) float64 {
	s := p.Noise.lnDensity(v.Noise) + p.Physics.lnDensity(v.Physics)
	for f := range v.Spread {
		s += p.Spread[f].lnDensity(v.Spread[f])
	}
	return s
}

// sample picks the tiles that the variance components are learnt from: those that are made of the most logged glazes only, as many of them as
// keep the groups within the limit, so that each group keeps all its tiles; and of these, evenly over time, not too many.
func sample(tiles []*Tile) []*Tile {
	if core, _ := registers(tiles); len(core.levels) > maxComponentGroups {
		tiles = ofMostLogged(tiles)
	}
	if len(tiles) <= maxComponentTiles {
		return tiles
	}
	out := make([]*Tile, maxComponentTiles)
	for i := range out {
		out[i] = tiles[i*len(tiles)/maxComponentTiles]
	}
	return out
}

// ofMostLogged is the tiles made of the most logged glazes only.
func ofMostLogged(tiles []*Tile) []*Tile {
	count := map[string]int{}
	for _, t := range tiles {
		for _, g := range t.Glazes {
			count[g.Name]++
		}
	}
	names := slices.SortedFunc(maps.Keys(count), func(a, b string) int {
		return cmp.Or(cmp.Compare(count[b], count[a]), cmp.Compare(a, b))
	})
	// The number of groups grows with that of glazes: leave out the least logged quarter until they fit.
	for n := len(names); ; n = n * 3 / 4 {
		in := make(map[string]bool, n)
		for _, name := range names[:n] {
			in[name] = true
		}
		var of []*Tile
		for _, t := range tiles {
			if !slices.ContainsFunc(t.Glazes, func(g Share) bool { return !in[g.Name] }) {
				of = append(of, t)
			}
		}
		if core, _ := registers(of); len(core.levels) <= maxComponentGroups || n <= 2 {
			return of
		}
	}
}
