package model

import (
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/film"
)

// Layer is a glaze of a layering, fired, and how much of it there is.
type Layer struct {
	*Fired
	Thickness film.Thickness
}

// Layering is what is on a wall: 1 to film.MaxLayers layers, first applied first, all fired in one firing.
type Layering struct {
	Layers   []Layer
	Stirring float64 // factor on molecular diffusion, see film.DefaultStirring

	halves  halves                // nil: on its own
	part    int                   // of the sheet
	blended [film.MaxLayers]int32 // of each layer, which of the sheet's it is in a blend
}

// PhysicsVersion counts the changes of what the physics says of a layering. What a calibration has learnt belongs to the physics that it was fitted with: the
// rest that is left to learn is another with another.
const PhysicsVersion = 1

// Physics is what the physics says of a layering, before anything is learnt from tiles.
type Physics struct {
	Flow film.Flow
	// Drive X in metres is that of Flow less what surface tension holds back on the wall, and not below minDrive; LnDrive is ln of it. Set by a
	// question, as is what follows.
	Drive, LnDrive float64
	// LnDriveSD is the part of its standard deviation that belongs to this piece alone: the thickness of its coats.
	LnDriveSD float64
	// Held is the part of the band's weight that surface tension could hold up, 0 to 1; set for a wall.
	Held float64
	// ZoneWidth is the width in m of the mixed zone above each layer, the mean over the flow.
	ZoneWidth [film.MaxLayers - 1]float64

	density float64                     // mean of the film, kg/m³; set by a question
	layers  int                         // that differ from their neighbours
	index   [film.MaxLayers]int         // of each layer among those
	under   [film.MaxLayers - 1]float64 // of the volume of the mixed zone above each of those, the part that is of the lower layer

	room *room // to work in, once it was needed
}

// room is what the physics of a layering by itself is worked out in.
type room struct {
	stack   film.Stack
	batches [film.MaxLayers + 1]*batch // of one lane, by the length of the stack
}

// batch is the batch of one lane in which the stack is asked about.
func (r *room) batch() *batch {
	n := r.stack.Len()
	if r.batches[n] == nil {
		r.batches[n] = newBatch(r.stack.Rows(), 1)
	}
	return r.batches[n]
}

// minDrive (m) stands for a film that does not move, so that its logarithm is a number: a run of a third of a nanometre.
const minDrive = 1e-9

// Work works out the physics of a layering on a straight wall whose sine of the slope is sin.
func (p *Physics) Work(l *Layering, sin float64) error {
	if p.room == nil {
		p.room = new(room)
	}
	stack := &p.room.stack
	stack.Clear()
	if len(l.Layers) > film.MaxLayers {
		return &fault.Error{Field: "layers", Value: "more than 8", Limit: "1 to 8"}
	}
	for i := range l.Layers {
		layer := &l.Layers[i]
		at, err := stack.Push(layer.film())
		if err != nil {
			return err
		}
		p.index[i] = at
	}
	p.layers = stack.Len()
	if err := p.mix(l); err != nil {
		return err
	}
	if err := stack.FlowTo(&p.Flow, sin); err != nil {
		return err
	}
	p.zones(l, stack.Rows(), 0)
	return nil
}

// zones reads the mixed zones of a layering from a lane.
func (p *Physics) zones(l *Layering, films *film.Stacks, lane int) {
	p.ZoneWidth = [film.MaxLayers - 1]float64{}
	for i := range films.Zones {
		p.under[i] = films.Zones[i].UnderFraction[lane]
	}
	for i := range len(l.Layers) - 1 {
		if at := p.index[i]; p.index[i+1] != at {
			zone := &films.Zones[at]
			p.ZoneWidth[i] = zone.Under[lane] + zone.Over[lane]
		}
	}
}

// see reads what a question has worked out besides, from a lane.
func (p *Physics) see(s *sights, lane int) {
	p.Drive, p.LnDrive, p.LnDriveSD, p.Held = s.heldDrive[lane], s.lnDrive[lane], s.physicsSD[lane], s.held[lane]
	mass := 0.0
	for i := range s.layers {
		mass += s.layers[i].mass[lane]
	}
	p.density = mass / p.Flow.Thickness
}

// read reads the physics of a layering from a lane, where no neighbours are alike.
func (p *Physics) read(l *Layering, a *batch, lane int) error {
	p.layers = len(l.Layers)
	for i := range l.Layers {
		p.index[i] = i
	}
	p.zones(l, a.films, lane)
	if err := a.films.FlowOf(lane, &p.Flow); err != nil {
		return err
	}
	p.see(a.sights, lane)
	return nil
}

// film is the layer as the film sees it.
func (l *Layer) film() film.Layer {
	return film.Layer{Thickness: l.Thickness.Metres, Density: l.Density, Exposure: l.Exposure}
}

// alike says that two layers are the same melt in a film.
func (l *Layer) alike(other *Layer) bool {
	a, b := l.film(), other.film()
	return a.Alike(&b)
}

// mix works out the mixed zones and their blends.
func (p *Physics) mix(l *Layering) error {
	stack := &p.room.stack
	if p.layers == 1 {
		return nil
	}
	if err := stack.Mix(l.Stirring); err != nil {
		return err
	}
	for i := 0; i+1 < len(l.Layers); i++ {
		at := p.index[i]
		if p.index[i+1] == at {
			continue
		}
		if err := stack.SetBlend(at, l.blendFlow(i, stack.Zone(at).UnderFraction)); err != nil {
			return err
		}
	}
	return nil
}

// blendFlow is the exposure to flow of the mixed zone above layer i, of which underFraction of the volume is of that layer.
func (l *Layering) blendFlow(i int, underFraction float64) float64 {
	if underFraction == 0.5 && l.halves != nil {
		if flow, ok := l.halves.half(l, i); ok {
			return flow
		}
	}
	return blendFlow(l.Layers[i].Fired, l.Layers[i+1].Fired, underFraction)
}

// halves remember blends, half and half, which layerings share.
type halves interface {
	// half gives the exposure to flow of the blend of layer i and the next; ok is false where it does not remember it.
	half(l *Layering, i int) (flow float64, ok bool)
}

// BlendLog10 is log10 η at the peak of the mixed zone above layer i of the layering; 0 where there is none.
func (p *Physics) BlendLog10(l *Layering, i int) float64 {
	at := p.index[i]
	if p.index[i+1] == at {
		return 0
	}
	return blendLog10(l.Layers[i].Fired, l.Layers[i+1].Fired, p.under[at])
}

// FlowShares gives the share of each of n layers in the drive, and of the mixed zone above each but the last; they sum to 1. Like
// neighbours count as one, under the first of them.
func (p *Physics) FlowShares(n int) (layers, zones []float64) {
	layers, zones = make([]float64, n), make([]float64, max(n-1, 0))
	last := -1
	for i := range n {
		if k := p.index[i]; k != last {
			layers[i] = p.Flow.LayerShare[k]
			last = k
		}
		if i+1 < n && p.index[i+1] != p.index[i] {
			zones[i] = p.Flow.ZoneShare[p.index[i]]
		}
	}
	return layers, zones
}
