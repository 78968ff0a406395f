package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// A simulated studio whose truth is known. All of it is invented: the widths below are ours, chosen to be of the size that
// common practice knows (no source) and not those of DefaultPrior. Physics is the H² law with layer weights and the
// front law of a vertical band, of which the studio knows only its own wrong guess of every glaze's fluidity.
type studio struct {
	rng      *rand.Rand
	guess    []float64 // ln fluidity as the melt model has it
	truth    []float64 // ln fluidity as it is
	matte    []bool
	describe []bool
	synergy  map[[2]int]float64 // what a pair does beyond its blend, in ln drive
	hand     []float64          // ln thickness of a tester's coat over the nominal
	kiln     []float64          // ln drive
	heat     float64            // true over assumed effect of a cone
	reduce   float64
	common   float64
}

const (
	simGlazes  = 13
	simBand    = 0.060 // m, height of the glazed band
	simCoat    = 0.16e-3
	simPerCone = 0.35 // ln drive per cone that the physics assumes
)

func newStudio(seed uint64) *studio {
	rng := rand.New(rand.NewPCG(seed, 20))
	s := &studio{rng: rng, synergy: map[[2]int]float64{}}
	for g := range simGlazes {
		s.guess = append(s.guess, 0.9*rng.NormFloat64())
		s.matte = append(s.matte, g%4 == 3)
		s.describe = append(s.describe, g >= simGlazes-2)
		miss := 0.55
		if s.describe[g] {
			miss = 0.9
		}
		truth := s.guess[g] + miss*rng.NormFloat64()
		if s.matte[g] {
			truth -= 0.4
		}
		s.truth = append(s.truth, truth)
	}
	for a := range simGlazes {
		for b := range simGlazes {
			s.synergy[[2]int{a, b}] = 0.2 + 0.35*rng.NormFloat64()
			s.synergy[[2]int{b, a}] = s.synergy[[2]int{a, b}]
		}
	}
	for range 2 {
		s.hand = append(s.hand, 0.12*rng.NormFloat64())
		s.kiln = append(s.kiln, 0.2*rng.NormFloat64())
	}
	s.heat, s.reduce, s.common = 1+0.3*rng.NormFloat64(), 0.25*rng.NormFloat64(), 0.5*rng.NormFloat64()
	return s
}

// piece is one firing of a layering: what is known of it and what it did.
type piece struct {
	tile       Tile
	glazes     []int
	coats      int
	cone       int
	lnX        float64 // the truth
	run        float64 // mm, the truth
	seen       float64 // mm, as it was read (the bare length if it ran off, 0 if it did not move)
	lnClearing float64
}

// front is the run in metres of a band of height L for a drive X, and drive its inverse.
func front(X float64) float64 {
	if s := X / 3; s <= simBand/2 {
		return s
	}
	return math.Pow(1.5*simBand, 2./3)*math.Cbrt(X) - simBand
}

func drive(s float64) float64 {
	if s <= simBand/2 {
		return 3 * s
	}
	return math.Pow((s+simBand)/math.Pow(1.5*simBand, 2./3), 3)
}

func (s *studio) fire(i int) piece {
	rng := s.rng
	p := piece{glazes: []int{rng.IntN(simGlazes)}, cone: rng.IntN(3) - 1}
	coats := []int{1 + rng.IntN(3)}
	if rng.Float64() < 0.6 {
		p.glazes = append(p.glazes, (p.glazes[0]+1+rng.IntN(simGlazes-1))%simGlazes)
		coats = append(coats, 1+rng.IntN(3))
	}
	tester, kiln, reduction := rng.IntN(2), rng.IntN(2), float64(rng.IntN(2))
	for _, c := range coats {
		p.coats += c
	}
	lnDrive := func(lnFluidity []float64, lnCoat float64) (lnX float64, weights []float64) {
		H := simCoat * math.Exp(lnCoat) * float64(p.coats)
		over := 0.0
		if len(coats) == 2 {
			over = math.Pow(float64(coats[1])/float64(p.coats), 3)
		}
		weights = []float64{1 - over, over}
		f := 0.0
		for k, g := range p.glazes {
			weights[k] *= math.Exp(lnFluidity[g])
			f += weights[k]
		}
		for k := range weights {
			weights[k] /= f
		}
		return 2*math.Log(H/0.35e-3) + math.Log(f) - 4.2, weights
	}
	t := &p.tile
	t.Name, t.Order = fmt.Sprintf("tile %d", i), int64(i)
	var weights []float64
	t.LnPhysics, weights = lnDrive(s.guess, 0)
	t.LnPhysics += simPerCone * float64(p.cone)
	t.PhysicsSD = 0.15
	for k, g := range p.glazes {
		share := Share{Name: fmt.Sprintf("glaze %d", g), Weight: math.Max(weights[k], 1e-3) / (1 + 1e-3), PriorSD: 0.45}
		if s.describe[g] {
			share.PriorSD = 0.8
			t.Features.Described += share.Weight
		}
		if s.matte[g] {
			t.Features.Matte += share.Weight
		}
		t.Glazes = append(t.Glazes, share)
	}
	t.Features.Reduction, t.Features.ConeExcess = reduction, float64(p.cone)
	t.Features.LnThickness = math.Log(simCoat * float64(p.coats))
	t.Kiln, t.Tester = fmt.Sprintf("kiln %d", kiln), fmt.Sprintf("tester %d", tester)
	t.Cone = fmt.Sprint(6 + p.cone)
	p.lnX, _ = lnDrive(s.truth, s.hand[tester]+0.08*rng.NormFloat64())
	p.lnX += s.common + simPerCone*s.heat*float64(p.cone) + s.reduce*reduction + s.kiln[kiln]
	if len(p.glazes) == 2 {
		a, b := p.glazes[0], p.glazes[1]
		t.Pair = Share{Name: fmt.Sprintf("%d|%d", min(a, b), max(a, b)), Weight: 1}
		t.Features.Layered, t.Features.LnContrast = 1, s.guess[a]-s.guess[b]
		p.lnX += s.synergy[[2]int{a, b}]
	}
	noise := 0.22 * rng.NormFloat64()
	if rng.Float64() < 0.04 { // now and then somebody swaps a jar or loses count of coats
		noise += 1.2 * rng.NormFloat64()
	}
	p.lnX += noise
	p.run = 1000 * front(math.Exp(p.lnX))

	bare := []float64{40, 60, 80}[rng.IntN(3)]
	p.lnClearing = math.Log(drive(bare / 1000))
	t.Clearance = &p.lnClearing
	const readingMM = 0.7
	lnAt := func(mm float64) float64 { return math.Log(drive(mm / 1000)) }
	switch read := math.Round(p.run + readingMM*rng.NormFloat64()); {
	case read >= bare:
		p.seen = bare
		t.Reading = ReadAtLeast(lnAt(bare), 0.02, bare)
	case read < 1:
		t.Reading = ReadAtMost(lnAt(halfWidth*readingMM), 0, halfWidth*readingMM)
	default:
		p.seen = read
		t.Reading = ReadRun(read, readingMM, lnAt)
	}
	return p
}

// Three things that people do today, each from the logged pieces alone, as a run in mm.

func near(a, b *piece) float64 {
	return math.Abs(float64(a.coats-b.coats)) + math.Abs(float64(a.cone-b.cone))
}

func meanRun(log []piece) float64 {
	s := 0.0
	for i := range log {
		s += log[i].seen
	}
	return s / math.Max(1, float64(len(log)))
}

// largerSolo is the larger of the two glazes' nearest solo runs; where neither is logged, the mean of the log.
func largerSolo(log []piece, q *piece) float64 {
	best := -1.0
	for _, g := range q.glazes {
		closest := math.Inf(1)
		run := -1.0
		for i := range log {
			if p := &log[i]; len(p.glazes) == 1 && p.glazes[0] == g && near(p, q) < closest {
				closest, run = near(p, q), p.seen
			}
		}
		best = math.Max(best, run)
	}
	if best < 0 {
		return meanRun(log)
	}
	return best
}

// nearestLogged is the run of the logged piece most like this one: shared glazes first, then coats and cone.
func nearestLogged(log []piece, q *piece) float64 {
	closest, run := math.Inf(1), meanRun(log)
	for i := range log {
		p := &log[i]
		d := near(p, q) + 5*math.Abs(float64(len(p.glazes)-len(q.glazes)))
		for _, g := range q.glazes {
			has := false
			for _, o := range p.glazes {
				has = has || o == g
			}
			if !has {
				d += 5
			}
		}
		if d < closest {
			closest, run = d, p.seen
		}
	}
	return run
}

// plainLeastSquares of ln(1+run) on coats and cone.
func plainLeastSquares(log []piece, q *piece) float64 {
	x, y := mat.NewDense(len(log), 3, nil), mat.NewVecDense(len(log), nil)
	for i := range log {
		x.SetRow(i, []float64{1, float64(log[i].coats), float64(log[i].cone)})
		y.SetVec(i, math.Log1p(log[i].seen))
	}
	var b mat.VecDense
	if err := b.SolveVec(x, y); err != nil {
		return meanRun(log)
	}
	return math.Max(0, math.Expm1(b.AtVec(0)+b.AtVec(1)*float64(q.coats)+b.AtVec(2)*float64(q.cone)))
}

// TestSimulatedStudios is the measure of the whole: 200 studios at 10, 30 and 100 tiles.
func TestSimulatedStudios(t *testing.T) {
	studios := 40
	if os.Getenv("CI") == "true" || os.Getenv("CATCHLINE_FULL") != "" {
		studios = 200
	}
	if testing.Short() {
		studios = 12
	}
	const fresh = 40
	type tally struct {
		hits50, hits80, hits95, n           float64
		ours, physics, solo, nearest, plain []float64
	}
	sizes := []int{0, 10, 30, 100}
	tallies := make([]tally, len(sizes))
	for k := range studios {
		s := newStudio(uint64(k))
		var log []piece
		for i := range sizes[len(sizes)-1] {
			log = append(log, s.fire(i))
		}
		var news []piece
		for i := range fresh {
			news = append(news, s.fire(1000+i))
		}
		for j, n := range sizes {
			tiles := make([]Tile, n)
			for i := range tiles {
				tiles[i] = log[i].tile
			}
			sorted, err := inOrder(tiles)
			if err != nil {
				t.Fatal(err)
			}
			c, err := fit(sorted, DefaultPrior(), searchPrecision) // Fit without the record, which is not asked for here
			if err != nil {
				t.Fatal(err)
			}
			ta := &tallies[j]
			for i := range news {
				q := &news[i]
				p, err := predicted(c, &q.tile.Conditions)
				if err != nil {
					t.Fatal(err)
				}
				within := func(level float64) float64 {
					if q.lnX >= p.Quantile((1-level)/2) && q.lnX <= p.Quantile((1+level)/2) {
						return 1
					}
					return 0
				}
				ta.n++
				ta.hits50 += within(0.5)
				ta.hits80 += within(0.8)
				ta.hits95 += within(0.95)
				miss := func(run float64) float64 {
					d := math.Log1p(run) - math.Log1p(q.run)
					return d * d
				}
				ta.ours = append(ta.ours, miss(1000*front(math.Exp(p.Quantile(0.5)))))
				ta.physics = append(ta.physics, miss(1000*front(math.Exp(p.LnPhysics))))
				ta.solo = append(ta.solo, miss(largerSolo(log[:n], q)))
				ta.nearest = append(ta.nearest, miss(nearestLogged(log[:n], q)))
				if n > 0 {
					ta.plain = append(ta.plain, miss(plainLeastSquares(log[:n], q)))
				}
			}
		}
	}
	rms := func(x []float64) float64 { return math.Sqrt(stat.Mean(x, nil)) }
	for j, n := range sizes {
		ta := &tallies[j]
		c80 := ta.hits80 / ta.n
		t.Logf("%3d tiles: rms ln(1+run) ours %.3f, physics alone %.3f, larger solo %.3f, nearest %.3f, coats and cone %.3f; covered 50 %%: %.1f, 80 %%: %.1f, 95 %%: %.1f",
			n, rms(ta.ours), rms(ta.physics), rms(ta.solo), rms(ta.nearest), rms(ta.plain), 100*ta.hits50/ta.n, 100*c80, 100*ta.hits95/ta.n)
		if n > 0 && !testing.Short() && (c80 < 0.76 || c80 > 0.84) {
			t.Errorf("%d tiles: the 80 %% interval covers %.1f %%", n, 100*c80)
		}
		if n == 30 {
			best := math.Min(rms(ta.solo), math.Min(rms(ta.nearest), rms(ta.plain)))
			if less := 1 - rms(ta.ours)/best; less < 0.4 {
				t.Errorf("30 tiles: error only %.0f %% below the best of what people do", 100*less)
			}
		}
	}
}
