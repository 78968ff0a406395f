package film

// motion is how the layers of a stack move one on another, all without the factor g sinθ. The film is cut at the wall
// and at each interface; the part above a cut is named by its lowest layer.
type motion struct {
	weights [MaxLayers]layerWeights
	above   [MaxLayers]float64 // thickness of the part in m
	alone   [MaxLayers]float64 // its flux as if on bare wall
	slip    [MaxLayers]float64 // speed of its lower face: that of what carries it
	cubed   [MaxLayers]float64 // (X/(3 g sinθ))³ of the part, see part
	fastest int                // the part with the greatest of them
}

// weight is what a unit of exposure to flow in a stretch of the film brings, over g sinθ: flux to that of the film on
// bare wall, slip to the speed of all that lies on it.
type weight struct{ flux, slip float64 }

func (a weight) minus(b weight) weight { return weight{a.flux - b.flux, a.slip - b.slip} }

// layerWeights are those of a layer's three stretches from wall to air: what the zone below has of it, its unmixed
// melt, and what the zone above has. The slopes are how the first and the last rise with ln of the zones' widths, at
// the cost of what is between.
type layerWeights struct {
	low, mid, high      weight
	lowSlope, highSlope weight
}

// topmost is the weight of the topmost d of a melt of density ρ that has a thickness a and a mass m per area on it:
//
//	flux = ∫ (a+y)(m+ρy) dy,   slip = ∫ (m+ρy) dy   for y from 0 to d
func topmost(d moments, ρ, a, m float64) weight {
	return weight{a*m*d.d + (a*ρ+m)*d.d2 + ρ*d.d3, m*d.d + ρ*d.d2}
}

// lowest is the weight of the lowest d of it, with a and m those above its lower face:
//
//	flux = ∫ (a-y)(m-ρy) dy,   slip = ∫ (m-ρy) dy   for y from 0 to d
func lowest(d moments, ρ, a, m float64) weight {
	return weight{a*m*d.d - (a*ρ+m)*d.d2 + ρ*d.d3, m*d.d - ρ*d.d2}
}

// move works out the motion of a stack whose zones have their blends.
func (s *Stack) move(m *motion) {
	var a, mass, flux float64 // of all above the layer
	for i := s.n - 1; i >= 0; i-- {
		h, ρ, f := s.layers[i].Thickness, s.layers[i].Density, s.layers[i].Exposure.Flow
		w := &m.weights[i]
		*w = layerWeights{mid: topmost(still(h), ρ, a, mass)}
		if i < s.n-1 {
			z := &s.zones[i]
			w.high, w.highSlope = topmost(z.under.mean, ρ, a, mass), topmost(z.under.slope, ρ, a, mass)
			w.mid = w.mid.minus(w.high)
			flux += w.high.flux * z.blend
		}
		a += h
		mass += ρ * h
		if i > 0 {
			z := &s.zones[i-1]
			w.low, w.lowSlope = lowest(z.over.mean, ρ, a, mass), lowest(z.over.slope, ρ, a, mass)
			w.mid = w.mid.minus(w.low)
			flux += w.low.flux * z.blend
		}
		flux += w.mid.flux * f
		m.above[i], m.alone[i] = a, flux
	}
	m.fastest, m.slip[0] = 0, 0
	for i := range s.n {
		if i > 0 {
			m.slip[i] = m.slip[i-1] + s.slip(i-1, &m.weights[i-1])
		}
		m.cubed[i] = part(m.carried(i), m.alone[i], m.above[i])
		if m.cubed[i] > m.cubed[m.fastest] {
			m.fastest = i
		}
	}
}

// slip is by how much the upper face of layer i is faster than the lower.
func (s *Stack) slip(i int, w *layerWeights) float64 {
	slip := w.mid.slip*s.layers[i].Exposure.Flow + w.high.slip*s.zones[i].blend
	if i > 0 {
		slip += w.low.slip * s.zones[i-1].blend
	}
	return slip
}

// carried is the flux of a part, carried along by what lies under it.
func (m *motion) carried(i int) float64 { return m.alone[i] + m.slip[i]*m.above[i] }

// part is (X'/(3 g sinθ))³ for the drive X' = (3 Q')^(2/3) M'^(1/3) of a part of the film: Q' is its flux as it is
// carried, and its mobility M' is 3 times its flux on bare wall over the cube of its thickness.
func part(carried, alone, thickness float64) float64 {
	return carried * carried * alone / (thickness * thickness * thickness)
}
