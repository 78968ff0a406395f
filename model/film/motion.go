package film

// stretches are what a unit of exposure to flow in a layer's three stretches from wall to air brings to the flux of
// the film, over g sinθ: what the zone below has of it, its unmixed melt, and what the zone above has. The slopes are
// how the first and the last rise with ln of the zones' widths, at the cost of what is between.
type stretches struct{ low, mid, high, lowSlope, highSlope float64 }

// topmost is that of the topmost d of a melt of density ρ that has a thickness a and a mass m per area on it:
//
//	∫ (a+y)(m+ρy) dy   for y from 0 to d
func topmost(d moments, ρ, a, m float64) float64 { return a*m*d.d + (a*ρ+m)*d.d2 + ρ*d.d3 }

// lowest is that of the lowest d of it, with a and m those above its lower face:
//
//	∫ (a-y)(m-ρy) dy   for y from 0 to d
func lowest(d moments, ρ, a, m float64) float64 { return a*m*d.d - (a*ρ+m)*d.d2 + ρ*d.d3 }

// flux is that of a film on a wall, over g sinθ, and what each layer brings to it:
//
//	q = g sinθ ∫ (H-z) T(z) / η(z) dz,   T(z) = ∫ ρ dz' from z to H
//
// which is what layers have on a wall without slip and under a free surface without stress (for layers of one melt
// each Kao 1965, two layers, carried to N).
func (s *Stack) flux(parts *[MaxLayers]stretches) (flux float64) {
	var a, mass float64 // of all above the layer
	for i := s.n - 1; i >= 0; i-- {
		h, ρ, f := s.layers[i].Thickness, s.layers[i].Density, s.layers[i].Exposure.Flow
		p := &parts[i]
		*p = stretches{mid: topmost(still(h), ρ, a, mass)}
		if i < s.n-1 {
			z := &s.zones[i]
			p.high, p.highSlope = topmost(z.under.mean, ρ, a, mass), topmost(z.under.slope, ρ, a, mass)
			p.mid -= p.high
			flux += p.high * z.blend
		}
		a += h
		mass += ρ * h
		if i > 0 {
			z := &s.zones[i-1]
			p.low, p.lowSlope = lowest(z.over.mean, ρ, a, mass), lowest(z.over.slope, ρ, a, mass)
			p.mid -= p.low
			flux += p.low * z.blend
		}
		flux += p.mid * f
	}
	return flux
}

// turned is the film as its front lays it on the wall: upside down.
func (s *Stack) turned() Stack {
	t := Stack{n: s.n}
	for i := range s.n {
		t.layers[i] = s.layers[s.n-1-i]
	}
	for i := range s.n - 1 {
		z := s.zones[s.n-2-i]
		z.under, z.over = z.over, z.under
		t.zones[i] = z
	}
	return t
}
