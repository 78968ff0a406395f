package film

import "testing"

// twoLayerFront follows two layers of unlike viscosity as they really are, each with its own thickness that varies
// along the wall (Kao's fluxes, 1965, with equal densities), by first-order upwind finite volumes, and gives the run
// of the front at some clocks, read to a cell. The clock is the drive of a film of thickness 1 and fluidity 1; all
// lengths are relative.
func twoLayerFront(h1, h2, f1, f2, band float64, clocks []float64) []float64 {
	const n = 320
	length := 4 * band
	dx := length / n
	var a, b, qa, qb [n]float64
	for i := range n {
		if x := (float64(i) + 0.5) * dx; x < band {
			a[i], b[i] = h1, h2
		}
	}
	flux := func(u, o float64) (float64, float64) {
		slip := f1 * (u*u/2 + o*u)
		return f1 * (u*u*u/3 + o*u*u/2), slip*o + f2*o*o*o/3
	}
	var fronts []float64
	t := 0.
	for _, clock := range clocks {
		for t < clock {
			// No film is faster than three times the mean speed of its runniest melt.
			fastest := 0.
			for i := range n {
				h := a[i] + b[i]
				fastest = max(fastest, 3*h*h*max(f1, f2))
			}
			dt := min(0.5*dx/fastest, clock-t)
			for i := range n {
				qa[i], qb[i] = flux(a[i], b[i])
			}
			for i := n - 1; i >= 0; i-- {
				a[i] -= dt / dx * qa[i]
				b[i] -= dt / dx * qb[i]
				if i > 0 {
					a[i] += dt / dx * qa[i-1]
					b[i] += dt / dx * qb[i-1]
				}
			}
			t += dt
		}
		i := n - 1
		for a[i]+b[i] < 0.1*(h1+h2) {
			i--
		}
		fronts = append(fronts, float64(i+1)*dx-band)
	}
	return fronts
}

// Against layers followed one by one, which cannot roll at their front: there the layers keep their order, the stiff
// one rides on and the runny one flows out from under it, so that stiff over runny gets up to half as far again as by
// the drive. With the runnier on top the two are within a fifth, which the whole film's mobility alone would put at
// half.
func TestDriveOfLayersAgainstLayersFollowed(t *testing.T) {
	const band, fromDiffusion = 1., 1e-300 // so that layers of one melt are not taken as one
	for _, c := range []struct {
		name           string
		h1, h2, f1, f2 float64
		low, high      float64 // of the run by the drive over the run followed, less 1
	}{
		{"alike", 0.5, 0.5, 1, 1, -0.06, 0.06},
		{"runny over stiff", 0.5, 0.5, 0.03, 1, -0.06, 0.06},
		{"runny over still", 0.5, 0.5, 1e-6, 1, -0.06, 0.06},
		{"runny over half as runny", 0.5, 0.5, 0.5, 1, -0.06, 0.06},
		{"thin runny over stiff", 0.7, 0.3, 0.1, 1, 0, 0.2},
		{"stiff over runny", 0.5, 0.5, 1, 0.03, -0.4, 0},
		{"thin stiff over runny", 0.8, 0.2, 1, 0.1, -0.2, 0},
	} {
		s := stackOf(t, Layer{1e-3 * c.h1, 2400, Exposure{Flow: c.f1}}, Layer{1e-3 * c.h2, 2400, Exposure{c.f2, fromDiffusion}})
		f := flowOf(t, s, 1)
		const clock = 1e-6 * 2400 * Gravity // drive of 1 mm of fluidity 1
		var clocks []float64
		for _, drive := range []float64{0.6, 1.5, 6} {
			clocks = append(clocks, drive*clock/f.Drive)
		}
		for k, front := range twoLayerFront(c.h1, c.h2, c.f1, c.f2, band, clocks) {
			drive := clocks[k] * f.Drive / clock
			off := Run(drive, band)/front - 1
			whole := Run(clocks[k]*f.Mobility*1e-6/clock, band)/front - 1
			t.Logf("%-24s drive %.1f: run followed %.3f, by the drive %+.0f %%, by the whole film %+.0f %%", c.name, drive, front, 100*off, 100*whole)
			if off < c.low || off > c.high {
				t.Errorf("%s: off by %.0f %%", c.name, 100*off)
			}
		}
	}
}
