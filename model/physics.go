package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
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
	Stirring float64 // factor on molecular diffusion, see film.Usual

	sheet   *Sheet                // that remembers its blends; nil: on its own
	part    int                   // of the sheet
	blended [film.MaxLayers]int32 // of each layer, which of the sheet's it is in a blend
}

// PhysicsVersion counts the changes of what the physics says of a layering. What a calibration has learnt belongs to
// the physics that it was fitted with: the rest that is left to learn is another with another.
const PhysicsVersion = 2

// Physics is what the physics says of a layering, before anything is learnt from tiles.
type Physics struct {
	Flow film.Flow
	// Drive X in metres is that of Flow, not below minDrive; LnDrive is ln of it. Set by a question, as is what
	// follows.
	Drive, LnDrive float64
	// LnDriveSD is the part of its standard deviation that belongs to this piece alone: the thickness of its coats,
	// and how far the kiln was off.
	LnDriveSD float64
	// Course is how far the film gets on the question's wall.
	Course Course
	// ZoneWidth is the width in m of the mixed zone above each layer, the mean over the flow.
	ZoneWidth [film.MaxLayers - 1]float64

	density float64                 // mean of the film, kg/m³; set by a question
	stack   film.Stack              // of the layers that differ from their neighbours
	layers  int                     // how many there are of those
	first   [film.MaxLayers]int     // the first layer of the layering in each of those
	index   [film.MaxLayers]int     // of each layer of the layering among those
	weight  [film.MaxLayers]float64 // of each of those in the regression, see weigh

	subject calib.Subject // of the prediction
}

// minDrive (m) stands for a film that does not move, so that its logarithm is a number: a run of a third of a
// nanometre.
const minDrive = 1e-9

// Work works out the physics of a layering on a straight wall whose sine of the slope is sin.
func (p *Physics) Work(l *Layering, sin float64) error {
	p.stack.Clear()
	p.stack.BodyLayer = film.Usual.BodyLayer
	if len(l.Layers) > film.MaxLayers {
		return &fault.Error{Field: "layers", Value: "more than 8", Limit: "1 to 8"}
	}
	for i := range l.Layers {
		at, err := p.stack.Push(l.Layers[i].film())
		if err != nil {
			return err
		}
		if p.index[i] = at; i == 0 || p.index[i-1] != at {
			p.first[at] = i
		}
	}
	p.layers = p.stack.Len()
	if err := p.mix(l); err != nil {
		return err
	}
	if err := p.stack.FlowTo(&p.Flow, sin); err != nil {
		return err
	}
	p.weigh()
	return nil
}

// mix works out the mixed zones and their blends.
func (p *Physics) mix(l *Layering) error {
	p.ZoneWidth = [film.MaxLayers - 1]float64{}
	if p.layers == 1 {
		return nil
	}
	if err := p.stack.Mix(l.Stirring); err != nil {
		return err
	}
	for i := range p.layers - 1 {
		zone, over := p.stack.Zone(i), p.first[i+1]
		p.ZoneWidth[over-1] = zone.Under + zone.Over
		if zone.HalfWidth == 0 {
			continue
		}
		if err := p.stack.SetBlend(i, l.blendFlow(p.first[i], over, zone.UnderFraction)); err != nil {
			return err
		}
	}
	return nil
}

// course works out how far the film gets on a wall for a drive, and how well the drive is known.
func (p *Physics) course(l *Layering, wall Wall) error {
	if err := film.CheckTension(l.Layers[len(l.Layers)-1].Tension); err != nil { // of the outermost layer
		return err
	}
	var mass, variance float64 // of the film per area, kg/m²; of its thickness, m²
	for i := range l.Layers {
		mass += l.Layers[i].Density * l.Layers[i].Thickness.Metres
		variance += l.Layers[i].variance()
	}
	p.density = mass / p.Flow.Thickness
	heat := l.Layers[0].Firing
	bead := film.Usual.Wetting.SectionAt(heat.PeakKelvin)
	p.Course = Course{wall, film.NewEdge(bead, p.Flow.Mobile, max(wall.EdgeSin(), levelSine), film.Usual.Wetted)}
	p.Drive = max(minDrive, p.Flow.Drive)
	p.LnDrive = math.Log(p.Drive)

	perKelvin := 0.0
	for i := range p.layers {
		perKelvin += p.weight[i] * l.Layers[p.first[i]].perKelvin
	}
	thickness := film.DriveSD(p.Flow.Thickness, variance) * film.MobileElasticity(p.Flow.Thickness, film.Usual.BodyLayer)
	p.LnDriveSD = math.Hypot(thickness, perKelvin*heat.KilnSD())
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

// variance of a layer's thickness, in m².
func (l *Layer) variance() float64 {
	sd := l.Thickness.Metres * l.Thickness.RelativeSD
	return sd * sd
}

// blendFlow is the exposure to flow of the mixed zone between two layers, of which underFraction of the volume is of
// the lower one.
func (l *Layering) blendFlow(under, over int, underFraction float64) float64 {
	if underFraction == 0.5 && l.sheet != nil {
		return l.sheet.half(l, under, over)
	}
	return blendFlow(l.Layers[under].Fired, l.Layers[over].Fired, underFraction)
}

// BlendLog10 is log10 η at the peak of the mixed zone above layer i of the layering; 0 where there is none.
func (p *Physics) BlendLog10(l *Layering, i int) float64 {
	at := p.index[i]
	if p.index[i+1] == at {
		return 0
	}
	return blendLog10(l.Layers[i].Fired, l.Layers[i+1].Fired, p.stack.Zone(at).UnderFraction)
}

// FlowShares gives the share of each of n layers in the drive, and of the mixed zone above each but the last; they sum
// to 1. Like neighbours count as one, under the first of them.
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
