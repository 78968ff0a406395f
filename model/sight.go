package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/melt"
)

// Where says whose ware in whose kiln it is; what is not known is empty.
type Where struct{ Kiln, Body, Tester string }

// see turns a layering and its physics into what the regression sees of it, but for groups and logarithms, and gives the lower of the two neighbours
// whose mixed zone carries most of the flow, -1 for none: a glaze alone has no pair. Which of the two is on top does not matter there: what the
// order does is in the physics. A glaze or lot that comes again is counted where it came first.
func (p *Physics) see(l *Layering, k *calib.Known) (pair int) {
	layers := l.Layers
	k.PhysicsSD, k.Layers = p.LnDriveSD, len(layers)
	k.Features = calib.Features{Reduction: layers[0].reduction, LnCooling: layers[0].lnCooling}
	c := &k.Features
	if p.stack.Len() > 1 {
		c.Layered = 1
		c.LnContrast = math.Ln10 * (layers[len(layers)-1].ReferenceLog10 - layers[0].ReferenceLog10)
	}
	shares := p.glazeShares(l)
	for i := range layers {
		layer := &layers[i]
		g, share := layer.Glaze, shares[i]
		c.ConeExcess += share * layer.coneExcess
		switch g.Surface {
		case melt.Matte:
			c.Matte += share
		case melt.Satin:
			c.Matte += share / 2
		}
		if g.Melt == nil {
			c.Described += share
		}
		k.Glazes[i] = calib.KnownShare{PriorSD: layer.ViscositySD}
		k.Lots[i] = calib.KnownShare{}
		first, firstLot := i, i
		for k := range i {
			other := layers[k].Glaze
			if other == g || other.Name == g.Name {
				first = min(first, k)
			}
			if other == g || other.Lot == g.Lot {
				firstLot = min(firstLot, k)
			}
		}
		add(&k.Glazes[first].Weight, share)
		if g.Lot != "" {
			add(&k.Lots[firstLot].Weight, share)
		}
	}
	c.Matte, c.Described = min(1, c.Matte), min(1, c.Described)
	return p.pair(l)
}

// sensitivity is ∂ln X/∂ln(stirring), from ln of Flow.StirredCubed.
func sensitivity(lnStirredCubed float64) float64 { return lnStirredCubed / (3 * film.StirringStep) }

// add adds to a share. Shares that sum to 1 may round to more.
func add(to *float64, share float64) { *to = min(1, *to+share) }

// Conditions turns a layering and its physics into what the regression sees of it, by name.
func (p *Physics) Conditions(l *Layering, where Where) calib.Conditions {
	var k calib.Known
	pair := p.see(l, &k)
	k.Features.LnThickness, k.Features.Stirring = math.Log(p.Flow.Thickness), sensitivity(math.Log(p.Flow.StirredCubed))
	c := calib.Conditions{
		LnPhysics: p.LnDrive, PhysicsSD: k.PhysicsSD, Features: k.Features,
		Kiln: where.Kiln, Body: where.Body, Tester: where.Tester,
	}
	for i := range l.Layers {
		g := l.Layers[i].Glaze
		if s := &k.Glazes[i]; s.Weight > 0 {
			c.Glazes = append(c.Glazes, calib.Share{Name: g.Name, Weight: s.Weight, PriorSD: s.PriorSD})
		}
		if s := &k.Lots[i]; s.Weight > 0 {
			c.Lots = append(c.Lots, calib.Share{Name: g.Lot, Weight: s.Weight})
		}
	}
	if pair >= 0 {
		c.Pair = calib.Share{Name: calib.PairName(l.Layers[pair].Glaze.Name, l.Layers[pair+1].Glaze.Name), Weight: 1}
	}
	return c
}

// groups are the regression's groups of a glaze in a calibration.
type groups struct {
	in         *calib.Calibration
	glaze, lot calib.Group
}

// groupsIn finds the groups of a glaze by its names, and keeps them as long as it is the same calibration that asks.
func (d *Fired) groupsIn(c *calib.Calibration) *groups {
	if g := d.groups.Load(); g != nil && g.in == c {
		return g
	}
	g := &groups{in: c, glaze: c.Group(calib.Glaze, d.Glaze.Name)}
	if d.Glaze.Lot != "" {
		g.lot = c.Group(calib.Lot, d.Glaze.Lot)
	}
	d.groups.Store(g)
	return g
}

// known turns a layering and its physics into what the regression sees of it, by groups of the calibration, but for logarithms.
func (p *Physics) known(l *Layering, standing *standing, k *calib.Known) {
	pair := p.see(l, k)
	k.Kiln, k.Body, k.Tester = standing.kiln, standing.body, standing.tester
	for i := range l.Layers {
		g := l.Layers[i].groupsIn(standing.calibration)
		k.Glazes[i].Group, k.Lots[i].Group = g.glaze, g.lot
	}
	if k.Paired = pair >= 0; k.Paired {
		k.PairOf = [2]calib.Group{k.Glazes[pair].Group, k.Glazes[pair+1].Group}
	}
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
			shares[i] = max(inStack[p.index[i]], minShare)
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

// pair gives the lower of the two neighbours whose mixed zone carries most of the flow, -1 for none.
func (p *Physics) pair(l *Layering) int {
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
	return at
}
