package model

import (
	"math"
	"sync"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/internal/vector"
	"github.com/catchline/catchline/model/melt"
)

// Where says whose ware in whose kiln it is; what is not known is empty.
type Where struct{ Kiln, Body, Tester string }

// sights turn layerings and their physics into what the regression sees of them, a lane each; all have so many layers that differ from their
// neighbours. A glaze's weight is its share of the drive, mixed zones by the volume that each layer has in them.
type sights struct {
	layers []sightRows
	zones  []struct{ share, underFraction []float64 }

	thickness, drive      []float64 // of the film.Flow
	tension               []float64 // of the outermost layer, in N/m
	underLog10, overLog10 []float64 // log10 η at the reference temperature of the layer at the wall and of the outermost one

	lnDrive, heldDrive, held, lnThickness, thick, order, contrast, coneExcess, matte, described, physicsSD []float64

	program *sightProgram
	frame   *vector.Frame
}

// sightRows are what is seen of a layer.
type sightRows struct {
	share                        []float64 // of the drive, by its unmixed melt
	mass                         []float64 // kg/m²
	variance                     []float64 // of its thickness, in m²
	coneExcess, matte, described []float64 // see calib.Features
	weight                       []float64 // in the regression
}

type sightProgram struct {
	*vector.Program
	layers []struct{ share, mass, variance, coneExcess, matte, described, weight vector.Value }
	zones  []struct{ share, underFraction vector.Value }

	thickness, drive, tension, underLog10, overLog10                                                       vector.Value
	heldPer                                                                                                vector.Value
	lnDrive, heldDrive, held, lnThickness, thick, order, contrast, coneExcess, matte, described, physicsSD vector.Value
}

var sightPrograms = func() (out [film.MaxLayers + 1]func() *sightProgram) {
	for n := range out {
		out[n] = sync.OnceValue(func() *sightProgram { return newSightProgram(n) })
	}
	return out
}()

func newSightProgram(n int) *sightProgram {
	w := vector.NewWriter()
	p := &sightProgram{heldPer: w.Parameter(), thickness: w.Input(), drive: w.Input(), tension: w.Input(), underLog10: w.Input(), overLog10: w.Input()}
	p.layers = make([]struct{ share, mass, variance, coneExcess, matte, described, weight vector.Value }, n)
	for i := range p.layers {
		l := &p.layers[i]
		l.share, l.mass, l.variance, l.coneExcess, l.matte, l.described = w.Input(), w.Input(), w.Input(), w.Input(), w.Input(), w.Input()
	}
	p.zones = make([]struct{ share, underFraction vector.Value }, n-1)
	for i := range p.zones {
		p.zones[i].share, p.zones[i].underFraction = w.Input(), w.Input()
	}
	p.weigh(w)
	one, zero := w.Number(1), w.Number(0)
	mass, variance := zero, zero
	p.coneExcess, p.matte, p.described = zero, zero, zero
	for i := range p.layers {
		l := &p.layers[i]
		mass, variance = mass.Plus(l.mass), variance.Plus(l.variance)
		p.coneExcess = p.coneExcess.Plus(l.weight.Times(l.coneExcess))
		p.matte = p.matte.Plus(l.weight.Times(l.matte))
		p.described = p.described.Plus(l.weight.Times(l.described))
	}
	p.matte, p.described = p.matte.AtMost(one), p.described.AtMost(one) // shares that sum to 1 may round to more
	p.physicsSD = film.DriveSD(p.thickness, variance)
	held := film.HeldPart(p.tension, mass, p.heldPer)
	p.held = held.AtMost(one)
	p.heldDrive = p.drive.Times(film.Retained(w, held)).AtLeast(w.Number(minDrive))
	p.lnDrive, p.lnThickness = p.heldDrive.Log(), p.thickness.Log()
	p.thick = calib.WriteThickness(w, p.lnThickness)
	p.order, p.contrast = calib.WriteContrast(w, p.overLog10.Minus(p.underLog10).By(math.Ln10))
	w.Output(p.lnDrive, p.heldDrive, p.held, p.lnThickness, p.thick, p.order, p.contrast, p.coneExcess, p.matte, p.described, p.physicsSD)
	p.Program = w.Program()
	return p
}

// minShare keeps every glaze of a layering in the regression, however little of the flow is its own.
const minShare = 1e-6

// weigh splits the drive among the layers.
func (p *sightProgram) weigh(w *vector.Writer) {
	total, one := w.Number(0), w.Number(1)
	for i := range p.layers {
		share := p.layers[i].share
		if i < len(p.zones) {
			share = share.Plus(p.zones[i].share.Times(p.zones[i].underFraction))
		}
		if i > 0 {
			share = share.Plus(p.zones[i-1].share.Times(one.Minus(p.zones[i-1].underFraction)))
		}
		p.layers[i].weight = share.AtLeast(w.Number(minShare))
		total = total.Plus(p.layers[i].weight)
	}
	per := one.Over(total)
	for i := range p.layers {
		p.layers[i].weight = p.layers[i].weight.Times(per).AtMost(one) // shares that sum to 1 may round to more
		w.Output(p.layers[i].weight)
	}
}

// newSights makes room for so many lanes.
func newSights(layers, lanes int) *sights {
	p := sightPrograms[layers]()
	f := p.Frame(lanes)
	row := f.Row
	s := &sights{
		program: p, frame: f, thickness: row(p.thickness), drive: row(p.drive), tension: row(p.tension),
		underLog10: row(p.underLog10), overLog10: row(p.overLog10),
		lnDrive: row(p.lnDrive), heldDrive: row(p.heldDrive), held: row(p.held), lnThickness: row(p.lnThickness),
		thick: row(p.thick), order: row(p.order), contrast: row(p.contrast), coneExcess: row(p.coneExcess), matte: row(p.matte), described: row(p.described), physicsSD: row(p.physicsSD),
	}
	for _, l := range p.layers {
		s.layers = append(s.layers, sightRows{row(l.share), row(l.mass), row(l.variance), row(l.coneExcess), row(l.matte), row(l.described), row(l.weight)})
	}
	for _, z := range p.zones {
		s.zones = append(s.zones, struct{ share, underFraction []float64 }{row(z.share), row(z.underFraction)})
	}
	return s
}

// put tells what is seen of layer at of a lane.
func (s *sights) put(lane, at int, l *Layer) {
	to := &s.layers[at]
	to.variance[lane], to.mass[lane], to.coneExcess[lane] = l.variance(), l.Density*l.Thickness.Metres, l.coneExcess
	to.matte[lane], to.described[lane] = l.matte, l.described
}

// thicken adds a layer to layer at of a lane, which is the same melt.
func (s *sights) thicken(lane, at int, l *Layer) {
	to := &s.layers[at]
	to.variance[lane] += l.variance()
	to.mass[lane] += l.Density * l.Thickness.Metres
}

// outermost tells what is seen of the layer at the wall of a lane and of the outermost one.
func (s *sights) outermost(lane int, under, over *Layer) {
	s.tension[lane], s.underLog10[lane], s.overLog10[lane] = over.Tension, under.ReferenceLog10, over.ReferenceLog10
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

// variance of a layer's thickness, in m².
func (l *Layer) variance() float64 {
	sd := l.Thickness.Metres * l.Thickness.RelativeSD
	return sd * sd
}

// conditions turns a layering and its physics, which a question has just worked out, into what the regression sees of it, by name. A glaze or lot that
// comes again is counted where it came first.
func (p *Physics) conditions(l *Layering, where Where) calib.Conditions {
	s, bottom, top := p.room.batch().sights, &l.Layers[0], &l.Layers[len(l.Layers)-1]
	c := calib.Conditions{
		LnPhysics: p.LnDrive, PhysicsSD: p.LnDriveSD,
		Features: calib.Features{
			Reduction: bottom.reduction, LnCooling: bottom.lnCooling, ConeExcess: s.coneExcess[0], LnThickness: s.lnThickness[0],
			Stirring: p.Flow.Stirring, Matte: s.matte[0], Described: s.described[0],
		},
		Kiln: where.Kiln, Body: where.Body, Tester: where.Tester,
	}
	if p.layers > 1 {
		c.Features.Layered = 1
		c.Features.LnContrast = math.Ln10 * (top.ReferenceLog10 - bottom.ReferenceLog10)
	}
	last := -1
	for i := range l.Layers {
		at := p.index[i]
		if at == last {
			continue
		}
		last = at
		layer, weight := &l.Layers[i], s.layers[at].weight[0]
		g := layer.Glaze
		c.Glazes = addShare(c.Glazes, calib.Share{Name: g.Name, Weight: weight, PriorSD: layer.ViscositySD})
		if g.Lot != "" {
			c.Lots = addShare(c.Lots, calib.Share{Name: g.Lot, Weight: weight})
		}
	}
	if pair := p.pair(l); pair >= 0 {
		c.Pair = calib.Share{Name: calib.PairName(l.Layers[pair].Glaze.Name, l.Layers[pair+1].Glaze.Name), Weight: 1}
	}
	return c
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

// coatIn finds what a calibration knows of a glaze in a setting, and keeps it as long as it is the same that asks.
func (d *Fired) coatIn(s *calib.Setting) *calib.CoatIn {
	at := &d.coats[int(s.Layered)]
	t := at.Load()
	if t == nil || !t.In(s) {
		t = s.Coat(s.Calibration().NewCoat(d.Glaze.Name, d.Glaze.Lot, d.ViscositySD))
		at.Store(t)
	}
	return t
}

// pair gives the lower of the two layers that batch.neighbours would find, by name; -1 for none.
func (p *Physics) pair(l *Layering) int {
	best, at := 0.0, -1
	for i := 0; i+1 < len(l.Layers); i++ {
		k := p.index[i]
		if p.index[i+1] == k || sameName(l.Layers[i].Glaze, l.Layers[i+1].Glaze) {
			continue
		}
		if share := p.Flow.ZoneShare[k]; at < 0 || share > best {
			best, at = share, i
		}
	}
	return at
}

func sameName(a, b *Glaze) bool { return a == b || a.Name == b.Name }
