package film

// share works out the parts that layers and zones have in the drive, and how it hangs on stirring.
//
// The share of a stretch of melt of fluidity f in the drive X' = (3 Q')^(2/3) M'^(1/3) of one part of the film is
//
//	∂ln X'/∂ln f = 2/3 ∂ln Q'/∂ln f + 1/3 ∂ln M'/∂ln f
//
// where Q' = alone + slip·thickness, and M' goes as alone: what flows in the part adds to both, what carries it to the
// slip.
//
// Where two parts get almost as far, which of them gets furthest hangs on viscosities that nobody knows so well, and
// what they owe to a layer can differ much. So the shares are the mean over all parts, weighted by the 12th power of
// their drives (ours, no source: a part that gets 10 % less far counts for a quarter, one that gets half as far for
// nothing), and a small change of a melt changes them little.
//
// In the same mean, stirring moves the drive by what the zones gain on the unmixed melt. They widen as its square root.
func (s *Stack) share(m *motion, f *Flow) {
	greatest := m.cubed[m.fastest]
	if greatest == 0 {
		return // nothing flows
	}
	var counts [MaxLayers]float64 // of each part in the mean
	sum := 0.0
	for i := range s.n {
		c := m.cubed[i] / greatest
		counts[i] = c * c * c * c
		sum += counts[i]
	}
	var flux, slip [MaxLayers]float64 // what a weight's flux and slip count for, in the part above each cut
	for i := range s.n {
		if counts[i] == 0 {
			continue
		}
		count, carried := counts[i]/sum, m.carried(i)
		flux[i] = count * (2/(3*carried) + 1/(3*m.alone[i]))
		slip[i] = count * 2 * m.above[i] / (3 * carried)
	}
	// A layer flows in the parts from it and from those under it on, and carries those above it.
	for i := 1; i < s.n; i++ {
		flux[i] += flux[i-1]
	}
	carries := 0.0
	for i := s.n - 1; i >= 0; i-- {
		slip[i], carries = carries, carries+slip[i]
	}
	gain := 0.0
	for i := range s.n {
		of := func(w weight) float64 { return w.flux*flux[i] + w.slip*slip[i] }
		w, fluidity := &m.weights[i], s.layers[i].Exposure.Flow
		f.LayerShare[i] = of(w.mid) * fluidity
		if i > 0 {
			blend := s.zones[i-1].blend
			f.ZoneShare[i-1] += of(w.low) * blend
			gain += of(w.lowSlope) * (blend - fluidity)
		}
		if i < s.n-1 {
			blend := s.zones[i].blend
			f.ZoneShare[i] = of(w.high) * blend
			gain += of(w.highSlope) * (blend - fluidity)
		}
	}
	f.Stirring = gain / 2
}
