package film

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func solverOf(t testing.TB, p *Profile, err error, cells int, puddle float64, bands ...Band) *Solver {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
	s, err := NewSolver(p, cells, puddle)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Lay(bands...); err != nil {
		t.Fatal(err)
	}
	return s
}

func advance(t testing.TB, s *Solver, drive float64) {
	t.Helper()
	if err := s.Advance(drive); err != nil {
		t.Fatal(err)
	}
}

// On an even slope the solver is to give the closed form (the published block, front_test.go) within 0.3 % at 400 cells.
func TestSolverMeetsClosedForm(t *testing.T) {
	const l = 60e-3
	for _, angle := range []float64{math.Pi / 2, math.Pi / 4} {
		p, err := Tile(0.200, 0.050, angle)
		s := solverOf(t, p, err, 400, 0, Band{0.130, 0.190, 0.5e-3, 1})
		worst := 0.
		for _, drive := range []float64{0.03, 0.06, 0.09, 0.12, 0.2, 0.4, 0.6} {
			advance(t, s, drive/math.Sin(angle))
			want := Run(drive, l)
			off := s.Run()/want - 1
			worst = max(worst, math.Abs(off))
			t.Logf("%.0f°, drive %g m: run %.3f mm, closed form %.3f, off by %.3f %%", angle*180/math.Pi, drive, 1e3*s.Run(), 1e3*want, 100*off)
		}
		if worst > 0.003 {
			t.Errorf("off by up to %.2f %%", 100*worst)
		}
	}
}

// Convergence under refinement. Smooth film: u(x, X) = u0(x - u² X) along characteristics (Whitham 1974, chapter 2),
// mean error over the cells, before any shock. Band: the worst error of the front against the closed form, and the
// mean error of the film against the fan h = sqrt(x/X) (Huppert 1982), which starts from a corner.
func TestSolverConverges(t *testing.T) {
	const l = 60e-3
	p, err := Tile(0.200, 0.050, math.Pi/2)
	var smooth, fan, front []float64
	for _, cells := range []int{100, 200, 400, 800} {
		s := solverOf(t, p, err, cells, 0, Band{0, 0.200, 0.5e-3, 1})
		wave := func(x float64) float64 { return 1 + 0.2*math.Sin(2*math.Pi*x/0.1) }
		for i := range s.n {
			x := 0.2 - (s.top[i]+s.top[i+1])/2
			// The mean of the wave over a cell is its middle times sin(k)/k.
			k := math.Pi * (s.top[i] - s.top[i+1]) / 0.1
			s.volume[i] = s.area[i] * (1 + (wave(x)-1)*math.Sin(k)/k)
			s.settle(i)
		}
		const drive = 0.02
		advance(t, s, drive)
		e, count := 0., 0.
		for _, f := range s.Film(nil) {
			x := 0.2 - f.Along
			if x < 0.06 || x > 0.19 {
				continue
			}
			u := 1.
			for range 60 {
				u = wave(x - u*u*drive)
			}
			e += math.Abs(f.Thickness/0.5e-3 - u)
			count++
		}
		smooth = append(smooth, e/count)

		s = solverOf(t, p, err, cells, 0, Band{0.130, 0.190, 0.5e-3, 1})
		worst := 0.
		for drive := 0.03; drive < 0.61; drive += 0.03 {
			advance(t, s, drive)
			worst = max(worst, math.Abs(s.Run()/Run(drive, l)-1))
		}
		front = append(front, worst)
		e, count = 0, 0
		for _, f := range s.Film(nil) {
			if x := 0.190 - f.Along; x > 0.02 && x < 0.15 {
				e += math.Abs(f.Thickness/0.5e-3 - math.Sqrt(x/s.Drive()))
				count++
			}
		}
		fan = append(fan, e/count)
		k := len(fan) - 1
		order := func(e []float64) float64 {
			if k == 0 {
				return math.NaN()
			}
			return math.Log2(e[k-1] / e[k])
		}
		t.Logf("%4d cells: smooth film %.2e (order %.2f), fan %.2e (order %.2f), front %.4f %% (order %.2f)", cells, smooth[k], order(smooth), fan[k], order(fan), 100*front[k], order(front))
	}
	for _, c := range []struct {
		name  string
		e     []float64
		order float64
	}{{"smooth film", smooth, 1.8}, {"fan", fan, 0.95}, {"front", front, 0.9}} {
		if order := math.Log2(c.e[0]/c.e[3]) / 3; order < c.order {
			t.Errorf("%s: order %.2f", c.name, order)
		}
	}
}

// A cone that widens downwards, derived by hand. With x the slant distance from the apex and r = x sinα,
// x u_X + (x cosα u³/3)_x = 0 has characteristics on which u x^(1/3) is constant, so the fan from the band's upper edge a is
//
//	u = sqrt(3 w/(5 X cosα)) x^(-1/3),   w = x^(5/3) - a^(5/3)
//
// and once it has reached the front, the volume (b² - a²)/2 = ∫ x u dx = (2/5) sqrt(3/(5 X cosα)) w^(3/2) gives the place of
// the front.
func TestSolverOnACone(t *testing.T) {
	const tan, a, b, foot = 0.5, 0.060, 0.110, 0.260
	sin, cos := tan/math.Hypot(1, tan), 1/math.Hypot(1, tan)
	p, err := NewProfile([]Point{{0, foot * sin}, {(foot - 0.05) * cos, 0.05 * sin}})
	s := solverOf(t, p, err, 400, 0, Band{foot - b, foot - a, 0.5e-3, 1})
	for _, drive := range []float64{0.3, 0.6, 0.9} {
		advance(t, s, drive)
		w := math.Pow(5./4*(b*b-a*a)*math.Sqrt(5*drive*cos/3), 2./3)
		front := math.Pow(math.Pow(a, 5./3)+w, 3./5)
		within(t, "run on the cone", s.Run(), front-b, 0.002)
		for _, f := range s.Film(nil) {
			if x := foot - f.Along; x > a+0.01 && x < front-0.005 {
				want := 0.5e-3 * math.Sqrt(3*(math.Pow(x, 5./3)-math.Pow(a, 5./3))/(5*drive*cos)) / math.Cbrt(x)
				within(t, "film on the cone", f.Thickness, want, 0.003)
			}
		}
	}
}

// Second order also where the wall widens: a cone all glazed alike, by the same characteristics: u = (x0/x)^(1/3) with
// (3/5)(x^(5/3) - x0^(5/3)) = cosα x0^(2/3) X.
func TestSolverConvergesOnACone(t *testing.T) {
	const tan, rim, foot, drive = 0.5, 0.060, 0.260, 0.04
	sin, cos := tan/math.Hypot(1, tan), 1/math.Hypot(1, tan)
	p, err := NewProfile([]Point{{0, foot * sin}, {(foot - rim) * cos, rim * sin}})
	var e [2]float64
	for k, cells := range []int{100, 400} {
		s := solverOf(t, p, err, cells, 0, Band{0, foot - rim, 0.5e-3, 1})
		advance(t, s, drive)
		n := 0.
		for _, f := range s.Film(nil) {
			x := foot - f.Along
			if x < 0.13 || x > 0.25 {
				continue
			}
			x0 := x
			for range 200 {
				x0 = math.Pow(math.Pow(x, 5./3)-5./3*cos*drive*math.Pow(x0, 2./3), 3./5)
			}
			e[k] += math.Abs(f.Thickness/0.5e-3 - math.Cbrt(x0/x))
			n++
		}
		e[k] /= n
	}
	order := math.Log2(e[0]/e[1]) / 2
	t.Logf("100 cells %.2e, 400 cells %.2e, order %.2f", e[0], e[1], order)
	if order < 1.8 {
		t.Errorf("order %.2f", order)
	}
}

func vase(t testing.TB) *Profile {
	t.Helper()
	p, err := NewProfile([]Point{
		{0, 0.040}, {0.008, 0.040}, {0.008, 0.0375}, {0.010, 0.0375}, {0.010, 0.040}, // foot with a catch line
		{0.060, 0.058}, {0.110, 0.062}, {0.140, 0.055}, {0.155, 0.035}, {0.175, 0.030}, {0.190, 0.036},
	})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Nothing is made and nothing lost, over ledges, the foot and bands that cross; shares add up; thickness is never negative.
func TestSolverKeepsVolume(t *testing.T) {
	p := vase(t)
	s := solverOf(t, p, nil, 300, 1.5e-3, Band{0.100, 0.190, 0.6e-3, 1}, Band{0.040, 0.110, 0.4e-3, 0.2}, Band{0.150, 0.170, 0.3e-3, 4})
	if err := s.SetBlend(0, 1, 3); err != nil {
		t.Fatal(err)
	}
	start := s.Volume()
	byHand := 0.6e-3*p.Area(0.100, 0.190) + 0.4e-3*p.Area(0.040, 0.110) + 0.3e-3*p.Area(0.150, 0.170)
	within(t, "volume laid", start, byHand, 1e-12)
	for _, drive := range []float64{0.01, 0.1, 1, 10} {
		advance(t, s, drive)
		within(t, "volume", s.Volume()+s.Overflow(), start, 1e-12)
		for i, f := range s.Film(nil) {
			sum := 0.
			for b := range s.count {
				if s.share[b][i] < 0 {
					t.Fatalf("share %d of cell %d is %g", b, i, s.share[b][i])
				}
				sum += s.share[b][i]
			}
			if f.Thickness < 0 || math.Abs(sum-s.volume[i]) > 1e-12*s.area[i] {
				t.Fatalf("cell %d: thickness %g, shares %g of %g", i, f.Thickness, sum, s.volume[i])
			}
		}
	}
	if s.Overflow() == 0 || s.FootDrive() > 10 {
		t.Errorf("%.3g m³ over the foot, reached at %g m", s.Overflow(), s.FootDrive())
	}
}

// A gutter lets nothing by until it is full, and then all of the rest.
func TestGutterFillsBeforeItRunsOver(t *testing.T) {
	p, err := NewProfile([]Point{{0, 0.046}, {0.020, 0.046}, {0.020, 0.045}, {0.018, 0.045}, {0.018, 0.040}, {0.120, 0.040}})
	s := solverOf(t, p, err, 300, 0, Band{0.060, 0.100, 0.5e-3, 1})
	holds := p.Ledges(0)[0].Holds
	laid := s.Volume()
	if laid < 1.5*holds {
		t.Fatalf("%.2g m³ do not fill a gutter of %.2g", laid, holds)
	}
	advance(t, s, 30)
	left := 0.
	for i := range s.n {
		if s.holds[i] > 0 {
			left += s.volume[i] * 0.5e-3
		}
	}
	within(t, "gutter", left, holds, 1e-9)
	if s.Overflow() == 0 || s.Overflow() > laid-holds {
		t.Errorf("%.3g of %.3g m³ over the foot", s.Overflow(), laid)
	}
	small := solverOf(t, p, nil, 300, 0, Band{0.090, 0.100, 0.3e-3, 1})
	if v := small.Volume(); v >= holds {
		t.Fatalf("%.2g m³ fill a gutter of %.2g", v, holds)
	}
	advance(t, small, 1000)
	if small.Overflow() != 0 || !math.IsInf(small.FootDrive(), 1) {
		t.Errorf("%.3g m³ pass a gutter that is not full", small.Overflow())
	}
}

// Bands that touch and are alike are one band; a band that cannot move lets another run over it.
func TestBandsMeet(t *testing.T) {
	p, err := Cylinder(0.200, 0.080)
	one := solverOf(t, p, err, 200, 0, Band{0.080, 0.180, 0.5e-3, 1})
	two := solverOf(t, p, err, 200, 0, Band{0.130, 0.180, 0.5e-3, 1}, Band{0.080, 0.130, 0.5e-3, 1})
	advance(t, one, 0.15)
	advance(t, two, 0.15)
	within(t, "two halves of a band", two.Run(), one.Run(), 1e-9)

	over := solverOf(t, p, err, 200, 0, Band{0.130, 0.180, 0.5e-3, 1}, Band{0.080, 0.130, 0.5e-3, 1e-3})
	alone := solverOf(t, p, err, 200, 0, Band{0.130, 0.180, 0.5e-3, 1})
	advance(t, over, 0.3)
	advance(t, alone, 0.3)
	if over.Run() > 1e-3 {
		t.Errorf("a stiff band below is carried %.1f mm", 1e3*over.Run())
	}
	fluid := solverOf(t, p, err, 200, 0, Band{0.130, 0.180, 0.5e-3, 1}, Band{0.080, 0.130, 0.5e-3, 1e-3})
	if err := fluid.SetBlend(0, 1, 5); err != nil {
		t.Fatal(err)
	}
	advance(t, fluid, 0.3)
	if fluid.Run() <= over.Run() {
		t.Errorf("a fluid blend runs %.2f mm, without it %.2f mm", 1e3*fluid.Run(), 1e3*over.Run())
	}
}

// More thickness, more drive, a steeper wall: never less; a level one: not at all.
func TestSolverIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		drive := math.Exp(rapid.Float64Range(-5, 0).Draw(t, "ln drive"))
		angle := rapid.Float64Range(0.1, 1.4).Draw(t, "angle")
		low := rapid.Float64Range(0.05, 0.12).Draw(t, "low")
		run := func(drive, angle float64) float64 {
			p, err := Tile(0.2, 0.05, angle)
			if err != nil {
				t.Fatal(err)
			}
			s, err := NewSolver(p, 60, 0)
			if err != nil {
				t.Fatal(err)
			}
			if err := s.Lay(Band{low, 0.18, 0.5e-3, 1}); err != nil {
				t.Fatal(err)
			}
			if err := s.Advance(drive); err != nil {
				t.Fatal(err)
			}
			return s.Run()
		}
		const grid = 0.2 / 60 * 0.02 // what the place of the front in a cell may be off by
		base := run(drive, angle)
		if more := run(drive*1.2, angle); more < base-grid {
			t.Fatalf("more drive: %g, then %g", base, more)
		}
		if steep := run(drive, angle+0.15); steep < base-grid {
			t.Fatalf("steeper: %g, then %g", base, steep)
		}
	})
	p, err := NewProfile([]Point{{0, 0.05}, {0.02, 0.05}, {0.02, 0.03}, {0.1, 0.03}})
	s := solverOf(t, p, err, 100, 1.5e-3, Band{0.022, 0.038, 0.5e-3, 1})
	advance(t, s, 100)
	if s.Run() != 0 || s.Overflow() != 0 {
		t.Errorf("a band on a level ledge runs %g", s.Run())
	}
}

// A wall traced from a photograph goes in steps: its little ledges hold next to nothing, and its little cells do not make the
// solver crawl.
func TestSolverOnATraceInSteps(t *testing.T) {
	var points []Point
	for i := range 800 {
		z := 0.2e-3 * float64(i)
		points = append(points, Point{z, 0.04 + 0.1*z}, Point{z + 0.2e-3, 0.04 + 0.1*z})
	}
	p, err := NewProfile(points)
	s := solverOf(t, p, err, 400, 1.8e-3, Band{0.060, 0.120, 0.5e-3, 1})
	laid := s.Volume()
	advance(t, s, 0.2)
	within(t, "volume", s.Volume()+s.Overflow(), laid, 1e-12)
	// 60 mm over 60 mm, upright, by the closed form; the steps make the wall longer by a tenth and keep a little.
	within(t, "run", s.Run(), Run(0.2, 0.060), 0.15)
}

func TestFootDriveIsWhenTheFrontArrives(t *testing.T) {
	p, err := Cylinder(0.150, 0.080)
	s := solverOf(t, p, err, 400, 0, Band{0.030, 0.090, 0.5e-3, 1})
	reaches, err := s.Reaches(nil, []float64{0.05, 0.08, 0.2, 0.5})
	if err != nil {
		t.Fatal(err)
	}
	within(t, "drive at the foot", s.FootDrive(), Drive(0.030, 0.060), 0.005)
	if reaches[3].Run != s.Clearance() || reaches[0].Overflow > 1e-12 || reaches[3].Overflow <= reaches[2].Overflow {
		t.Errorf("%+v", reaches)
	}
	// Volume over the foot by the closed form: what the fan h = sqrt(x/X) has beyond x = 90 mm (Huppert 1982).
	x := 0.5
	front := Run(x, 0.06) + 0.06
	want := 0.5e-3 * math.Pi * 0.080 * 2. / 3 * (math.Pow(front, 1.5) - math.Pow(0.090, 1.5)) / math.Sqrt(x)
	within(t, "volume over the foot", reaches[3].Overflow, want, 0.003)
}

func TestSolverRefuses(t *testing.T) {
	p, err := Cylinder(0.150, 0.080)
	s := solverOf(t, p, err, 100, 0, Band{0.030, 0.090, 0.5e-3, 1})
	nan := math.NaN()
	for name, bands := range map[string][]Band{
		"no bands": {}, "nine": make([]Band, 9), "upside down": {{0.09, 0.03, 1e-3, 1}}, "beyond the rim": {{0.03, 0.2, 1e-3, 1}},
		"NaN": {{nan, 0.1, 1e-3, 1}}, "thickness": {{0.03, 0.1, 0, 1}}, "mobility": {{0.03, 0.1, 1e-3, nan}},
	} {
		if err := s.Lay(bands...); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	advance(t, s, 0.1)
	for _, drive := range []float64{0.05, nan, math.Inf(1)} {
		if err := s.Advance(drive); err == nil {
			t.Errorf("drive %g accepted", drive)
		}
	}
	if err := s.SetBlend(0, 1, 1); err == nil {
		t.Error("a blend with a band that is not there: accepted")
	}
	for _, cells := range []int{0, MaxCells + 1} {
		if _, err := NewSolver(p, cells, 0); err == nil {
			t.Errorf("%d cells accepted", cells)
		}
	}
	if _, err := NewSolver(p, 100, nan); err == nil {
		t.Error("NaN puddle accepted")
	}
}

func TestSolverDoesNotAllocate(t *testing.T) {
	s := solverOf(t, vase(t), nil, 100, 1e-3, Band{0.100, 0.190, 0.6e-3, 1}, Band{0.040, 0.110, 0.4e-3, 0.2})
	bands := s.bands[:2]
	if n := testing.AllocsPerRun(3, func() {
		if err := s.Lay(bands...); err != nil {
			t.Fatal(err)
		}
		advance(t, s, 0.5)
	}); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func BenchmarkSolver(b *testing.B) {
	for name, bands := range map[string][]Band{
		"one band":  {{0.060, 0.190, 0.6e-3, 1}},
		"two bands": {{0.100, 0.190, 0.6e-3, 1}, {0.040, 0.110, 0.4e-3, 0.2}},
	} {
		b.Run(name, func(b *testing.B) {
			s, err := NewSolver(vase(b), 400, 1.5e-3)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if err := s.Lay(bands...); err != nil {
					b.Fatal(err)
				}
				if err := s.Advance(1); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
