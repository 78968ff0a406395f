package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/chem"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
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
}

// Physics is what the physics says of a layering, before anything is learnt from tiles.
type Physics struct {
	Flow film.Flow
	// LnDrive is ln X, X in metres.
	LnDrive float64
	// LnDriveSD is the part of its standard deviation that belongs to this piece alone: the thickness of its coats.
	LnDriveSD float64
	// Held is the part of the band's weight that surface tension could hold up, 0 to 1; set for a wall.
	Held float64
	// BlendLog10 is log10 η at the peak of the mixed zone above each layer, and ZoneWidth the width of that zone in m at the end.
	BlendLog10, ZoneWidth [film.MaxLayers - 1]float64

	stack  film.Stack
	index  [film.MaxLayers]int // of each layer in the stack, where like neighbours are one
	blends [film.MaxLayers - 1]film.Exposure
}

// minDrive (m) stands for a film that does not move, so that its logarithm is a number: a run of a third of a nanometre.
const minDrive = 1e-9

// Work works out the physics of a layering on a straight wall whose sine of the slope is sin.
func (p *Physics) Work(l *Layering, sin float64) error {
	*p = Physics{}
	var thickness [film.MaxLayers]film.Thickness
	if len(l.Layers) > film.MaxLayers {
		return &chem.FieldError{Field: "layers", Value: "more than 8", Limit: "1 to 8"}
	}
	for i := range l.Layers {
		layer := &l.Layers[i]
		at, err := p.stack.Push(film.Layer{Thickness: layer.Thickness.Metres, Density: layer.Density, Exposure: layer.Exposure})
		if err != nil {
			return err
		}
		p.index[i] = at
		thickness[i] = layer.Thickness
	}
	if err := p.mix(l); err != nil {
		return err
	}
	var err error
	if p.Flow, err = p.stack.Flow(sin); err != nil {
		return err
	}
	p.LnDrive = math.Log(math.Max(p.Flow.Drive, minDrive))
	p.LnDriveSD = film.DriveSD(thickness[:len(l.Layers)])
	return nil
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
		e, log10 := blend(l.Layers[i].Fired, l.Layers[i+1].Fired, zone.UnderFraction)
		if err := p.stack.SetBlend(at, e); err != nil {
			return err
		}
		p.blends[at] = e
		p.BlendLog10[i] = log10
		p.ZoneWidth[i] = zone.Under + zone.Over
	}
	return nil
}

// stirringStep is the step of ln(stirring) in the difference that gives the drive's sensitivity to it.
const stirringStep = 0.2

// stirringSensitivity is ∂ln X/∂ln(stirring), by a forward difference. The blends stay as they are.
func (p *Physics) stirringSensitivity(l *Layering, sin float64) float64 {
	if p.stack.Len() == 1 || l.Stirring == 0 {
		return 0
	}
	more := p.stack
	if more.Mix(math.Min(l.Stirring*math.Exp(stirringStep), film.MaxStirring)) != nil {
		return 0
	}
	for i := range more.Len() - 1 {
		if more.SetBlend(i, p.blends[i]) != nil {
			return 0
		}
	}
	flow, err := more.Flow(sin)
	if err != nil || flow.Drive <= 0 || p.Flow.Drive <= 0 {
		return 0
	}
	return math.Log(flow.Drive/p.Flow.Drive) / stirringStep
}

// usualCooling (K/h) is the rate of cooling near the peak against which others are measured.
const usualCooling = 150

// reductionDecades is how many decades of oxygen heavy reduction lies below air at 1222 °C: log10 fO2 -9.48 against -0.68.
const reductionDecades = 8.8

// Where says whose ware in whose kiln it is; what is not known is empty.
type Where struct{ Kiln, Body, Tester string }

// Conditions turns a layering and its physics into what the regression sees of it.
func (p *Physics) Conditions(l *Layering, sin float64, where Where) calib.Conditions {
	f := l.Layers[0].Firing
	c := calib.Conditions{
		LnPhysics: p.LnDrive,
		PhysicsSD: p.LnDriveSD,
		Kiln:      where.Kiln, Body: where.Body, Tester: where.Tester,
	}
	air := firing.Atmosphere{}.Log10FO2(f.ReferenceKelvin)
	c.Features.Reduction = math.Min(1, (air-f.Atmosphere.Log10FO2(f.ReferenceKelvin))/reductionDecades)
	c.Features.LnThickness = math.Log(p.Flow.Thickness)
	c.Features.LnCooling = math.Log(f.CoolingKPerHour / usualCooling)
	c.Features.Stirring = p.stirringSensitivity(l, sin)
	if p.stack.Len() > 1 {
		c.Features.Layered = 1
		under, over := &l.Layers[0], &l.Layers[len(l.Layers)-1]
		c.Features.LnContrast = math.Ln10 * (over.Curve.Log10(f.ReferenceKelvin) - under.Curve.Log10(f.ReferenceKelvin))
	}
	shares := p.glazeShares(l)
	for i := range l.Layers {
		g := l.Layers[i].Glaze
		share := shares[i]
		if !math.IsNaN(g.ConeFrom) {
			c.Features.ConeExcess += share * (f.EquivalentCone - (g.ConeFrom+g.ConeTo)/2)
		}
		switch g.Surface {
		case melt.Matte:
			c.Features.Matte += share
		case melt.Satin:
			c.Features.Matte += share / 2
		}
		if g.Melt == nil {
			c.Features.Described += share
		}
		c.Glazes = addShare(c.Glazes, calib.Share{Name: g.Name, Weight: share, PriorSD: l.Layers[i].ViscositySD})
		if g.Lot != "" {
			c.Lots = addShare(c.Lots, calib.Share{Name: g.Lot, Weight: share})
		}
	}
	c.Pair = p.pair(l)
	return c
}

// glazeShares splits the drive among the layers, mixed zones by the volume that each layer has in them.
func (p *Physics) glazeShares(l *Layering) (shares [film.MaxLayers]float64) {
	n := len(l.Layers)
	var inStack [film.MaxLayers]float64 // share of each layer of the stack
	for i := range p.stack.Len() {
		inStack[i] += p.Flow.LayerShare[i]
		if i+1 < p.stack.Len() {
			z := p.stack.Zone(i)
			inStack[i] += p.Flow.ZoneShare[i] * z.UnderFraction
			inStack[i+1] += p.Flow.ZoneShare[i] * (1 - z.UnderFraction)
		}
	}
	// Where like neighbours are one layer of the stack, the first of them carries its share.
	last := -1
	total := 0.0
	for i := range n {
		if p.index[i] != last {
			shares[i] = math.Max(inStack[p.index[i]], minShare)
			last = p.index[i]
			total += shares[i]
		}
	}
	for i := range n {
		shares[i] /= total
	}
	return shares
}

// minShare keeps every glaze of a layering in the regression, however little of the flow is its own.
const minShare = 1e-6

// addShare adds a share to a list in which each name stands once.
func addShare(list []calib.Share, s calib.Share) []calib.Share {
	if s.Weight == 0 {
		return list
	}
	for i := range list {
		if list[i].Name == s.Name {
			list[i].Weight = math.Min(1, list[i].Weight+s.Weight)
			return list
		}
	}
	return append(list, s)
}

// pair names the two glazes whose mixed zone carries most of the flow, without regard to their order: what the order does
// is in the physics. A glaze alone has no pair.
func (p *Physics) pair(l *Layering) calib.Share {
	best, at := 0.0, -1
	for i := 0; i+1 < len(l.Layers); i++ {
		k := p.index[i]
		if p.index[i+1] == k || l.Layers[i].Glaze.Name == l.Layers[i+1].Glaze.Name {
			continue
		}
		if share := p.Flow.ZoneShare[k]; at < 0 || share > best {
			best, at = share, i
		}
	}
	if at < 0 {
		return calib.Share{}
	}
	a, b := l.Layers[at].Glaze.Name, l.Layers[at+1].Glaze.Name
	return calib.Share{Name: calib.PairName(a, b), Weight: 1}
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
