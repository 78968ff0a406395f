package model

import (
	"github.com/catchline/catchline/model/chem"
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

	stack   film.Stack
	index   [film.MaxLayers]int        // of each layer in the stack, where like neighbours are one
	batches [film.MaxLayers + 1]*batch // of one lane, by the length of the stack
}

// alone is the batch of one lane in which the stack is asked about.
func (p *Physics) alone() *batch {
	n := p.stack.Len()
	if p.batches[n] == nil {
		p.batches[n] = newBatch(p.stack.Rows(), 1)
	}
	return p.batches[n]
}

// kept is a copy to keep, without the room to work in.
func (p *Physics) kept() Physics {
	out := *p
	out.stack.Forget()
	out.batches = [film.MaxLayers + 1]*batch{}
	return out
}

// minDrive (m) stands for a film that does not move, so that its logarithm is a number: a run of a third of a nanometre.
const minDrive = 1e-9

// Work works out the physics of a layering on a straight wall whose sine of the slope is sin.
func (p *Physics) Work(l *Layering, sin float64) error {
	p.stack.Clear()
	p.Held, p.ZoneWidth = 0, [film.MaxLayers - 1]float64{}
	if len(l.Layers) > film.MaxLayers {
		return &chem.FieldError{Field: "layers", Value: "more than 8", Limit: "1 to 8"}
	}
	for i := range l.Layers {
		layer := &l.Layers[i]
		at, err := p.stack.Push(layer.film())
		if err != nil {
			return err
		}
		p.index[i] = at
	}
	if err := p.mix(l); err != nil {
		return err
	}
	return p.stack.FlowTo(&p.Flow, sin)
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
	if p.stack.Len() == 1 {
		return nil
	}
	if err := p.stack.Mix(l.Stirring); err != nil {
		return err
	}
	for i := 0; i+1 < len(l.Layers); i++ {
		at := p.index[i]
		if p.index[i+1] == at {
			continue
		}
		zone := p.stack.Zone(at)
		if err := p.stack.SetBlend(at, l.blendFlow(i, zone.UnderFraction)); err != nil {
			return err
		}
		p.ZoneWidth[i] = zone.Under + zone.Over
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
	return blendLog10(l.Layers[i].Fired, l.Layers[i+1].Fired, p.stack.Zone(at).UnderFraction)
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
