package firing

import "github.com/catchline/catchline/model/internal/vector"

// Fluidities gives 1/η in 1/(Pa·s) at each node for a melt of viscosity k.
func (h *HeatHistory) Fluidities(k *vector.VFT) (at [NumNodes]float64) {
	k.Fluidities(at[:], h.kelvin[:])
	return at
}

// Kelvins are the temperatures of the nodes, K.
func (p *HeatHistory) Kelvins() []float64 { return p.kelvin[:] }

// Flow gives ∫dt/η in 1/Pa over the firing for a melt of viscosity k, by the sum over the nodes.
func (h *HeatHistory) Flow(k *vector.VFT) float64 {
	var fluidity [NumNodes]float64
	k.Fluidities(fluidity[:], h.kelvin[:])
	return h.Integral(&fluidity)
}

// Integral gives ∫f(T)dt from the values of f at the nodes.
func (h *HeatHistory) Integral(f *[NumNodes]float64) float64 { return vector.Dot(h.seconds[:], f[:]) }

// setColumns copies the nodes into columns, over which the integrals run.
func (h *HeatHistory) setColumns() {
	for i, n := range h.Nodes {
		h.kelvin[i], h.seconds[i] = n.Kelvin, n.Seconds
	}
}
