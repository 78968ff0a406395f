package model

import (
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
)

// run is a stretch of combinations that differ in their last choice alone, in lanes one after the other.
type run struct {
	lane, n int
	choices [film.MaxLayers]int // of the first of them
}

// last is the choice at the last position, and its position.
func (r *run) last(p *part) (position, choice int) {
	position = len(p.positions) - 1
	return position, r.choices[position]
}

// split finds the runs of n combinations from the choices on.
func (s *Scorer) split(p *part, n int) {
	s.runs = s.runs[:0]
	for lane := 0; lane < n; {
		r := run{lane: lane}
		copy(r.choices[:], s.choices)
		i := len(p.positions) - 1
		r.n = min(n-lane, len(p.positions[i].choices)-s.choices[i])
		s.runs = append(s.runs, r)
		lane += r.n
		s.choices[i] += r.n
		for ; i >= 0 && s.choices[i] == len(p.positions[i].choices); i-- {
			if s.choices[i] = 0; i > 0 {
				s.choices[i-1]++
			}
		}
	}
}

// fill puts the runs into their lanes.
func (s *Scorer) fill(p *part, a *batch) {
	for i := range s.runs {
		r := &s.runs[i]
		end, _ := r.last(p)
		for i := range p.positions {
			r.put(&p.positions[i], i == end, r.choices[i], &a.films.Layers[i], &a.sights.layers[i], &a.predictions.Coats[i])
		}
		r.outermost(p, a)
		s.odds(p, r)
		r.among(p, a)
	}
}

// put puts a layer into the lanes of a run.
func (r *run) put(at *position, last bool, choice int, layer *film.LayerRows, seen *sightRows, coat *calib.CoatRows) {
	from := &at.columns
	if last {
		coat.PutRow(at.coats, choice, r.lane, r.n)
	} else {
		coat.Put(at.choices[choice].coat, r.lane, r.n)
	}
	for _, row := range [...]struct{ to, from []float64 }{
		{layer.Thickness, from.thickness}, {layer.Density, from.density}, {layer.Flow, from.flow}, {layer.Diffusion, from.diffusion},
		{seen.mass, from.mass}, {seen.variance, from.variance}, {seen.coneExcess, from.coneExcess}, {seen.matte, from.matte}, {seen.described, from.described},
	} {
		r.row(row.to, row.from, last, choice)
	}
}

// row puts a column's choices, one after the other from one on, or that one alone, into the lanes of a run.
func (r *run) row(to, from []float64, last bool, choice int) {
	to = to[r.lane : r.lane+r.n]
	if last {
		copy(to, from[choice:])
		return
	}
	for i := range to {
		to[i] = from[choice]
	}
}

// outermost puts what is asked of the outermost layer and of the one at the wall.
func (r *run) outermost(p *part, a *batch) {
	end, choice := r.last(p)
	r.row(a.sights.tension, p.positions[end].columns.tension, true, choice)
	r.row(a.sights.overLog10, p.positions[end].columns.log10, true, choice)
	r.row(a.sights.underLog10, p.positions[0].columns.log10, end == 0, r.choices[0])
}

// odds says which lanes of a run are odd by their choices.
func (s *Scorer) odds(p *part, r *run) {
	end, first := r.last(p)
	odd, under := false, int32(-1)
	for i := range end {
		c := &p.positions[i].choices[r.choices[i]]
		odd = odd || c.odd || c.melt == under
		under = c.melt
	}
	choices := p.positions[end].choices[first : first+r.n]
	for i := range choices {
		s.odd[r.lane+i] = odd || choices[i].odd || choices[i].melt == under
	}
}

// among puts what the coats of a run have in common.
func (r *run) among(p *part, a *batch) {
	end, first := r.last(p)
	for i := range p.positions {
		for k := range i {
			under := p.positions[k].choices[r.choices[k]].coat
			if i == end {
				a.predictions.PutAmongRow(i, k, r.lane, r.n, p.positions[end].coats, first, under)
				continue
			}
			for lane := r.lane; lane < r.lane+r.n; lane++ {
				a.predictions.PutAmong(i, k, lane, p.positions[i].choices[r.choices[i]].coat, under)
			}
		}
	}
}

// blend puts the blends of the mixed zones.
func (s *Scorer) blend(p *part, a *batch) {
	for i := range s.runs {
		r := &s.runs[i]
		end, first := r.last(p)
		for i := range a.films.Zones {
			z := &a.films.Zones[i]
			under, over := &p.positions[i].choices[r.choices[i]], p.positions[i+1].choices[r.choices[i+1]:]
			if i+1 == end {
				over = p.positions[end].choices[first : first+r.n]
			}
			for at := range r.n {
				lane, c := r.lane+at, &over[0]
				if i+1 == end {
					c = &over[at]
				}
				var flow float64
				if fraction := z.UnderFraction[lane]; fraction == 0.5 {
					flow = s.sheet.blended(s.part, under.blended, c.blended, under.layer.Fired, c.layer.Fired)
				} else {
					flow = blendFlow(under.layer.Fired, c.layer.Fired, fraction)
				}
				z.Blend[lane] = flow
				if film.CheckFlow(flow) != nil {
					s.odd[lane] = true
				}
			}
		}
	}
}

// pair puts the pairs.
func (s *Scorer) pair(p *part, a *batch) {
	for i := range s.runs {
		r := &s.runs[i]
		end, first := r.last(p)
		for i := range end {
			a.coats[i] = p.positions[i].choices[r.choices[i]].coat
		}
		for at := range r.n {
			a.coats[end] = p.positions[end].choices[first+at].coat
			a.pair(r.lane + at)
		}
	}
}
