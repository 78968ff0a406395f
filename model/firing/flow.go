package firing

import "github.com/catchline/catchline/model/internal/vector"

// Fluidities gives 1/η in 1/(Pa·s) at each node for a melt of viscosity k.
func (p *Prepared) Fluidities(k *vector.VFT) (at [NumNodes]float64) {
	k.Fluidities(at[:], p.kelvin[:])
	return at
}

// Flow gives ∫dt/η in 1/Pa over the firing for a melt of viscosity k, by the sum over the nodes.
func (p *Prepared) Flow(k *vector.VFT) float64 {
	var fluidity [NumNodes]float64
	k.Fluidities(fluidity[:], p.kelvin[:])
	return p.Integral(&fluidity)
}

// Integral gives ∫f(T)dt for what is f at each node.
func (p *Prepared) Integral(f *[NumNodes]float64) float64 { return vector.Dot(p.seconds[:], f[:]) }

// inRows keeps the nodes in rows.
func (p *Prepared) inRows() {
	for i, n := range p.Nodes {
		p.kelvin[i], p.seconds[i] = n.Kelvin, n.Seconds
	}
}
