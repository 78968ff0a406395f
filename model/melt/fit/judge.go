package main

import (
	"fmt"
	"io"
	"math"
	"sort"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// outcome is one held-out measurement and what was said of it.
type outcome struct {
	sample  *sample
	point   point
	miss    float64 // predicted less measured log10 η
	signals form.Signals
	fold    int
}

// predict gives the outcomes of samples that the network did not see.
func predict(n *form.Network, data []sample, fold int) []outcome {
	var out []outcome
	layers := n.Layers()
	for i := range data {
		s := &data[i]
		var f [form.NumFeatures]float64
		var u [form.Outputs]float64
		form.Features(&s.x, &f)
		layers.Eval(&f, &u)
		c := form.CurveOf(u[0], u[1], u[2])
		var slope [3]float64
		for _, p := range s.points {
			out = append(out, outcome{s, p, c.Log10(p.T, u[2], &slope) + form.FerrousEffect(s.x[chem.FeO], s.x[chem.Fe2O3]) - p.log10, form.SignalsOf(&f, u[3]), fold})
		}
	}
	return out
}

// score is what the model is judged by: of |miss| the median, the 90th percentile and the root mean square.
type score struct {
	n                int
	median, p90, rms float64
}

func scoreOf(misses []float64) score {
	if len(misses) == 0 {
		return score{}
	}
	a := make([]float64, len(misses))
	sum := 0.0
	for i, v := range misses {
		a[i] = math.Abs(v)
		sum += v * v
	}
	sort.Float64s(a)
	return score{len(a), a[len(a)/2], a[len(a)*9/10], math.Sqrt(sum / float64(len(a)))}
}

func (s score) String() string {
	return fmt.Sprintf("%5d  %.3f / %.3f / %.3f", s.n, s.median, s.p90, s.rms)
}

// choose gives the misses of the outcomes that a test lets through.
func choose(all []outcome, keep func(*outcome) bool) []float64 {
	var out []float64
	for i := range all {
		if keep(&all[i]) {
			out = append(out, all[i].miss)
		}
	}
	return out
}

func inWindow(w int) func(*outcome) bool { return func(o *outcome) bool { return o.point.window == w } }

// report prints the table of a cross-validation.
func report(w io.Writer, data []sample, all []outcome, sd func(*outcome) float64) {
	fmt.Fprintln(w, "held-out log10 eta: points, median |error| / 90th percentile / root mean square")
	for _, win := range []int{1, 2, 0} {
		fmt.Fprintf(w, "  window %d                 %v\n", win, scoreOf(choose(all, inWindow(win))))
	}
	for _, ref := range []struct {
		name string
		f    published
	}{{"Fluegel 2007", fluegel}, {"Giordano et al. 2008", giordano}} {
		var e [3][]float64
		for i := range data {
			for j, y := range ref.f(&data[i]) {
				p := data[i].points[j]
				e[p.window] = append(e[p.window], y-p.log10)
			}
		}
		for _, win := range []int{1, 2} {
			fmt.Fprintf(w, "  %-20s w%d  %v\n", ref.name, win, scoreOf(e[win]))
		}
	}
	fmt.Fprintln(w, "by oxide, both windows")
	for _, o := range [][]chem.Oxide{{chem.B2O3}, {chem.ZnO}, {chem.Li2O}, {chem.SrO, chem.BaO}, {chem.Fe2O3, chem.FeO}, {chem.MgO}, {chem.K2O}, {chem.TiO2}, {chem.ZrO2}, {chem.PbO}} {
		e := choose(all, func(q *outcome) bool {
			share := 0.0
			for _, k := range o {
				share += q.sample.x[k]
			}
			return q.point.window > 0 && share > 0.005
		})
		fmt.Fprintf(w, "  %-22v  %v\n", o, scoreOf(e))
	}
	fmt.Fprintln(w, "share of held-out points in the 80 % interval, mean deviation")
	for _, c := range coverages(all, sd) {
		fmt.Fprintf(w, "  window %d  %.1f %%  %.3f\n", c.window, 100*c.inside, c.mean)
	}
	fmt.Fprintln(w, "a yardstick, points with near twins in their group: as above, and told how it misses the twins")
	for _, win := range []int{1, 2} {
		own, told := toldOfTwins(all, win)
		fmt.Fprintf(w, "  window %d  %v    %v\n", win, scoreOf(own), scoreOf(told))
	}
	worstGroups(w, all)
}

// coverage is the share of a window's held-out points inside the 80 % interval, and the mean deviation there.
type coverage struct {
	window       int
	inside, mean float64
}

func coverages(all []outcome, sd func(*outcome) float64) []coverage {
	var out []coverage
	for _, win := range []int{1, 2, 0} {
		in, n, mean := 0, 0, 0.0
		for i := range all {
			if o := &all[i]; o.point.window == win {
				n++
				s := sd(o)
				mean += s
				if math.Abs(o.miss) <= interval80*s {
					in++
				}
			}
		}
		out = append(out, coverage{win, float64(in) / float64(n), mean / float64(n)})
	}
	return out
}

// worstGroups prints the groups that add most to the squared error of the windows.
func worstGroups(w io.Writer, all []outcome) {
	type group struct {
		id, n     int
		sum, mean float64
		x         *sample
	}
	by := map[int]*group{}
	for i := range all {
		o := &all[i]
		if o.point.window == 0 {
			continue
		}
		g := by[o.sample.group]
		if g == nil {
			g = &group{id: o.sample.group, x: o.sample}
			by[g.id] = g
		}
		g.n++
		g.sum += o.miss * o.miss
		g.mean += o.miss
	}
	var list []*group
	for _, g := range by {
		list = append(list, g)
	}
	sort.Slice(list, func(i, j int) bool {
		return list[i].sum > list[j].sum || list[i].sum == list[j].sum && list[i].id < list[j].id
	})
	fmt.Fprintln(w, "groups that add most to the squared error: group, points, sum of squares, mean error, a composition in mol%")
	for _, g := range list[:min(15, len(list))] {
		fmt.Fprintf(w, "  %4d %3d %6.2f %+.2f ", g.id, g.n, g.sum, g.mean/float64(g.n))
		for i, v := range g.x.x {
			if v >= 0.0005 {
				fmt.Fprintf(w, " %v %.1f", chem.Oxide(i), 100*v)
			}
		}
		fmt.Fprintln(w)
	}
}
