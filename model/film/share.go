package film

// share works out the parts that layers and zones have in the drive, and how it depends on stirring, from the fluxes of
// the film as it lies and of the film that its front lays down. The share of a stretch of melt of fluidity f in the
// drive X = (3 Q)^(2/3) (3 Q')^(1/3)/H is
//
//	∂ln X/∂ln f = 2/3 ∂ln Q/∂ln f + 1/3 ∂ln Q'/∂ln f
//
// Stirring moves the drive by what the zones gain on the unmixed melt. They widen as its square root.
func (s *Stack) share(parts, turned *[MaxLayers]stretches, flux, turnedFlux float64, f *Flow) {
	if flux == 0 || turnedFlux == 0 {
		return // nothing flows
	}
	of := func(lies, laid float64) float64 { return 2./3*lies/flux + 1./3*laid/turnedFlux }
	gain := 0.0
	for i := range s.n {
		p, t, fluidity := &parts[i], &turned[s.n-1-i], s.layers[i].Exposure.Flow
		f.LayerShare[i] = of(p.mid, t.mid) * fluidity
		if i > 0 {
			blend := s.zones[i-1].blend
			f.ZoneShare[i-1] += of(p.low, t.high) * blend
			gain += of(p.lowSlope, t.highSlope) * (blend - fluidity)
		}
		if i < s.n-1 {
			blend := s.zones[i].blend
			f.ZoneShare[i] = of(p.high, t.low) * blend
			gain += of(p.highSlope, t.lowSlope) * (blend - fluidity)
		}
	}
	f.Stirring = gain / 2
}
