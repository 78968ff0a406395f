package main

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"

	"github.com/catchline/catchline/model/melt/internal/form"
)

// interval80 is the normal quantile of 0.9: 80 % lie within so many standard deviations.
const interval80 = 1.2815515655446004

// fitDeviation chooses the deviation's coefficients so that on held-out points interval80 times the deviation is the 80th percentile
// of |error|, whatever the melt: it minimises the quantile's own (pinball) loss. The errors' tails are heavier than a normal
// distribution's, so the interval is what is right, not the second moment. The windows count alike, the rest a fifth.
func fitDeviation(all []outcome) (form.Deviation, error) {
	var n [3]float64
	for i := range all {
		n[all[i].point.window]++
	}
	weight := [3]float64{0.2 / math.Max(1, n[0]), 1 / math.Max(1, n[1]), 1 / math.Max(1, n[2])}
	problem := optimize.Problem{Func: func(c []float64) float64 {
		d := form.Deviation(c)
		loss := 0.0
		for i := range all {
			o := &all[i]
			over := math.Abs(o.miss) - interval80*d.SD(&o.signals)
			w := weight[o.point.window]
			if over > 0 {
				loss += w * 0.8 * over
			} else {
				loss -= w * 0.2 * over
			}
		}
		for _, v := range c[1:] {
			loss += 1e-5 * v * v
		}
		return loss
	}}
	start := []float64{-1.7, 0.3, 0, 0, 0}
	r, err := optimize.Minimize(problem, start, &optimize.Settings{MajorIterations: 3000, FuncEvaluations: 3000}, &optimize.NelderMead{})
	if err != nil {
		return form.Deviation{}, fmt.Errorf("deviation: %w", err)
	}
	return form.Deviation(r.X), nil
}
