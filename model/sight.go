package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/melt"
)

// Where says whose ware in whose kiln it is; what is not known is empty.
type Where struct{ Kiln, Body, Tester string }

// sight is what the regression sees of a layering, names apart.
type sight struct {
	features calib.Features
	// glaze and lot are the shares of the layers' glazes and lots in the drive; a glaze or lot that comes again is counted where it came first.
	glaze, lot [film.MaxLayers]float64
	// pair is the lower of the two neighbours whose mixed zone carries most of the flow, -1 for none. A glaze alone has no pair. Which of
	// the two is on top does not matter here: what the order does is in the physics.
	pair int
}

// see turns a layering and its physics into what the regression sees of it, but for logarithms.
func (p *Physics) see(l *Layering) sight {
	s := sight{pair: p.pair(l)}
	c := &s.features
	c.Reduction, c.LnCooling = l.Layers[0].reduction, l.Layers[0].lnCooling
	if p.stack.Len() > 1 {
		c.Layered = 1
		under, over := &l.Layers[0], &l.Layers[len(l.Layers)-1]
		c.LnContrast = math.Ln10 * (over.ReferenceLog10 - under.ReferenceLog10)
	}
	shares := p.glazeShares(l)
	for i := range l.Layers {
		layer := &l.Layers[i]
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
		first, firstLot := i, i
		for k := range i {
			other := l.Layers[k].Glaze
			if other == g || other.Name == g.Name {
				first = min(first, k)
			}
			if other == g || other.Lot == g.Lot {
				firstLot = min(firstLot, k)
			}
		}
		s.glaze[first] = math.Min(1, s.glaze[first]+share)
		if g.Lot != "" {
			s.lot[firstLot] = math.Min(1, s.lot[firstLot]+share)
		}
	}
	c.Matte, c.Described = math.Min(1, c.Matte), math.Min(1, c.Described) // shares that sum to 1 may round to more
	return s
}

// Conditions turns a layering and its physics into what the regression sees of it, by name.
func (p *Physics) Conditions(l *Layering, where Where) calib.Conditions {
	s := p.see(l)
	s.features.LnThickness, s.features.Stirring = math.Log(p.Flow.Thickness), math.Log(p.stirredRatio())/film.StirringStep
	c := calib.Conditions{
		LnPhysics: p.LnDrive, PhysicsSD: p.LnDriveSD, Features: s.features,
		Kiln: where.Kiln, Body: where.Body, Tester: where.Tester,
	}
	for i := range l.Layers {
		g := l.Layers[i].Glaze
		if s.glaze[i] > 0 {
			c.Glazes = append(c.Glazes, calib.Share{Name: g.Name, Weight: s.glaze[i], PriorSD: l.Layers[i].ViscositySD})
		}
		if s.lot[i] > 0 {
			c.Lots = append(c.Lots, calib.Share{Name: g.Lot, Weight: s.lot[i]})
		}
	}
	if s.pair >= 0 {
		c.Pair = calib.Share{Name: calib.PairName(l.Layers[s.pair].Glaze.Name, l.Layers[s.pair+1].Glaze.Name), Weight: 1}
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
	s := p.see(l)
	k.PhysicsSD, k.Features = p.LnDriveSD, s.features
	k.Kiln, k.Body, k.Tester, k.Layers = standing.kiln, standing.body, standing.tester, len(l.Layers)
	for i := range l.Layers {
		g := l.Layers[i].groupsIn(standing.calibration)
		k.Glazes[i] = calib.KnownShare{Group: g.glaze, Weight: s.glaze[i], PriorSD: l.Layers[i].ViscositySD}
		k.Lots[i] = calib.KnownShare{Group: g.lot, Weight: s.lot[i]}
	}
	if k.Paired = s.pair >= 0; k.Paired {
		k.PairOf = [2]calib.Group{k.Glazes[s.pair].Group, k.Glazes[s.pair+1].Group}
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
