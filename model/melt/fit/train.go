package main

import (
	"math"
	"math/rand/v2"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// scaling is what a network or process is told of a melt, each number brought to mean 0 and deviation about 1.
type scaling struct {
	features    func(x *[chem.NumNetworkOxides]float64) []float64
	mean, scale []float64
}

func scalingOf(data []sample, features func(x *[chem.NumNetworkOxides]float64) []float64) *scaling {
	width := len(features(&data[0].x))
	c := &scaling{features, make([]float64, width), make([]float64, width)}
	squares := make([]float64, width)
	for i := range data {
		for j, v := range features(&data[i].x) {
			c.mean[j] += v
			squares[j] += v * v
		}
	}
	n := float64(len(data))
	for j := range squares {
		c.mean[j] /= n
		// an oxide that is rare must not become a large number where it is not
		c.scale[j] = 1 / max(math.Sqrt(max(squares[j]/n-c.mean[j]*c.mean[j], 0)), 0.03)
	}
	return c
}

// apply gives the scaled features of a melt.
func (c *scaling) apply(x *[chem.NumNetworkOxides]float64) []float32 {
	f := c.features(x)
	out := make([]float32, len(f))
	for j, v := range f {
		out[j] = float32((v - c.mean[j]) * c.scale[j])
	}
	return out
}

// lesson is one melt to learn: its scaled features, what is known of its curve, and how much each
// point and the spread count.
type lesson struct {
	features []float32
	points   []target
	spread   float64 // wanted of the fourth output
	weight   float64 // of the spread; 0 when unknown
}

type target struct{ T, log10, weight float64 }

// settings of one training.
type settings struct {
	hidden      []int
	epochs      int
	batch       int
	rate, decay float64
	scale       float64 // of the robust loss, in log10 η
	priorA      float64 // pull of A to its centre
	priorR      float64 // pull of C/T3 to its centre
	noise       float64 // added to scaled features, new each time: smooths over distances that small
	seed        uint64
}

// train fits a network to lessons: Student's loss of three degrees of freedom on log10 η, so that gross errors in the
// data pull no harder than honest ones; Adam with a rate that falls along a cosine; the average of the weights over the
// last steps.
func train(lessons []lesson, s settings) *dense {
	rng := rand.New(rand.NewPCG(s.seed, 1959))
	width := len(lessons[0].features)
	sizes := append(append([]int{width}, s.hidden...), form.Outputs)
	m := newDense(sizes, rng)
	p := m.newPass(s.batch)
	g := make([]float32, len(m.p))
	mean := make([]float32, len(m.p))
	averaged := 0
	opt := newAdam(len(m.p))
	order := rng.Perm(len(lessons))
	batches := (len(lessons) + s.batch - 1) / s.batch
	step, steps := 0, s.epochs*batches
	errors := p.d[len(sizes)-1]
	for range s.epochs {
		rng.Shuffle(len(order), func(i, j int) { order[i], order[j] = order[j], order[i] })
		for b := 0; b < len(order); b += s.batch {
			batch := order[b:min(b+s.batch, len(order))]
			for i, k := range batch {
				row := p.a[0][i*width : (i+1)*width]
				copy(row, lessons[k].features)
				if s.noise > 0 {
					for j := range row {
						row[j] += float32(s.noise * rng.NormFloat64())
					}
				}
			}
			out := m.forward(p, len(batch))
			for i, k := range batch {
				u := out[i*form.Outputs : (i+1)*form.Outputs]
				pull := lossSlope(&lessons[k], u, &s)
				for j, v := range pull {
					errors[i*form.Outputs+j] = float32(v / float64(len(batch)))
				}
			}
			m.backward(p, len(batch), g)
			done := float64(step) / float64(steps)
			rate := s.rate * 0.5 * (1 + math.Cos(math.Pi*done))
			if done < 0.03 {
				rate = s.rate * done / 0.03
			}
			opt.step(m.p, g, rate, s.decay)
			step++
			if done > 0.85 {
				averaged++
				for i, v := range m.p {
					mean[i] += (v - mean[i]) / float32(averaged)
				}
			}
		}
	}
	m.p = mean
	return m
}

// lossSlope is the derivative of a lesson's loss to the outputs u.
func lossSlope(l *lesson, u []float32, s *settings) (pull [form.Outputs]float64) {
	u0, u1, u2, u3 := float64(u[0]), float64(u[1]), float64(u[2]), float64(u[3])
	c := form.CurveOf(u0, u1, u2)
	var slope [3]float64
	for _, pt := range l.points {
		z := (c.Log10(pt.T, u2, &slope) - pt.log10) / s.scale
		w := pt.weight * z / (1 + z*z/3)
		for j, v := range slope {
			pull[j] += w * v
		}
	}
	pull[1] += s.priorR * u1
	pull[2] += s.priorA * u2
	pull[3] = l.weight * (u3 - l.spread)
	return pull
}

// windowWeight makes the melts that the model is for count more than the rest, those of window 2 most, which are of more kinds
// and fewer. No prior melt outweighs a measurement.
func windowWeight(window int) float64 {
	switch window {
	case 1:
		return 5
	case 2:
		return 8
	case fromFormula:
		return priorWeight
	}
	return 1
}

// lessonsOf turns measurements and melts of the formula into lessons.
func lessonsOf(data, formula []sample, c *scaling) []lesson {
	var out []lesson
	for _, samples := range [][]sample{data, formula} {
		for _, s := range samples {
			l := lesson{features: c.apply(&s.x)}
			for _, p := range s.points {
				l.points = append(l.points, target{p.T, s.inAir(p), windowWeight(p.window)})
			}
			out = append(out, l)
		}
	}
	return out
}
