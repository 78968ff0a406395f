package main

import (
	"math"
	"slices"
)

// sameHeat is how near in temperature (K) a point must be to tell of another: there a melt's misses hardly differ.
const sameHeat = 150

// toldOfTwins measures how well the measurements agree with each other. For each held-out point of a window whose group holds other melts, measured within
// sameHeat of it, it gives the model's miss, and what is left of that when the model is told how it misses those melts: the median over them of each one's
// median miss. Melts of a group differ by 3 mol% or so in all, over which a model errs little more in one than in the other, so what is left is mostly how
// laboratories differ. No model that has to do without such twins can be expected to miss much less.
func toldOfTwins(all []outcome, window int) (own, told []float64) {
	groups := map[int][]*outcome{}
	for i := range all {
		o := &all[i]
		groups[o.sample.group] = append(groups[o.sample.group], o)
	}
	for i := range all {
		o := &all[i]
		if o.point.window != window {
			continue
		}
		of := map[*sample][]float64{}
		for _, p := range groups[o.sample.group] {
			if p.sample != o.sample && math.Abs(p.point.T-o.point.T) < sameHeat {
				of[p.sample] = append(of[p.sample], p.miss)
			}
		}
		if len(of) == 0 {
			continue
		}
		var twins []float64
		for _, misses := range of {
			twins = append(twins, median(misses))
		}
		own = append(own, o.miss)
		told = append(told, o.miss-median(twins))
	}
	return own, told
}

func median(v []float64) float64 {
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}
