package calib

import "math"

// Explain gives the prediction of a lane that was run, and the tiles that moved it most, at most count of them. coats are those of the lane, and pair
// is the lower of the two layers that it was given the Pair of, -1 for none.
func (r *Predictions) Explain(lane int, coats []*CoatIn, pair, count int) (Prediction, []Influence) {
	c := r.setting.calibration
	known2 := r.Known2[lane]
	p := Prediction{LnPhysics: r.LnPhysics[lane], Mean: r.Mean[lane], Scale: r.Scale[lane], DF: 1 / r.inverseDF[lane], KnownSD: math.Sqrt(known2)}
	var room [fewGroups]entry
	a := combination{groups: room[:0]}
	r.combine(&a, lane, coats)
	var tiles [maxWeighed]int32
	weighed := c.weighed(tiles[:0], a.groups)
	prior2, at := a.squared()+r.unknown(lane, coats), int32(-1)
	if pair >= 0 {
		of, ok := c.index.pair(coats[pair].group, coats[pair+1].group)
		if ok {
			scale := c.pairs.levels[of].scale(&c.widths)
			prior2, at = prior2+scale*scale, of
			a.take(c.top(c.compiled, of))
		} else {
			prior2 += c.compiled.missing[Pair]
		}
	}
	if len(c.rows) > 0 && prior2 > known2 {
		p.EffectiveTiles = c.widths.piece2(r.PhysicsSD[lane]) * (1/known2 - 1/prior2)
	}
	r.with = c.with(&a, r.with)
	return p, c.evidence(&a, at, r.with, weighed, count)
}

// combine lays a lane out, its pair apart.
func (r *Predictions) combine(a *combination, lane int, coats []*CoatIn) {
	s := r.setting
	copy(a.fixed[:], s.fixed[:])
	for i, e := range varied {
		a.fixed[e] = s.calibration.compiled.scale[e] * r.features[i][lane]
	}
	for _, e := range s.groups[:s.known] {
		a.add(e.id, e.x)
	}
	for i, coat := range coats {
		weight := r.Coats[i].Weight[lane]
		for _, e := range coat.entries[:coat.known] {
			a.add(e.id, weight*e.x)
		}
	}
}

// unknown is the variance of what no tile can have changed, a pair's apart.
func (r *Predictions) unknown(lane int, coats []*CoatIn) float64 {
	sum := r.setting.missing
	for i, a := range coats {
		for k, b := range coats {
			sum += r.Coats[i].Weight[lane] * r.Coats[k].Weight[lane] * r.setting.calibration.compiled.unknown(&a.Coat, &b.Coat)
		}
	}
	return sum
}

// squared is the sum of the squares: the variance before any tile.
func (a *combination) squared() float64 {
	sum := 0.0
	for _, x := range a.effects() {
		sum += x * x
	}
	for _, e := range a.groups {
		sum += e.x * e.x
	}
	return sum
}

// add adds a group.
func (a *combination) add(id int32, x float64) {
	at := len(a.groups)
	for at > 0 && a.groups[at-1].id >= id {
		at--
	}
	if at < len(a.groups) && a.groups[at].id == id {
		a.groups[at].x += x
		return
	}
	a.groups = append(a.groups, entry{})
	copy(a.groups[at+1:], a.groups[at:])
	a.groups[at] = entry{id, x}
}

// take adds a pair of weight 1, and takes what it takes from the others.
func (a *combination) take(t *denseTop) {
	a.pairPart = t.part
	for e, x := range t.fixed {
		a.fixed[e] -= x
	}
	for _, e := range t.groups {
		a.add(e.id, -e.x)
	}
}
