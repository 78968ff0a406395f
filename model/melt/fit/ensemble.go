package main

import (
	"math"
	"math/rand/v2"
	"sync"
	"sync/atomic"

	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/melt/internal/form"
)

// setup is how much work a fit is: how many teachers of which kinds, for how long, and on what a pupil is taught.
type setup struct {
	teachers         int // networks; the process and the quadratic form are teachers besides
	teacherEpochs    int
	prior            int // melts of a published formula among the teachers' lessons
	mixes            int // made-up melts per measured one, between it and a neighbour
	farMixes         int // the same between it and any other
	windowMixes      int // made-up melts between any two melts of the windows
	windowNeighbours int // made-up melts on the line through a melt of the windows and a neighbour
	windowChanges    int // melts of the windows with one oxide changed
	pupilEpochs      int
}

var (
	fullSetup = setup{teachers: 6, teacherEpochs: 320, prior: 1000, mixes: 2, farMixes: 3, windowMixes: 15000, windowNeighbours: 20000,
		windowChanges: 30000, pupilEpochs: 80}
	// quickSetup is one network fitted straight on the data and not for long: for the test.
	quickSetup = setup{teachers: 1, teacherEpochs: 60}
)

// fit makes the product's network from data: teachers are fitted on the data, and one network more is taught by them on the measured
// melts and on many between and beyond them. That pupil keeps the teachers' weighted mean and learns how far they differ, which
// is large where the data says nothing.
func fit(data []sample, p setup) (*form.Network, error) {
	own := scalingOf(data, productFeatures)
	formula := prior(p.prior)
	if p.teachers == 1 {
		s := teacherSettings(1, p.teacherEpochs)
		s.hidden = productHidden
		return train(lessonsOf(data, formula, own), s).network(own), nil
	}
	c := scalingOf(data, teachingFeatures)
	gp, err := fitProcess(data, formula, c)
	if err != nil {
		return nil, err
	}
	square, err := fitQuadratic(data, formula, c)
	if err != nil {
		return nil, err
	}
	lessons := lessonsOf(data, formula, c)
	networks := make([]*dense, p.teachers)
	inParallel(p.teachers, func(i int) {
		networks[i] = train(lessons, teacherSettings(uint64(i+1), p.teacherEpochs))
	})
	pupil := train(taught(data, formula, own, &oracle{c, networks, gp, square}, p), settings{hidden: productHidden, epochs: p.pupilEpochs,
		batch: 64, rate: 0.003, decay: 0.002, scale: 0.06, priorA: 0.002, priorR: 0.001, seed: 1000})
	return pupil.network(own), nil
}

// productHidden are the hidden layers of the product's network.
var productHidden = []int{form.Hidden1, form.Hidden2}

func teacherSettings(seed uint64, epochs int) settings {
	return settings{hidden: []int{48, 24}, epochs: epochs, batch: 64, rate: 0.003, decay: 0.1, scale: 0.12, priorA: 0.03, priorR: 0.01,
		noise: 0.03, seed: seed}
}

// inParallel calls f for 0 to n-1, two at a time.
func inParallel(n int, f func(i int)) {
	var wg sync.WaitGroup
	var next atomic.Int64
	for range 2 {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				f(i)
			}
		})
	}
	wg.Wait()
}

// taught makes the pupil's lessons: the measured melts, mixes of neighbours (a little beyond both as well), and, since what a pupil loses against its teachers
// it loses between and beside the melts, many made-up ones from the windows: mixes of any two, melts on the lines through one and a neighbour, to half
// as far beyond either, and ones with more or less of a single oxide. Besides a few mixes of any two melts and melts from anywhere, for the spread.
func taught(data, formula []sample, c *scaling, ask *oracle, p setup) []lesson {
	rng := rand.New(rand.NewPCG(5, 1936))
	near := neighbours(data, 12)
	type question struct {
		x      [chem.NumNetworkOxides]float64
		weight float64
	}
	var asked []question
	var inWindow [3][]int
	for i := range data {
		weight := max(1, 0.6*windowWeight(data[i].window()))
		inWindow[data[i].window()] = append(inWindow[data[i].window()], i)
		asked = append(asked, question{data[i].x, weight})
		for range p.mixes {
			other := near[i][rng.IntN(len(near[i]))]
			asked = append(asked, question{mix(&data[i].x, &data[other].x, 1.3*rng.Float64()-0.15), weight})
		}
		for range p.farMixes {
			asked = append(asked, question{mix(&data[i].x, &data[rng.IntN(len(data))].x, rng.Float64()), 1})
		}
		asked = append(asked, question{anyMelt(rng), 0.4})
	}
	// either window as often, though window 1 has more melts
	ofWindows := func() int {
		melts := inWindow[1+rng.IntN(2)]
		return melts[rng.IntN(len(melts))]
	}
	for range p.windowMixes {
		a, b := ofWindows(), ofWindows()
		asked = append(asked, question{mix(&data[a].x, &data[b].x, rng.Float64()), 1})
	}
	for range p.windowNeighbours {
		a := ofWindows()
		b := near[a][rng.IntN(len(near[a]))]
		asked = append(asked, question{mix(&data[a].x, &data[b].x, 2*rng.Float64()-0.5), 1})
	}
	for range p.windowChanges {
		asked = append(asked, question{oneChanged(data[ofWindows()].x, rng), 1})
	}
	for i := range formula {
		asked = append(asked, question{formula[i].x, 1})
	}
	out := make([]lesson, len(asked))
	inParallel(len(asked), func(i int) { out[i] = ask.lesson(&asked[i].x, c, asked[i].weight) })
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

// oneChanged gives a melt with a single oxide changed, one that it may not have had: mostly more of it, by up to 17 mol%, at times less, to nothing.
func oneChanged(x [chem.NumNetworkOxides]float64, rng *rand.Rand) [chem.NumNetworkOxides]float64 {
	i := rng.IntN(len(x))
	if rng.Float64() < 0.7 {
		x[i] += 0.2 * rng.Float64()
	} else {
		x[i] *= rng.Float64()
	}
	return mix(&x, &x, 0)
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

// oracle asks the teachers.
type oracle struct {
	c        *scaling
	networks []*dense
	gp       *process
	square   *quadratic
}

// quadraticShare is the quadratic form's share of the teachers' mean.
const quadraticShare = 0.2

// processShare is the process's share of what networks and process say of a melt of which the networks say log10 η is y: 0.25 where the melt flows, fading to
// 0.075 at 6, since the process takes few stiff points; and to two fifths of that in melts of a tenth and more of boron, zinc, lithium, strontium and barium
// oxides, of which there are few, and far from each other: there the networks by themselves have the lower median of errors held out.
func processShare(x *[chem.NumNetworkOxides]float64, y float64) float64 {
	rare := x[chem.B2O3] + x[chem.ZnO] + x[chem.Li2O] + x[chem.SrO] + x[chem.BaO]
	return 0.25 * (1 - 0.7*smoothStep((y-3.5)/2.5)) * (1 - 0.6*smoothStep(rare/0.1))
}

// smoothStep rises from 0 at 0 to 1 at 1.
func smoothStep(t float64) float64 {
	t = min(max(t, 0), 1)
	return t * t * (3 - 2*t)
}

// lesson gives the teachers' mean log10 η of a melt at some temperatures, and their spread over those where the melt flows.
func (o *oracle) lesson(x *[chem.NumNetworkOxides]float64, c *scaling, weight float64) lesson {
	// the spread counts for little, since the network has only so many units
	l := lesson{features: c.apply(x), weight: 0.05 * weight}
	curves := make([]form.Curve, len(o.networks))
	u2 := make([]float64, len(o.networks))
	told := o.c.apply(x)
	for i, m := range o.networks {
		p := m.newPass(1)
		copy(p.a[0], told)
		u := m.forward(p, 1)
		curves[i] = form.CurveOf(float64(u[0]), float64(u[1]), float64(u[2]))
		u2[i] = float64(u[2])
	}
	remembered := o.gp.curve(x)
	drawn := o.square.outputs(o.square.terms(x))
	var slope [3]float64
	variance, n := 0.0, 0
	n1 := float64(len(curves))
	for _, T := range []float64{925, 1000, 1075, 1150, 1250, 1350, 1450, 1550, 1700} {
		s, q := 0.0, 0.0
		for i, k := range curves {
			v := k.Log10(T, u2[i], &slope)
			s += v
			q += v * v
		}
		byNetworks, byProcess := s/n1, log10At(remembered, T)
		share := processShare(x, byNetworks)
		byQuadratic, _ := myega(drawn, T)
		remembering := byNetworks + share*(byProcess-byNetworks)
		mean := remembering + quadraticShare*(byQuadratic-remembering)
		if mean < -1 || mean > 6.5 {
			continue
		}
		l.points = append(l.points, target{T, mean, weight})
		variance += max(0, q-n1*byNetworks*byNetworks) / (n1 - 1)
		variance += share * (1 - share) * (byProcess - byNetworks) * (byProcess - byNetworks)
		variance += quadraticShare * (1 - quadraticShare) * (byQuadratic - remembering) * (byQuadratic - remembering)
		n++
	}
	if n == 0 {
		l.weight = 0
		return l
	}
	l.spread = form.SpreadOutput(math.Sqrt(variance / float64(n)))
	return l
}
