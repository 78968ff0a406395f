package main

import (
	"math"
	"math/rand/v2"
	"sync"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// plan says how much work a fit is.
type plan struct {
	teachers      int
	teacherEpochs int
	prior         int // melts of a published formula among the teachers' lessons
	mixes         int // made-up melts per measured one
	pupilEpochs   int
}

var (
	fullPlan = plan{teachers: 4, teacherEpochs: 320, prior: 1000, mixes: 4, pupilEpochs: 150}
	// quickPlan is one network fitted straight on the data and not for long: for the test.
	quickPlan = plan{teachers: 1, teacherEpochs: 60}
)

// fit makes the product's network from data: an ensemble of networks, each fitted on the data from another start, and one
// taught by it on the measured melts and on many between and beyond them. The pupil keeps
// the ensemble's mean and learns how far its members differ, which is large where the data says nothing.
func fit(data []sample, p plan) *form.Network {
	c := scalingOf(data)
	lessons := append(measured(data, c), prior(c, p.prior)...)
	if p.teachers == 1 {
		return train(lessons, teacherSettings(1, p.teacherEpochs)).network(c)
	}
	teachers := make([]*dense, p.teachers)
	var wg sync.WaitGroup
	slots := make(chan struct{}, 2)
	for i := range teachers {
		wg.Go(func() {
			slots <- struct{}{}
			teachers[i] = train(lessons, teacherSettings(uint64(i+1), p.teacherEpochs))
			<-slots
		})
	}
	wg.Wait()
	pupil := train(taught(data, c, teachers, p.mixes), settings{hidden: []int{form.Hidden1, form.Hidden2}, epochs: p.pupilEpochs,
		batch: 64, rate: 0.003, decay: 0.002, scale: 0.06, priorA: 0.02, priorR: 0.01, seed: 1000})
	return pupil.network(c)
}

func teacherSettings(seed uint64, epochs int) settings {
	return settings{hidden: []int{form.Hidden1, form.Hidden2}, epochs: epochs, batch: 64, rate: 0.003, decay: 0.1, scale: 0.12, priorA: 1, priorR: 0.3,
		noise: 0.03, seed: seed}
}

// taught makes the pupil's lessons: the measured melts, mixes of neighbours (a little beyond both as well), and a few
// mixes of any two melts and melts from anywhere, for the spread.
func taught(data []sample, c *scaling, teachers []*dense, mixes int) []lesson {
	rng := rand.New(rand.NewPCG(5, 1936))
	near := neighbours(data, 12)
	ask := newOracle(teachers)
	var out []lesson
	for i := range data {
		weight := 1.0
		for _, p := range data[i].points {
			weight = max(weight, 0.6*windowWeight(p.window))
		}
		out = append(out, ask.lesson(&data[i].x, c, weight))
		for range mixes {
			other := near[i][rng.IntN(len(near[i]))]
			x := mix(&data[i].x, &data[other].x, 1.3*rng.Float64()-0.15)
			out = append(out, ask.lesson(&x, c, weight))
		}
		x := mix(&data[i].x, &data[rng.IntN(len(data))].x, rng.Float64())
		out = append(out, ask.lesson(&x, c, 0.3))
		x = anyMelt(rng)
		out = append(out, ask.lesson(&x, c, 0.15))
	}
	return out
}

// anyMelt draws a melt from anywhere, of two to six oxides.
func anyMelt(rng *rand.Rand) (x [chem.NumNetworkOxides]float64) {
	sum := 0.0
	for range 2 + rng.IntN(5) {
		v := rng.ExpFloat64()
		x[rng.IntN(len(x))] += v
		sum += v
	}
	for i := range x {
		x[i] /= sum
	}
	return x
}

// mix goes a share t from x to y and keeps the mole fractions positive and their sum 1.
func mix(x, y *[chem.NumNetworkOxides]float64, t float64) (z [chem.NumNetworkOxides]float64) {
	sum := 0.0
	for i := range z {
		z[i] = max(0, x[i]+t*(y[i]-x[i]))
		sum += z[i]
	}
	for i := range z {
		z[i] /= sum
	}
	return z
}

// neighbours gives for each sample the n nearest by the sum of absolute differences.
func neighbours(data []sample, n int) [][]int {
	out := make([][]int, len(data))
	for i := range data {
		best := make([]float64, 0, n+1)
		var at []int
		for j := range data {
			if i == j {
				continue
			}
			limit := math.Inf(1)
			if len(best) == n {
				limit = best[n-1]
			}
			d := 0.0
			for k, v := range data[i].x {
				d += math.Abs(v - data[j].x[k])
				if d >= limit {
					break
				}
			}
			if d >= limit {
				continue
			}
			q := len(best)
			best, at = append(best, d), append(at, j)
			for q > 0 && best[q-1] > d {
				best[q], at[q] = best[q-1], at[q-1]
				q--
			}
			best[q], at[q] = d, j
			if len(best) > n {
				best, at = best[:n], at[:n]
			}
		}
		out[i] = at
	}
	return out
}

// oracle asks an ensemble.
type oracle struct {
	teachers []*dense
	passes   []*pass
}

func newOracle(teachers []*dense) *oracle {
	o := &oracle{teachers: teachers}
	for _, m := range teachers {
		o.passes = append(o.passes, m.newPass(1))
	}
	return o
}

// lesson gives the ensemble's mean log10 η of a melt at six temperatures, and its spread over those where the melt flows.
func (o *oracle) lesson(x *[chem.NumNetworkOxides]float64, c *scaling, weight float64) lesson {
	l := lesson{features: make([]float32, form.NumFeatures), weight: 0.5 * weight}
	c.apply(x, l.features)
	curves := make([]form.Curve, len(o.teachers))
	u2 := make([]float64, len(o.teachers))
	for i, m := range o.teachers {
		copy(o.passes[i].a[0], l.features)
		u := m.forward(o.passes[i], 1)
		curves[i] = form.CurveOf(float64(u[0]), float64(u[1]), float64(u[2]))
		u2[i] = float64(u[2])
	}
	var slope [3]float64
	variance, n := 0.0, 0
	n1 := float64(len(curves))
	for _, T := range []float64{1150, 1250, 1350, 1450, 1550, 1700} {
		s, q := 0.0, 0.0
		for i, k := range curves {
			v := k.Log10(T, u2[i], &slope)
			s += v
			q += v * v
		}
		mean := s / n1
		if mean < -1 || mean > 8 {
			continue
		}
		l.points = append(l.points, target{T, mean, weight})
		variance += max(0, q-n1*mean*mean) / (n1 - 1)
		n++
	}
	if n == 0 {
		l.weight = 0
		return l
	}
	l.spread = form.SpreadOutput(math.Sqrt(variance / float64(n)))
	return l
}
