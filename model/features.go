package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/melt"
)

// Where says whose ware in whose kiln it is; what is not known is empty.
type Where struct{ Kiln, Body, Tester string }

// features are what the regression sees of a layering, but for its glazes. Glazes count by their weights; of like
// neighbours the first stands for all.
func (p *Physics) features(l *Layering) calib.Features {
	bottom, top := &l.Layers[0], &l.Layers[len(l.Layers)-1]
	f := calib.Features{
		Reduction: bottom.reduction, LnCooling: bottom.lnCooling,
		LnThickness: math.Log(p.Flow.Thickness), Stirring: p.Flow.Stirring,
	}
	for i := range p.layers {
		layer, weight := &l.Layers[p.first[i]], p.weight[i]
		f.ConeExcess += weight * layer.coneExcess
		f.Matte += weight * layer.matte
		f.Described += weight * layer.described
	}
	f.Matte, f.Described = min(1, f.Matte), min(1, f.Described) // weights that sum to 1 may round to more
	f.Layered = p.layered()
	f.LnContrast = f.Layered * math.Ln10 * (top.ReferenceLog10 - bottom.ReferenceLog10)
	return f
}

// layered is 0 for one glaze alone and 1 for two that have equal parts in the drive: 2 (1 - Σ w²) of their weights,
// at most 1. So a trace of another glaze is next to none.
func (p *Physics) layered() float64 {
	alike := 0.0
	for i := range p.layers {
		alike += p.weight[i] * p.weight[i]
	}
	return min(max(2*(1-alike), 0), 1)
}

// minShare keeps every glaze of a layering in the regression, however little of the flow is its own.
const minShare = 1e-6

// weigh splits the drive among the layers that differ from their neighbours: each has its own share and, of the mixed
// zones beside it, the part of their volume that is its melt. The weights sum to 1.
func (p *Physics) weigh() {
	total := 0.0
	for i := range p.layers {
		share := p.Flow.LayerShare[i]
		if i < p.layers-1 {
			share += p.Flow.ZoneShare[i] * p.stack.Zone(i).UnderFraction
		}
		if i > 0 {
			share += p.Flow.ZoneShare[i-1] * (1 - p.stack.Zone(i-1).UnderFraction)
		}
		p.weight[i] = max(share, minShare)
		total += p.weight[i]
	}
	for i := range p.layers {
		p.weight[i] = min(1, p.weight[i]/total) // weights that sum to 1 may round to more
	}
}

// matteness is what a surface counts for in calib.Features.Matte.
func matteness(s melt.Surface) float64 {
	switch s {
	case melt.Matte:
		return 1
	case melt.Satin:
		return 0.5
	}
	return 0
}

// ask turns the physics of a question, just worked out, into what its calibration is asked about.
func (p *Physics) ask(q *Question) {
	s := &p.subject
	f := p.features(&q.Layering)
	s.Begin(q.Calibration, p.LnDrive, p.LnDriveSD, &f)
	s.AddPlace(q.standing.kiln, q.standing.body, q.standing.tester)
	for i := range p.layers {
		s.AddGlaze(q.Layers[p.first[i]].known(q.Calibration), p.weight[i])
	}
	if i := p.pair(&q.Layering); i >= 0 {
		s.AddPair(q.Layers[p.first[i]].known(q.Calibration), q.Layers[p.first[i+1]].known(q.Calibration), p.layered())
	}
	s.SetBead(q.standing.bead, 0)
}

// known is the glaze as a calibration knows it, which is kept as long as it is the same that asks.
func (d *Fired) known(c *calib.Calibration) *calib.KnownGlaze {
	g := d.knownGlaze.Load()
	if g == nil || !g.Of(c) {
		g = c.KnownGlaze(d.Glaze.Name, d.Glaze.Lot, d.ViscositySD)
		d.knownGlaze.Store(g)
	}
	return g
}

// conditions turns a layering and its physics, which a question has just worked out, into what the regression sees of
// it, by name. A glaze or lot that comes again is counted where it came first.
func (p *Physics) conditions(l *Layering, where Where) calib.Conditions {
	c := calib.Conditions{
		LnPhysics: p.LnDrive, PhysicsSD: p.LnDriveSD, Features: p.features(l),
		Kiln: where.Kiln, Body: where.Body, Tester: where.Tester,
	}
	c.Bead = p.Course.bead(where.Body, p.Course.Run(p.Drive))
	for i := range p.layers {
		layer := &l.Layers[p.first[i]]
		share := calib.Share{Name: layer.Glaze.Name, Weight: p.weight[i], PriorSD: layer.ViscositySD}
		c.Glazes = addShare(c.Glazes, share)
		if lot := layer.Glaze.Lot; lot != "" {
			c.Lots = addShare(c.Lots, calib.Share{Name: lot, Weight: p.weight[i]})
		}
	}
	if i := p.pair(l); i >= 0 {
		c.Pair = calib.Share{Name: calib.PairName(l.Layers[p.first[i]].Glaze.Name, l.Layers[p.first[i+1]].Glaze.Name), Weight: p.layered()}
	}
	return c
}

// bead is how much the drive that a run in m shows depends on the bead at the edge of a body, for the regression.
func (c *Course) bead(body string, run float64) calib.Share {
	x := min(c.BeadElasticity(run), 1)
	if !(x > 0) {
		return calib.Share{}
	}
	return calib.Share{Name: beadOf(body), Weight: x}
}

// beadOf names the group of the bead on a body; bodies that nobody names are taken for one.
func beadOf(body string) string {
	if body == "" {
		return "of no name"
	}
	return body
}

// addShare adds a share to those of its name.
func addShare(to []calib.Share, s calib.Share) []calib.Share {
	for i := range to {
		if to[i].Name == s.Name {
			to[i].Weight = min(1, to[i].Weight+s.Weight) // shares that sum to 1 may round to more
			return to
		}
	}
	return append(to, s)
}

// pair gives the lower of the two neighbours whose mixed zone carries most of the flow, of those that are not of one
// glaze; -1 for none, as of a glaze alone. Which of the two is on top does not matter there: what the order does is in
// the physics.
func (p *Physics) pair(l *Layering) int {
	pair := -1
	for i := range p.layers - 1 {
		under, over := l.Layers[p.first[i]].Glaze, l.Layers[p.first[i+1]].Glaze
		if under == over || under.Name == over.Name {
			continue
		}
		if pair < 0 || p.Flow.ZoneShare[i] > p.Flow.ZoneShare[pair] {
			pair = i
		}
	}
	return pair
}
