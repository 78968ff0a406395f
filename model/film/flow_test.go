package film

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"github.com/catchline/catchline/model/melt"
)

// second is the exposure of a second at a viscosity, without mixing.
func second(viscosity float64) Exposure { return Exposure{Flow: 1 / viscosity} }

func stackOf(t testing.TB, layers ...Layer) *Stack {
	t.Helper()
	var s Stack
	for _, l := range layers {
		if _, err := s.Push(l); err != nil {
			t.Fatal(err)
		}
	}
	return &s
}

func flowOf(t testing.TB, s *Stack, sinSlope float64) Flow {
	t.Helper()
	f, err := s.Flow(sinSlope)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Fluxes of layers: from Stokes' equation, Kao 1965 for two (computed table).
func TestFlowOfLayersFollowsStokes(t *testing.T) {
	for _, c := range []struct {
		name   string
		layers []Layer
	}{
		{"N-layer example: stiff under / runny over", []Layer{{3e-4, 2400, second(1000)}, {3e-4, 2350, second(30)}}},
		{"N-layer example: runny under / stiff over", []Layer{{3e-4, 2350, second(30)}, {3e-4, 2400, second(1000)}}},
		{"N-layer example: 3 layers 1000/100/30", []Layer{{2e-4, 2400, second(1000)}, {2e-4, 2400, second(100)}, {2e-4, 2400, second(30)}}},
	} {
		n := len(c.layers)
		table := published(t, c.name, "")
		q := table[:n]
		f := flowOf(t, stackOf(t, c.layers...), 1)
		h, total := 0., 0.
		for i, l := range c.layers {
			h += l.Thickness
			total += q[i]
		}
		within(t, c.name+", flux", f.Mobility*h*h*h/3, total, 1e-6)

		// The drive: the flux carries the film to its front, which lays it down upside down.
		turned := slices.Clone(c.layers)
		slices.Reverse(turned)
		laid := flowOf(t, stackOf(t, turned...), 1).Mobility
		within(t, c.name+", drive", f.Drive, math.Pow(3*total, 2./3)*math.Cbrt(laid), 1e-6)
	}
}

func TestFlowOfOneMeltIsNusselt(t *testing.T) {
	// Nusselt 1916 (from memory); the last is the identity for 0.4 + 0.6 mm.
	f := flowOf(t, stackOf(t, Layer{0.5e-3, 2400, second(1000)}), 1)
	within(t, "mean speed", f.Drive/3, published(t, "Nusselt mean velocity", "")[0], 1e-6)
	within(t, "flux", f.Drive/3*f.Thickness, published(t, "Nusselt flux", "")[0], 1e-6)
	f = flowOf(t, stackOf(t, Layer{0.5e-3, 2400, second(1000)}), math.Sqrt2/2)
	within(t, "on 45 degrees", f.Drive/3, published(t, "Nusselt on 45 deg", "")[0], 1e-6)
	f = flowOf(t, stackOf(t, Layer{0.4e-3, 2400, second(1000)}, Layer{0.6e-3, 2400, second(1000)}), 1)
	within(t, "two layers of one melt", f.Mobility*1e-9/3, published(t, "2 equal layers sum", "")[0], 1e-6)
}

// Of two equal layers the lower weighs 7/8 and the upper 1/8: q = Σ ρ g ((H-z(i-1))³-(H-z(i))³)/(3 η(i)), by hand.
func TestTwoEqualLayersWeighSevenToOne(t *testing.T) {
	f := flowOf(t, stackOf(t, Layer{3e-4, 2400, Exposure{Flow: 2}}, Layer{3e-4, 2400, Exposure{Flow: 1}}), 1)
	within(t, "mobility", f.Mobility, 2400*Gravity*(7./8*2+1./8*1), 1e-12)
	within(t, "drive", f.Drive, 36e-8*2400*Gravity*math.Pow(15./8, 2./3)*math.Cbrt(9./8), 1e-12)
}

// Either of two glazes may lie on top: without the front, that of the runny one under the stiff one would be seven
// times as fast.
func TestOrderMattersLittle(t *testing.T) {
	stiff, runny := Layer{3e-4, 2400, Exposure{Flow: 0.1}}, Layer{3e-4, 2400, Exposure{Flow: 1}}
	slides, stays := flowOf(t, stackOf(t, runny, stiff), 1), flowOf(t, stackOf(t, stiff, runny), 1)
	if ratio := slides.Drive / stays.Drive; ratio < 1 || ratio > 2 {
		t.Errorf("a runny layer underneath has %.2f times the drive of one on top", ratio)
	}
	within(t, "flux of one over that of the other", slides.Mobility/stays.Mobility, (7./8+0.1/8)/(0.7/8+1./8), 1e-12)
}

// A runny layer over one that does not flow runs as if it lay on the wall, within a tenth.
func TestRunnyLayerOverStillLayer(t *testing.T) {
	f := flowOf(t, stackOf(t, Layer{4e-4, 2400, Exposure{}}, Layer{3e-4, 2400, Exposure{Flow: 1}}), 1)
	within(t, "drive", f.Drive, 3e-4*3e-4*2400*Gravity, 0.1)
}

// A thick stiff layer over a runny one is no raft on bare clay: the stiff glaze grips it at the front.
func TestStiffLayerGripsAtTheFront(t *testing.T) {
	stiff, runny := Layer{9e-4, 2400, Exposure{Flow: 0.001}}, Layer{2.4e-4, 2400, Exposure{Flow: 1}}
	raft := flowOf(t, stackOf(t, runny, stiff), 1)
	alone := flowOf(t, stackOf(t, runny), 1)
	if slid := raft.Mobility * raft.Thickness * raft.Thickness; raft.Drive > slid/3 || raft.Drive > 4*alone.Drive {
		t.Errorf("drive %g, as a raft %g, the runny layer alone %g", raft.Drive, slid, alone.Drive)
	}
}

// A hundredth of a coat of another glaze changes next to nothing, wherever it lies.
func TestThinLayerChangesLittle(t *testing.T) {
	main, trace := Layer{4e-4, 2400, Exposure{Flow: 1}}, Layer{1.2e-6, 2300, Exposure{Flow: 30}}
	alone := flowOf(t, stackOf(t, main), 1).Drive
	for name, s := range map[string]*Stack{"under": stackOf(t, trace, main), "over": stackOf(t, main, trace)} {
		if f := flowOf(t, s, 1); f.Drive < alone || f.Drive > 1.2*alone {
			t.Errorf("%s: %g instead of %g", name, f.Drive, alone)
		}
	}
	stiff := Layer{1.2e-6, 2400, Exposure{}}
	for name, s := range map[string]*Stack{"under": stackOf(t, stiff, main), "over": stackOf(t, main, stiff)} {
		if f := flowOf(t, s, 1); math.Abs(f.Drive/alone-1) > 0.02 {
			t.Errorf("stiff, %s: %g instead of %g", name, f.Drive, alone)
		}
	}
}

func TestBodyLayerThinsTheFilm(t *testing.T) {
	s := stackOf(t, Layer{4e-4, 2400, Exposure{Flow: 1}})
	s.BodyLayer = 4e-5
	f := flowOf(t, s, 1)
	within(t, "mobile thickness", f.Mobile, MobileThickness(4e-4, 4e-5), 1e-12)
	within(t, "drive", f.Drive, f.Mobile*f.Mobile*2400*Gravity, 1e-12)
}

func TestSplittingALayerChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers := drawLayers(t, 4)
		k := rapid.IntRange(0, len(layers)-1).Draw(t, "split")
		var whole, split Stack
		for i, l := range layers {
			mustPush(t, &whole, l)
			if i == k {
				l.Thickness /= 2
				mustPush(t, &split, l)
			}
			mustPush(t, &split, l)
		}
		mix(t, &whole, 5)
		mix(t, &split, 5)
		a, err := whole.Flow(1)
		if err != nil {
			t.Fatal(err)
		}
		b, err := split.Flow(1)
		if err != nil {
			t.Fatal(err)
		}
		if a != b {
			t.Fatalf("whole %+v\nsplit %+v", a, b)
		}
	})
}

func TestSharesSumToOneAndAreElasticities(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers := drawLayers(t, MaxLayers)
		var s Stack
		for _, l := range layers {
			mustPush(t, &s, l)
		}
		stirring := rapid.Float64Range(0, 20).Draw(t, "stirring")
		mix(t, &s, stirring)
		f, err := s.Flow(1)
		if err != nil {
			t.Fatal(err)
		}
		sum := 0.
		for i := range s.Len() {
			sum += f.LayerShare[i]
		}
		for i := range s.Len() - 1 {
			sum += f.ZoneShare[i]
		}
		if math.Abs(sum-1) > 1e-12 {
			t.Fatalf("shares sum to %.15g", sum)
		}
		k := rapid.IntRange(0, s.Len()-1).Draw(t, "layer")
		var up Stack
		for i := range s.Len() {
			l := s.layers[i]
			if i == k {
				l.Exposure.Flow *= 1 + 1e-6
			}
			mustPush(t, &up, l)
		}
		if err := up.Mix(stirring); err != nil {
			t.Fatal(err)
		}
		for i := range s.Len() - 1 {
			if err := up.SetBlend(i, s.zones[i].blend); err != nil {
				t.Fatal(err)
			}
		}
		more, err := up.Flow(1)
		if err != nil {
			t.Fatal(err)
		}
		if elasticity := math.Log(more.Drive/f.Drive) / 1e-6; math.Abs(elasticity-f.LayerShare[k]) > 1e-4 {
			t.Fatalf("share of layer %d is %g, by differences %g", k, f.LayerShare[k], elasticity)
		}
	})
}

// More of any layer, more heat, a steeper wall: the run is never less.
func TestMoreNeverRunsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers := drawLayers(t, 5)
		flow := func(layers []Layer, sinSlope float64) float64 {
			var s Stack
			for _, l := range layers {
				mustPush(t, &s, l)
			}
			f, err := s.Flow(sinSlope)
			if err != nil {
				t.Fatal(err)
			}
			return f.Drive
		}
		before := flow(layers, 0.7)
		if after := flow(layers, 0.8); after < before {
			t.Fatalf("steeper: %g, then %g", before, after)
		}
		if level := flow(layers, 0); level != 0 {
			t.Fatalf("a level band has a drive of %g", level)
		}
		hotter := append([]Layer(nil), layers...)
		k := rapid.IntRange(0, len(layers)-1).Draw(t, "layer")
		hotter[k].Exposure.Flow *= 1.3
		if after := flow(hotter, 0.7); after < before {
			t.Fatalf("layer %d more fluid: %g, then %g", k, before, after)
		}
		thicker := append([]Layer(nil), layers...)
		for i := range thicker {
			thicker[i].Thickness *= 1.5
		}
		if after := flow(thicker, 0.7); after < before {
			t.Fatalf("all layers thicker: %g, then %g", before, after)
		}
	})
}

// Molecular diffusion mixes about 30 µm in a cone 6 firing (design estimate: melts of 10^2.8 Pa·s at 1222 °C,
// about 25 minutes' worth of that).
func TestMolecularZoneIsAboutThirtyMicrometres(t *testing.T) {
	var e Exposure
	e.Add(1222+273.15, 1500, math.Pow(10, -2.8), math.Pow(10, -2.8))
	s := stackOf(t, Layer{4e-4, 2400, e}, Layer{3e-4, 2300, e})
	if err := s.Mix(1); err != nil {
		t.Fatal(err)
	}
	if width := 2 * s.Zone(0).HalfWidth; width < 20e-6 || width > 40e-6 {
		t.Errorf("%.1f µm", 1e6*width)
	}
}

// The slab carries across the interface what an error-function profile carries: sqrt(Dt/π) of each melt
// (Crank 1975, eq. 3.15, from memory), here by the integral of erfc.
func TestZoneCarriesWhatTheProfileCarries(t *testing.T) {
	const dt = 1e-10 // m²
	crossed, step := 0., 1e-8
	for z := step / 2; z < 1e-4; z += step {
		crossed += 0.5 * math.Erfc(z/(2*math.Sqrt(dt))) * step
	}
	e := Exposure{Flow: 1, Diffusion: dt}
	s := stackOf(t, Layer{1e-3, 2400, e}, Layer{1e-3, 2300, e})
	if err := s.Mix(1); err != nil {
		t.Fatal(err)
	}
	within(t, "melt across the interface", s.Zone(0).HalfWidth/2, crossed, 1e-4)
}

// The means of a length that grows as the square root of the flow and stops at a limit, by plain summing.
func TestGrowthMoments(t *testing.T) {
	for _, limit := range []float64{0.2, 0.7, 1, 3} {
		got := grow(1, limit).mean
		var d1, d2, d3 float64
		const n = 200000
		for i := range n {
			d := min(math.Sqrt((float64(i)+0.5)/n), limit)
			d1 += d / n
			d2 += d * d / n
			d3 += d * d * d / n
		}
		within(t, "mean", got.d, d1, 1e-6)
		within(t, "mean square", 2*got.d2, d2, 1e-6)
		within(t, "mean cube", 3*got.d3, d3, 1e-6)
	}
}

func TestThinLayerIsUsedUp(t *testing.T) {
	e := Exposure{Flow: 1, Diffusion: 1e-6}
	s := stackOf(t, Layer{4e-4, 2400, e}, Layer{1e-4, 2300, e})
	if err := s.Mix(1); err != nil {
		t.Fatal(err)
	}
	z := s.Zone(0)
	within(t, "share of the under-layer in a film mixed through", z.UnderFraction, 0.8, 0.02)
	if z.Under > 4e-4 || z.Over > 1e-4 {
		t.Errorf("zone %+v takes more than there is", z)
	}
}

// Two zones may not take more of the layer between them than there is.
func TestZonesShareAThinLayer(t *testing.T) {
	e := Exposure{Flow: 1, Diffusion: 1e-7}
	s := stackOf(t, Layer{4e-4, 2400, e}, Layer{1e-4, 2300, e}, Layer{4e-4, 2400, Exposure{Flow: 2, Diffusion: 4e-7}})
	if err := s.Mix(1); err != nil {
		t.Fatal(err)
	}
	if taken := s.Zone(0).Over + s.Zone(1).Under; taken > 1e-4 {
		t.Errorf("%.0f µm taken of 100", 1e6*taken)
	}
}

// The means over a growing zone against a firing followed second by second, for melts that soften at different
// rates and a blend that is more fluid, or stiffer, than both.
func TestMixedFlowAgainstFiringInSteps(t *testing.T) {
	type vft struct{ b, t0 float64 } // log10 η = -2.9 + b/(T - t0)
	fluidity := func(v vft, kelvin float64) float64 { return math.Pow(10, 2.9-v.b/(kelvin-v.t0)) }
	worst := 0.
	for _, c := range []struct {
		name               string
		under, over, blend vft
		h1, h2, stirring   float64
	}{
		{"alike", vft{5700, 500}, vft{5500, 500}, vft{5500, 500}, 3e-4, 3e-4, 5},
		{"fluid blend", vft{5700, 500}, vft{5500, 500}, vft{5000, 500}, 3e-4, 3e-4, 5},
		{"stiff blend", vft{5700, 500}, vft{5500, 500}, vft{6000, 500}, 3e-4, 3e-4, 5},
		{"stiff under", vft{7000, 450}, vft{5000, 550}, vft{5600, 500}, 3e-4, 3e-4, 15},
		{"stiff over", vft{5000, 550}, vft{7000, 450}, vft{5600, 500}, 3e-4, 3e-4, 15},
		{"thin over", vft{5700, 500}, vft{5200, 520}, vft{5000, 500}, 5e-4, 5e-5, 15},
		{"thin under", vft{5200, 520}, vft{5700, 500}, vft{5000, 500}, 5e-5, 5e-4, 50},
	} {
		const ρ, step = 2400., 5.
		var under, over, blend Exposure
		var reference, diffused float64
		h := c.h1 + c.h2
		visit := func(kelvin float64) {
			f1, f2, fb := fluidity(c.under, kelvin), fluidity(c.over, kelvin), fluidity(c.blend, kelvin)
			under.Add(kelvin, step, f1, f1)
			over.Add(kelvin, step, f2, f2)
			blend.Add(kelvin, step, fb, fb)
			diffused += step * c.stirring * melt.Diffusivity(kelvin, 1) * math.Sqrt(f1*f2)
			δ := 2 * math.Sqrt(diffused/math.Pi)
			low, high := c.h1-min(δ, c.h1), c.h1+min(δ, c.h2)
			cube := func(z float64) float64 { return math.Pow(h-z, 3) }
			w := f1*(cube(0)-cube(low)) + fb*(cube(low)-cube(high)) + f2*cube(high)
			reference += step * ρ * Gravity * w / (h * h * h)
		}
		for k := 1100.; k < 1495; k += 60. / 3600 * step {
			visit(k)
		}
		for s := 0.; s < 600; s += step {
			visit(1495)
		}
		for k := 1495.; k > 1100; k -= 200. / 3600 * step {
			visit(k)
		}
		s := stackOf(t, Layer{c.h1, ρ, under}, Layer{c.h2, ρ, over})
		if err := s.Mix(c.stirring); err != nil {
			t.Fatal(err)
		}
		if err := s.SetBlend(0, blend.Flow); err != nil {
			t.Fatal(err)
		}
		f := flowOf(t, s, 1)
		unmixed, err := s.Unmixed(1)
		if err != nil {
			t.Fatal(err)
		}
		off := f.Mobility/reference - 1
		worst = max(worst, math.Abs(off))
		t.Logf("%s: zone %.0f µm each side, mobility %.3g, off by %.2f %%, without mixing %.2f %%", c.name, 1e6*s.Zone(0).HalfWidth, f.Mobility, 100*off, 100*(unmixed.Mobility/reference-1))
	}
	if worst > 0.02 {
		t.Errorf("off by up to %.2f %%", 100*worst)
	}
}

func TestFlowRefuses(t *testing.T) {
	good := Layer{3e-4, 2400, Exposure{Flow: 1, Diffusion: 1e-10}}
	other := Layer{3e-4, 2300, Exposure{Flow: 1, Diffusion: 1e-10}}
	var s Stack
	if _, err := s.Flow(1); err == nil {
		t.Error("no layers: accepted")
	}
	for range MaxLayers {
		if _, err := s.Push(good); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Push(good); err == nil {
		t.Error("nine layers: accepted")
	}
	if _, err := s.Flow(1.01); err == nil {
		t.Error("sine over 1: accepted")
	}
	nan := math.NaN()
	for name, l := range map[string]Layer{
		"thickness": {0, 2400, second(1)}, "NaN thickness": {nan, 2400, second(1)}, "density": {3e-4, 2.4, second(1)},
		"NaN flow": {3e-4, 2400, Exposure{Flow: nan}}, "minus flow": {3e-4, 2400, Exposure{Flow: -1}},
	} {
		var s Stack
		if _, err := s.Push(l); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	two := stackOf(t, good, other)
	if err := two.Mix(-1); err == nil {
		t.Error("stirring below 0: accepted")
	}
	if err := two.Mix(5); err != nil {
		t.Fatal(err)
	}
	if _, err := two.Flow(1); err == nil {
		t.Error("a zone without its blend: accepted")
	}
}

func TestFlowDoesNotAllocate(t *testing.T) {
	a, b := Layer{3e-4, 2400, Exposure{1, 1e-10}}, Layer{3e-4, 2350, Exposure{2, 1e-10}}
	var s Stack
	if n := testing.AllocsPerRun(100, func() { twoLayers(t, &s, a, b) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func twoLayers(t testing.TB, s *Stack, a, b Layer) Flow {
	s.Clear()
	if _, err := s.Push(a); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Push(b); err != nil {
		t.Fatal(err)
	}
	if err := s.Mix(5); err != nil {
		t.Fatal(err)
	}
	if err := s.SetBlend(0, b.Exposure.Flow); err != nil {
		t.Fatal(err)
	}
	f, err := s.Flow(1)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func BenchmarkFlowOfTwoLayers(b *testing.B) {
	one, two := Layer{3e-4, 2400, Exposure{1, 1e-10}}, Layer{3e-4, 2350, Exposure{2, 1e-10}}
	b.ReportAllocs()
	var s Stack
	for b.Loop() {
		twoLayers(b, &s, one, two)
	}
}

func drawLayers(t *rapid.T, most int) []Layer {
	n := rapid.IntRange(1, most).Draw(t, "layers")
	layers := make([]Layer, n)
	for i := range layers {
		flow := math.Exp(rapid.Float64Range(-6, 4).Draw(t, "ln flow"))
		layers[i] = Layer{
			Thickness: rapid.Float64Range(5e-5, 1e-3).Draw(t, "thickness"),
			Density:   rapid.Float64Range(2200, 2800).Draw(t, "density"),
			Exposure:  Exposure{Flow: flow, Diffusion: flow * 7e-11},
		}
	}
	return layers
}

func mustPush(t *rapid.T, s *Stack, l Layer) {
	if _, err := s.Push(l); err != nil {
		t.Fatal(err)
	}
}

func mix(t *rapid.T, s *Stack, stirring float64) {
	if err := s.Mix(stirring); err != nil {
		t.Fatal(err)
	}
	for i := range s.Len() - 1 {
		f := 1.5 * math.Sqrt(s.layers[i].Exposure.Flow*s.layers[i+1].Exposure.Flow)
		if err := s.SetBlend(i, f); err != nil {
			t.Fatal(err)
		}
	}
}

// Stirring is by the drives of the same layers with the same blends, mixed a little less and a little more.
func TestStirringIsTheElasticityOfTheDrive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		layers, stirring := drawLayers(t, 5), rapid.SampledFrom([]float64{0, 0.1, 5, 300, 900}).Draw(t, "stirring")
		flow := func(stirring float64) Flow {
			var s Stack
			for _, l := range layers {
				mustPush(t, &s, l)
			}
			mix(t, &s, stirring)
			f, err := s.Flow(0.7)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		const step = 1e-5
		less, more := flow(stirring*math.Exp(-step)), flow(stirring*math.Exp(step))
		want := math.Log(more.Drive/less.Drive) / (2 * step)
		if got := flow(stirring).Stirring; math.Abs(got-want) > 1e-4 {
			t.Fatalf("stirring counts %v, by differences %v", got, want)
		}
	})
}
