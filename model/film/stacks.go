package film

import (
	"math"
	"sync"

	"github.com/catchline/catchline/model/internal/vector"
)

// Stacks are many stacks of the same number of layers, no two neighbours the same melt, a lane each. Here the formulas of zones and flow
// are written, for a Stack too, which is one lane.
//
// Use: Stir, fill the rows of the Layers, Mix, fill those of the Blends, then ask for the Flow. Nothing is checked: see Layer.Check. Where a Blend or a
// layer is out of range the flow may be no number.
type Stacks struct {
	// Layers from the wall to the air.
	Layers []LayerRows
	// Zones between them, which Mix works out.
	Zones []ZoneRows
	// Thickness to Stirring are those of a Flow, which Flow works out.
	Thickness, Drive, Mobility, Stirring []float64
	LayerShare, ZoneShare                [][]float64

	scale   []float64
	cubed   [][]float64
	program *stacksProgram
	frame   *vector.Frame
}

// LayerRows are what there is of a Layer in each lane. Diffusion is the fourth root of the exposure to diffusion, see FourthRoot.
type LayerRows struct{ Thickness, Density, Flow, Diffusion []float64 }

// FourthRoot of what is not negative: that of the exposure to diffusion is a layer's part in the width of a zone.
func FourthRoot(v float64) float64 { return math.Sqrt(math.Sqrt(v)) }

// ZoneRows are what there is of a Zone in each lane. Blend is for the caller to fill, as by Stack.SetBlend.
type ZoneRows struct{ HalfWidth, Under, Over, UnderFraction, Blend []float64 }

// NewStacks makes room for so many lanes of so many layers.
func NewStacks(layers, lanes int) *Stacks {
	p := stacksPrograms[layers]()
	f := p.Frame(lanes)
	s := &Stacks{
		program: p, frame: f, scale: f.Row(p.scale), cubed: rows(f, p.cubed), LayerShare: rows(f, p.layerShare), ZoneShare: rows(f, p.zoneShare),
		Thickness: f.Row(p.thickness), Drive: f.Row(p.drive), Mobility: f.Row(p.mobility), Stirring: f.Row(p.stirring),
	}
	for _, l := range p.layers {
		s.Layers = append(s.Layers, LayerRows{f.Row(l.thickness), f.Row(l.density), f.Row(l.flow), f.Row(l.diffusion)})
	}
	for _, z := range p.zones {
		s.Zones = append(s.Zones, ZoneRows{f.Row(z.halfWidth), f.Row(z.under.d1), f.Row(z.over.d1), f.Row(z.underFraction), f.Row(z.blend)})
	}
	return s
}

func rows(f *vector.Frame, of []vector.Value) [][]float64 {
	out := make([][]float64, len(of))
	for i, v := range of {
		out[i] = f.Row(v)
	}
	return out
}

// Put puts a layer into a lane.
func (s *Stacks) Put(lane, layer int, l *Layer) {
	to := &s.Layers[layer]
	to.Thickness[lane], to.Density[lane], to.Flow[lane], to.Diffusion[lane] = l.Thickness, l.Density, l.Exposure.Flow, FourthRoot(l.Exposure.Diffusion)
}

// Stir sets the stirring of n lanes from first on, 0 to MaxStirring.
func (s *Stacks) Stir(stirring float64, first, n int) {
	row, scale := s.scale[first:first+n], 2*math.Sqrt(stirring*(1/math.Pi))
	for i := range row {
		row[i] = scale
	}
}

// Mix works out the zones of the first n lanes.
func (s *Stacks) Mix(n int) { s.frame.RunStage(0, n) }

// Flow works out the flow of the first n lanes for a sine of the slope, 0 to 1.
func (s *Stacks) Flow(sinSlope float64, n int) {
	s.frame.Set(s.program.pull, 3*Gravity*sinSlope)
	s.frame.RunStage(1, n)
}

// FlowOf writes what came out for a lane to f.
func (s *Stacks) FlowOf(lane int, f *Flow) error {
	*f = Flow{Thickness: s.Thickness[lane], Drive: s.Drive[lane], Mobility: s.Mobility[lane], Stirring: s.Stirring[lane]}
	if !finite(f.Drive) || !finite(f.Mobility) {
		return errNotFinite
	}
	for i, share := range s.LayerShare {
		f.LayerShare[i] = share[lane]
		if s.cubed[i][lane] > s.cubed[f.Cut][lane] {
			f.Cut = i
		}
	}
	for i, share := range s.ZoneShare {
		f.ZoneShare[i] = share[lane]
	}
	return nil
}

// stacksProgram is for stacks of one number of layers.
type stacksProgram struct {
	*vector.Program
	layers                               []layerValues
	zones                                []zoneValues
	scale                                vector.Value // half width of a zone over the geometric mean of the square roots of its two diffusions
	pull                                 vector.Value // 3 g sinθ
	thickness, drive, mobility, stirring vector.Value
	layerShare, zoneShare, cubed         []vector.Value
}

type layerValues struct{ thickness, density, flow, diffusion vector.Value }

type zoneValues struct {
	halfWidth, underFraction, blend vector.Value
	under, over                     growthValues
}

// stacksPrograms are made when first asked for, by the number of layers.
var stacksPrograms = func() (out [MaxLayers + 1]func() *stacksProgram) {
	for n := range out {
		out[n] = sync.OnceValue(func() *stacksProgram { return newStacksProgram(n) })
	}
	return out
}()

func newStacksProgram(n int) *stacksProgram {
	w := vector.NewWriter()
	p := &stacksProgram{scale: w.Input(), pull: w.Parameter()}
	for range n {
		p.layers = append(p.layers, layerValues{w.Input(), w.Input(), w.Input(), w.Input()})
	}
	p.zones = make([]zoneValues, n-1)
	for i := range p.zones {
		p.zones[i].blend = w.Input()
	}
	p.mix(w)
	w.Stage()
	p.flow(w)
	p.Program = w.Program()
	return p
}

// mix writes the zones.
func (p *stacksProgram) mix(w *vector.Writer) {
	for i := range p.zones {
		p.zones[i].halfWidth = p.scale.Times(p.layers[i].diffusion, p.layers[i+1].diffusion)
	}
	for i := range p.zones {
		z := &p.zones[i]
		δ := z.halfWidth
		per := w.Number(1).Over(δ.AtLeast(w.Number(least)))
		side := func(layer, other int) growthValues {
			room := p.room(w, layer, i, other)
			return growth(w, δ, room, room.Times(per))
		}
		z.under = side(i, i-1)
		z.over = side(i+1, i+1)
		both := z.under.d1.Plus(z.over.d1)
		z.underFraction = w.Number(0).Below(both, z.under.d1.Over(both), w.Number(0.5))
		w.Output(δ, z.under.d1, z.over.d1, z.underFraction)
	}
}

// room is how far a zone may grow into a layer that it shares with another zone, if there is one with that index;
// it stays the same when both grow alike.
func (p *stacksProgram) room(w *vector.Writer, layer, zone, other int) vector.Value {
	h := p.layers[layer].thickness
	if other < 0 || other >= len(p.zones) {
		return h
	}
	δ := p.zones[zone].halfWidth
	return w.Number(0).Below(δ, h.Times(δ).Over(δ.Plus(p.zones[other].halfWidth)), h)
}

// momentValues are the means over the flow of a growing length d, of d²/2 and of d³/3.
type momentValues struct{ d1, d2, d3 vector.Value }

// growthValues are the moments of a length that grows, and by how much they are more for each part by which its final value would be
// more without a limit: their derivatives to its logarithm.
type growthValues struct {
	momentValues
	more momentValues
}

// least keeps what may be 0 from dividing 0.
const least = 0x1p-1022

// growth gives the moments of a length that grows as the square root of the flow up to final and stops at limit, part = limit/final. When
// the part t of the flow is over, the limit is met, if it is; before, the mean of d^n is limit^n 2/(n+2), after it is limit^n.
func growth(w *vector.Writer, final, limit, part vector.Value) growthValues {
	d, t := final.AtMost(limit), part.AtMost(w.Number(1))
	t = t.Times(t)
	n := w.Number
	d2 := d.Times(d)
	d3 := d2.Times(d)
	return growthValues{
		momentValues{d.Times(n(1).Minus(t.By(1. / 3))), d2.Times(n(1. / 2).Minus(t.By(1. / 4))), d3.Times(n(1. / 3).Minus(t.By(1. / 5)))},
		momentValues{d.Times(t.By(2. / 3)), d2.Times(t.By(1. / 2)), d3.Times(t.By(2. / 5))},
	}
}

// weightValues are the factors of the exposure of a part of the film: bulk in the flux of the film on bare wall, slip in the speed that the part
// gives to all that lies on it.
type weightValues struct{ bulk, slip vector.Value }

func (a weightValues) minus(b weightValues) weightValues {
	return weightValues{a.bulk.Minus(b.bulk), a.slip.Minus(b.slip)}
}

// partValues are a layer's three parts from wall to air: what the zone below took of it, its unmixed melt, and what the zone above took.
// lowMore and highMore are how the first and the last grow with the zones, at the cost of what is between.
type partValues struct{ low, mid, high, lowMore, highMore weightValues }

// motionValues is what drives the parts of a stack.
type motionValues struct {
	parts    []partValues
	above    []vector.Value // thickness from the lower face of the layer to the air
	per      []vector.Value // 1 over it
	alone    []vector.Value // flux of the layer and all above it as if on bare wall
	slip     []vector.Value // speed of the layer's lower face
	cubed    []vector.Value // cube of the drive of the layer and all above it on an upright wall over 3 g, so that no root is drawn in vain
	greatest vector.Value   // of those
}

// move writes the motion.
func (p *stacksProgram) move(w *vector.Writer) *motionValues {
	n := len(p.layers)
	m := &motionValues{make([]partValues, n), make([]vector.Value, n), make([]vector.Value, n), make([]vector.Value, n), make([]vector.Value, n), make([]vector.Value, n), vector.Value{}}
	zero := w.Number(0)
	a, mass, flux := zero, zero, zero // thickness, mass per area and flux above what comes next
	for i := n - 1; i >= 0; i-- {
		part := &m.parts[i]
		h, ρ, f := p.layers[i].thickness, p.layers[i].density, p.layers[i].flow
		// of the uppermost d of what comes next
		upper := func(d momentValues) weightValues {
			return weightValues{
				a.Times(mass, d.d1).Plus(a.Times(ρ).Plus(mass).Times(d.d2), ρ.Times(d.d3)),
				mass.Times(d.d1).Plus(ρ.Times(d.d2)),
			}
		}
		part.mid = upper(momentValues{h, h.Times(h).By(1. / 2), h.Times(h, h).By(1. / 3)})
		if i < n-1 {
			z := &p.zones[i]
			part.high, part.highMore = upper(z.under.momentValues), upper(z.under.more)
			part.mid = part.mid.minus(part.high)
			flux = flux.Plus(part.high.bulk.Times(z.blend))
		}
		a = a.Plus(h)
		mass = mass.Plus(ρ.Times(h))
		if i > 0 {
			z := &p.zones[i-1]
			// of the lowermost d of this layer
			lower := func(d momentValues) weightValues {
				return weightValues{
					a.Times(mass, d.d1).Minus(a.Times(ρ).Plus(mass).Times(d.d2)).Plus(ρ.Times(d.d3)),
					mass.Times(d.d1).Minus(ρ.Times(d.d2)),
				}
			}
			part.low, part.lowMore = lower(z.over.momentValues), lower(z.over.more)
			part.mid = part.mid.minus(part.low)
			flux = flux.Plus(part.low.bulk.Times(z.blend))
		}
		flux = flux.Plus(part.mid.bulk.Times(f))
		m.above[i], m.per[i], m.alone[i] = a, w.Number(1).Over(a), flux
	}
	first := m.alone[0].Times(m.per[0])
	m.slip[0], m.cubed[0] = zero, first.Times(first, first)
	m.greatest = m.cubed[0]
	for i := 1; i < n; i++ {
		under := &m.parts[i-1]
		slip := m.slip[i-1].Plus(under.mid.slip.Times(p.layers[i-1].flow), under.high.slip.Times(p.zones[i-1].blend))
		if i > 1 {
			slip = slip.Plus(under.low.slip.Times(p.zones[i-2].blend))
		}
		carried := m.alone[i].Plus(slip.Times(m.above[i]))
		m.slip[i], m.cubed[i] = slip, carried.Times(carried, m.alone[i]).Times(m.per[i].Times(m.per[i], m.per[i]))
		m.greatest = m.cubed[i].AtLeast(m.greatest)
	}
	return m
}

// flow writes what Stack.Flow says.
func (p *stacksProgram) flow(w *vector.Writer) {
	m := p.move(w)
	whole, per := m.above[0], m.per[0]
	first := m.alone[0].Times(per)
	root := m.greatest.Log().By(1. / 3).Exp()
	p.thickness = whole
	p.drive = p.pull.Times(m.cubed[0].Below(m.greatest, root, first))
	p.mobility = p.pull.Times(m.alone[0], per.Times(per, per))
	p.cubed = m.cubed

	p.share(w, m)
	w.Output(p.thickness, p.drive, p.mobility, p.stirring)
	w.Output(p.cubed...)
}

// share writes the parts that layers and zones have in the drive. In that of a part of the film, (3 Q')^(2/3) M'^(1/3), Q' is the flux of the
// part, carried along by what lies under it, and M' goes as its flux on bare wall.
//
// Where two parts get almost as far, which of them gets furthest hangs on viscosities that nobody knows so well, and what they owe to a
// layer can differ much. So the shares are the mean over all parts, weighted by the 12th power of their drives (ours, no source: a part
// that gets 10 % less far counts for a quarter, one that gets half as far for nothing), and a small change of a melt changes them little.
//
// In the same mean, stirring moves the drive by what the zones gain on the unmixed melt. They widen as its square root.
func (p *stacksProgram) share(w *vector.Writer, m *motionValues) {
	n := len(p.layers)
	one, tiny := w.Number(1), w.Number(least)
	perGreatest := one.Over(m.greatest.AtLeast(tiny))
	count := make([]vector.Value, n) // for how much each part counts
	sum := w.Number(0)
	for cut := range n {
		c := m.cubed[cut].Times(perGreatest)
		c = c.Times(c)
		count[cut] = c.Times(c)
		sum = sum.Plus(count[cut])
	}
	perSum := one.Over(sum.AtLeast(tiny))
	per := make([]weightValues, n) // of what flows in the part from a layer on; of what carries it
	for cut := range n {
		alone, above := m.alone[cut], m.above[cut]
		carried := alone.Plus(m.slip[cut].Times(above))
		c := count[cut].Times(perSum).Over(alone.Times(carried).AtLeast(tiny)) // over both at once
		whole := c.Times(alone).By(2. / 3)
		per[cut] = weightValues{whole.Plus(c.Times(carried).By(1. / 3)), whole.Times(above)}
	}
	// A layer flows in the parts from it and from those under it on, and carries those above it.
	for i := 1; i < n; i++ {
		per[i].bulk = per[i].bulk.Plus(per[i-1].bulk)
	}
	carried := w.Number(0)
	for i := n - 1; i >= 0; i-- {
		per[i].slip, carried = carried, carried.Plus(per[i].slip)
	}
	p.layerShare, p.zoneShare = make([]vector.Value, n), make([]vector.Value, n-1)
	gain := w.Number(0)
	for i := range n {
		of := func(part weightValues) vector.Value {
			return part.bulk.Times(per[i].bulk).Plus(part.slip.Times(per[i].slip))
		}
		part, flow := &m.parts[i], p.layers[i].flow
		p.layerShare[i] = of(part.mid).Times(flow)
		if i > 0 {
			blend := p.zones[i-1].blend
			p.zoneShare[i-1] = p.zoneShare[i-1].Plus(of(part.low).Times(blend))
			gain = gain.Plus(of(part.lowMore).Times(blend.Minus(flow)))
		}
		if i < n-1 {
			blend := p.zones[i].blend
			p.zoneShare[i] = of(part.high).Times(blend)
			gain = gain.Plus(of(part.highMore).Times(blend.Minus(flow)))
		}
	}
	if p.stirring = gain.By(1. / 2); n == 1 {
		p.stirring = w.Input() // always 0: a row must be one of each lane's own
	}
	w.Output(p.layerShare...)
	w.Output(p.zoneShare...)
}
