package firing

import (
	"math"
	"sync"
)

// gasConstant in J/(mol K): CODATA 2018, exact.
const gasConstant = 8.31446261815324

// rung is a cone on the scale of heat work: it goes down when the time, weighted by exp(-E/R (1/T - 1/kelvin)),
// comes to seconds.
type rung struct {
	number  float64
	kelvin  float64 // published end point at the reference rate
	energy  float64 // J/mol
	seconds float64
}

// ladders holds the rungs of each type of cone, coolest first.
var ladders = sync.OnceValue(func() (all [numConeTypes][]rung) {
	c := loadCones()
	energies := activationEnergies(c)
	for t := range numConeTypes {
		reference := 60.0
		if t == Small {
			reference = 300 // the only rate published
		}
		for i, name := range c.names {
			kelvin, extrapolated, err := ConeEndpoint(name, t, reference)
			if err != nil || extrapolated {
				continue // not made in this size, or not usable as published
			}
			all[t] = append(all[t], rung{coneNumber(name), kelvin, energies[i], rampSeconds(energies[i], kelvin, reference)})
		}
	}
	return all
})

// activationEnergies reads an activation energy in J/mol off the self-supporting cone's end points at the slowest
// and the fastest of its three published rates, for each cone of the table. The three coolest cones (022 to 020) have
// no slow rate, and two points 4 to 17 K apart and rounded to 1 K say little: they take the energy of 019.
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

// activationEnergy solves for E in J/mol that two ramps of rates β to temperatures T are the same
// heat work. With ∫exp(-E/RT)dt = (R T²/E β) exp(-E/RT) for E >> RT (Kissinger 1957, Anal. Chem. 29, 1702),
//
//	E = R (ln(β2/β1) - 2 ln(T2/T1)) / (1/T1 - 1/T2).
func activationEnergy(a, b knot) float64 {
	return gasConstant * (math.Log(b.rate/a.rate) - 2*math.Log(b.kelvin/a.kelvin)) / (1/a.kelvin - 1/b.kelvin)
}

// rampSeconds gives the heat work of a ramp that ends at kelvin, as seconds at that
// temperature: ∫exp(-E/R (1/T - 1/kelvin)) dT / rate.
func rampSeconds(energy, kelvin, cPerHour float64) float64 {
	up := []Point{{0, kelvin - window}, {window / cPerHour * 3600, kelvin}}
	return heatWork(dwell(up, kelvin-window), 0, energy, kelvin)
}

// heatWork sums the time of nodes, shifted by so many K, weighted by exp(-E/R (1/T - 1/kelvin)).
func heatWork(nodes []Node, shift, energy, kelvin float64) float64 {
	sum := 0.0
	for _, n := range nodes {
		sum += n.Seconds * math.Exp(-energy/gasConstant*(1/(n.Kelvin+shift)-1/kelvin))
	}
	return sum
}

// work is a firing as a cone feels it.
type work struct {
	up      [NumNodes]Node // until the peak is reached
	down    [NumNodes]Node // after
	natural [NumNodes]Node // what natural cooling from the same peak would be
}

func newWork(c *Curve) *work {
	peak := c.PeakKelvin()
	floor := peak - window
	cooling := []Point{{0, peak}, {window / float64(DefaultCoolingCPerHour) * 3600, floor}}
	return &work{
		up:      reduce(dwell(c.points[:c.peak+1], floor)),
		down:    reduce(dwell(c.points[c.peak:], floor)),
		natural: reduce(dwell(cooling, floor)),
	}
}

// coneNumber gives the equivalent cone of a firing whose temperatures are all shifted by so many K: the
// place on the scale up to which cones are down. -Inf is below the coolest cone, +Inf above the hottest.
//
// A published end point is read as the cone goes down, and after that every kiln cools. So
// what the time after the peak adds is what it adds beyond natural cooling (DefaultCoolingCPerHour):
// a hold, a drop hold and slow cooling count, a kiln switched off at the end point reads the cone itself.
//
// The energies of neighbours differ, so in a firing far from the published rates a hotter cone can seem to fall before a
// cooler one. A cone is therefore held to ask for at least leastStep more in ln of heat work than the one before: so the reading rises
// with heat and never jumps.
func (w *work) coneNumber(typ ConeType, shift float64) float64 {
	rungs := ladders()[typ]
	below, belowNumber := math.Inf(1), math.Inf(-1)
	for i, r := range rungs {
		after := heatWork(w.down[:], shift, r.energy, r.kelvin) - heatWork(w.natural[:], shift, r.energy, r.kelvin)
		log := math.Log((heatWork(w.up[:], shift, r.energy, r.kelvin) + math.Max(after, 0)) / r.seconds)
		log = math.Min(log, below-leastStep)
		if atEnd := i == 0 || i == len(rungs)-1; atEnd && math.Abs(log) < rounding {
			return r.number
		}
		if log < 0 {
			if i == 0 {
				return math.Inf(-1)
			}
			return belowNumber + (r.number-belowNumber)*below/(below-log)
		}
		below, belowNumber = log, r.number
	}
	return math.Inf(1)
}

// rounding is the tolerance at both ends of the scale, in ln of heat work (1e-9 is some 2e-8 K): a firing to the published end point of
// the coolest or the hottest cone reads that cone, whichever way a processor rounds the last bits of the two sums (they differ by 1e-14).
const rounding = 1e-9

// leastStep is the least difference in ln of heat work between neighbouring cones: some 1 K, where the closest published
// neighbours (2 and 3 at 15 °C/h) are 3 K apart.
const leastStep = 0.05

// energyAt interpolates the activation energy along the self-supporting cones.
func energyAt(number float64) float64 {
	rungs := ladders()[SelfSupporting]
	for i := 1; i < len(rungs); i++ {
		a, b := rungs[i-1], rungs[i]
		if number <= b.number {
			return a.energy + (b.energy-a.energy)*(number-a.number)/(b.number-a.number)
		}
	}
	return rungs[len(rungs)-1].energy
}
