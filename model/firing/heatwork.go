package firing

import "math"

// gasConstant is R in J/(mol K): CODATA 2018, exact.
const gasConstant = 8.31446261815324

// heatWork gives the heat work of a firing, as seconds at T0 (K), for a process of activation energy E (J/mol):
//
//	∫ exp(-E/R (1/T - 1/T0)) dt  ≈  Σ Δt exp(-E/R (1/T - 1/T0))
//
// nodes stand for the curve, see dwell and gaussRule; shift (K) is added to each of their temperatures.
func heatWork(nodes []Node, shift, E, T0 float64) float64 {
	const R = gasConstant
	sum := 0.0
	for _, n := range nodes {
		T := n.Kelvin + shift
		sum += n.Seconds * math.Exp(-E/R*(1/T-1/T0))
	}
	return sum
}

// rampSeconds gives the heat work of a ramp at β °C/h that ends at T0, as seconds at T0.
func rampSeconds(E, T0, β float64) float64 {
	ramp := []Point{{0, T0 - window}, {window / β * 3600, T0}}
	return heatWork(dwell(ramp, T0-window), 0, E, T0)
}

// activationEnergy gives the E (J/mol) for which two ramps, of rates β to temperatures T, are the same heat work. Since
// ∫exp(-E/RT) dt = (R T²/Eβ) exp(-E/RT) for E >> RT (Kissinger 1957, Anal. Chem. 29, 1702),
//
//	E = R [ln(β2/β1) - 2 ln(T2/T1)] / (1/T1 - 1/T2)
func activationEnergy(one, two knot) float64 {
	const R = gasConstant
	β1, T1, β2, T2 := one.rate, one.kelvin, two.rate, two.kelvin
	return R * (math.Log(β2/β1) - 2*math.Log(T2/T1)) / (1/T1 - 1/T2)
}

// activationEnergies gives an activation energy (J/mol) for each cone of the table, from the end points of the
// self-supporting cone at the slowest and the fastest of its three published rates. The three coolest cones (022 to
// 020) lack the slow rate, and two points 4 to 17 K apart, rounded to 1 K, say little: they take the energy of 019.
func activationEnergies(c *coneTable) []float64 {
	energies := make([]float64, len(c.names))
	first := -1
	for i, name := range c.names {
		knots := c.knots[name][SelfSupporting]
		if len(knots) < 3 {
			continue
		}
		if first < 0 {
			first = i
		}
		energies[i] = activationEnergy(knots[0], knots[len(knots)-1])
	}
	for i := range first {
		energies[i] = energies[first]
	}
	return energies
}

// coneView is a firing as a cone feels it.
type coneView struct {
	up      [NumNodes]Node // until the peak is reached
	down    [NumNodes]Node // after the peak
	natural [NumNodes]Node // natural cooling from the same peak
}

func newConeView(c *Curve) *coneView {
	peak := c.PeakKelvin()
	floor := peak - window
	cooling := []Point{{0, peak}, {window / float64(DefaultCoolingCPerHour) * 3600, floor}}
	return &coneView{
		up:      gaussRule(dwell(c.points[:c.peak+1], floor)),
		down:    gaussRule(dwell(c.points[c.peak:], floor)),
		natural: gaussRule(dwell(cooling, floor)),
	}
}

// lnHeatWork gives ln of the heat work of the firing over that which a cone asks for: 0 where the cone just goes down.
//
// A published end point is read as the cone goes down, and after that every kiln cools. So what comes after the peak
// counts only as far as it is more than natural cooling (DefaultCoolingCPerHour): a hold, a drop hold and slow cooling
// count, and a kiln that is switched off at the end point reads the cone itself.
func (v *coneView) lnHeatWork(c *scaleCone, shift float64) float64 {
	up := heatWork(v.up[:], shift, c.energy, c.kelvin)
	after := heatWork(v.down[:], shift, c.energy, c.kelvin) - heatWork(v.natural[:], shift, c.energy, c.kelvin)
	return math.Log((up + math.Max(after, 0)) / c.seconds)
}

// coneNumber gives the equivalent cone of the firing with all temperatures shifted by so many K: the place on the scale
// of a type of cone up to which cones are down, linear in ln of heat work between two cones. It is -Inf below the
// coolest cone and +Inf above the hottest.
//
// The energies of neighbours differ, so that in a firing far from the published rates a hotter cone can seem to fall
// before a cooler one. Each cone is therefore taken to ask for at least leastStep more than the one before: the reading
// rises with heat and never jumps.
func (v *coneView) coneNumber(typ ConeType, shift float64) float64 {
	scale := coneScales()[typ]
	below, belowNumber := math.Inf(1), math.Inf(-1) // of the cone before
	for i := range scale {
		c := &scale[i]
		log := math.Min(v.lnHeatWork(c, shift), below-leastStep)
		if atEnd := i == 0 || i == len(scale)-1; atEnd && math.Abs(log) < rounding {
			return c.number
		}
		if log < 0 {
			if i == 0 {
				return math.Inf(-1)
			}
			return belowNumber + (c.number-belowNumber)*below/(below-log)
		}
		below, belowNumber = log, c.number
	}
	return math.Inf(1)
}

// rounding is the tolerance at both ends of the scale, in ln of heat work (1e-9 is some 2e-8 K): a firing to the
// published end point of the coolest or the hottest cone reads that cone, whichever way a processor rounds the last
// bits of the two sums (they differ by 1e-14).
const rounding = 1e-9

// leastStep is the least difference between neighbouring cones in ln of heat work: some 1 K, where the closest
// published neighbours (2 and 3 at 15 °C/h) are 3 K apart.
const leastStep = 0.05
