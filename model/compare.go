package model

import (
	"math"
	"slices"
	"sync"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
	"github.com/catchline/catchline/model/melt"
)

// comparisons ask the question of a score about its layers and about others: first all is asked, then all is answered.
type comparisons struct {
	question Question
	physics  Physics
	blends   []blended // that came up
	layers   []Layer   // of what was asked
	asked    []comparison
	batches  [film.MaxLayers + 1]*batch // by the number of layers
	lanes    []*comparison              // of a batch
	answers  [compared]Estimate
}

// compared is how many comparisons are answered at a time: a kernel takes no more at once, and a score of two layers has no more.
const compared = 8

// comparison is a layering that was asked about.
type comparison struct {
	Layering
	setting  *calib.Setting // nil: it is not, or no longer, to be a lane of a batch
	answered bool
	Estimate
}

// spare comparisons: they need more room than all else of a score.
var spare = sync.Pool{New: func() any { return new(comparisons) }}

// blended is a blend of two glazes, half and half, in one firing.
type blended struct {
	glazes   [2]*Fired
	flow     float64
	oxidised melt.VFT // see oxidisedBlend; not set where a glaze is described
}

// half is halves.half: most comparisons have the blends of the score itself.
func (c *comparisons) half(l *Layering, i int) (flow float64, ok bool) {
	under, over := l.Layers[i].Fired, l.Layers[i+1].Fired
	for k := range c.blends {
		if b := &c.blends[k]; b.glazes == [2]*Fired{under, over} || b.glazes == [2]*Fired{over, under} {
			return b.flow, true
		}
	}
	blend := blended{glazes: [2]*Fired{under, over}}
	if under.described+over.described == 0 {
		blend.oxidised = c.oxidised(under, over)
		blend.flow = oxidisedFlow(&blend.oxidised, under, over, 0.5)
	} else {
		blend.flow = blendFlow(under, over, 0.5)
	}
	c.blends = append(c.blends, blend)
	return blend.flow, true
}

// oxidised is oxidisedBlend of halves: the same blend may have come up in another firing.
func (c *comparisons) oxidised(under, over *Fired) melt.VFT {
	for k := range c.blends {
		if a, b := c.blends[k].glazes[0].Glaze, c.blends[k].glazes[1].Glaze; a == under.Glaze && b == over.Glaze || a == over.Glaze && b == under.Glaze {
			return c.blends[k].oxidised
		}
	}
	return oxidisedBlend(under, over, 0.5)
}

// free gives them back, without what they hold on to.
func (c *comparisons) free() {
	clear(c.blends)
	clear(c.layers)
	clear(c.asked)
	c.question, c.blends, c.layers, c.asked = Question{}, c.blends[:0], c.layers[:0], c.asked[:0]
	spare.Put(c)
}

// keep gives layers that are the comparisons' own, to be changed.
func (c *comparisons) keep(layers ...Layer) []Layer {
	first := len(c.layers)
	c.layers = append(c.layers, layers...)
	return c.layers[first:len(c.layers):len(c.layers)]
}

// ask about other layers and another stirring.
func (c *comparisons) ask(layers []Layer, stirring float64) {
	one := comparison{Layering: Layering{Layers: layers, Stirring: stirring, halves: c}}
	if !one.odd() {
		one.setting = c.question.setting(layers[0].Fired, len(layers) > 1)
	}
	c.asked = append(c.asked, one)
}

// odd says that something of the layers may be refused, or that neighbours are alike.
func (l *Layering) odd() bool {
	if len(l.Layers) > film.MaxLayers || !(l.Stirring >= 0 && l.Stirring <= film.MaxStirring) {
		return true
	}
	for i := range l.Layers {
		if l.Layers[i].odd() || i > 0 && l.Layers[i].alike(&l.Layers[i-1]) {
			return true
		}
	}
	return false
}

// answer answers all that was asked, as the lanes of batches where that is possible.
func (c *comparisons) answer() (err error) {
	for i := range c.asked {
		for c.asked[i].setting != nil {
			c.answerLike(i)
		}
	}
	for i := range c.asked {
		one := &c.asked[i]
		if one.answered {
			continue
		}
		c.question.Layering = one.Layering
		if one.Estimate, err = c.question.Estimate(&c.physics); err != nil {
			return err
		}
	}
	return nil
}

// answerLike answers one, and with it those that come after it and are of the same setting and as many layers.
func (c *comparisons) answerLike(first int) {
	setting, layers := c.asked[first].setting, len(c.asked[first].Layers)
	a := c.batches[layers]
	if a == nil {
		a = newBatch(film.NewStacks(layers, compared), compared)
		c.batches[layers] = a
	}
	a.set(&c.question, setting)
	c.lanes = c.lanes[:0]
	for i := first; i < len(c.asked) && len(c.lanes) < compared; i++ {
		if one := &c.asked[i]; one.setting == setting && len(one.Layers) == layers {
			one.put(a, len(c.lanes))
			one.setting = nil
			c.lanes = append(c.lanes, one)
		}
	}
	n := len(c.lanes)
	a.films.Mix(n)
	for lane, one := range c.lanes {
		one.answered = one.blend(a, lane)
	}
	a.films.Flow(c.question.Wall.Sin(), n)
	a.see(n)
	for lane, one := range c.lanes {
		for i := range one.Layers {
			a.coat(lane, i, &one.Layers[i])
		}
		a.pair(lane)
	}
	a.answer(c.answers[:n], c.question.Wall)
	for lane, one := range c.lanes {
		one.answered = one.answered && !a.faulty(lane)
		one.Estimate = c.answers[lane]
	}
}

// put puts the layers into a lane.
func (l *Layering) put(a *batch, lane int) {
	for i := range l.Layers {
		layer := l.Layers[i].film()
		a.films.Put(lane, i, &layer)
		a.sights.put(lane, i, &l.Layers[i])
	}
	a.films.Stir(l.Stirring, lane, 1)
	a.sights.outermost(lane, &l.Layers[0], &l.Layers[len(l.Layers)-1])
}

// blend puts the blends of the mixed zones into a lane; ok is false where one is out of range.
func (l *Layering) blend(a *batch, lane int) (ok bool) {
	ok = true
	for i := range a.films.Zones {
		z := &a.films.Zones[i]
		z.Blend[lane] = l.blendFlow(i, z.UnderFraction[lane])
		ok = ok && film.CheckFlow(z.Blend[lane]) == nil
	}
	return ok
}

// compare asks about the layers of the score, how far each glaze runs alone, and what the score would be without each of its drivers.
func (s *Score) compare(c *comparisons, middling *Fired) error {
	c.ask(s.Question.Layers, s.Question.Stirring)
	s.askSolo(c)
	if err := s.askDrivers(c, middling); err != nil {
		return err
	}
	if err := s.explain(c); err != nil {
		return err
	}
	if err := c.answer(); err != nil {
		return err
	}
	alone, without := c.asked[1:1+len(s.Solo)], c.asked[1+len(s.Solo):]
	for i := range alone {
		s.Solo[i].Median, s.Solo[i].P10, s.Solo[i].P90 = alone[i].Median, alone[i].P10, alone[i].P90
	}
	for i := range without {
		s.Drivers[i].Run = s.Median - without[i].Median
	}
	return nil
}

// explain answers what was asked first, the question itself, with all that explains it but for the comparisons.
func (s *Score) explain(c *comparisons) (err error) {
	self := &c.asked[0]
	if self.setting != nil {
		c.answerLike(0)
	}
	var a *batch
	if self.answered {
		a = c.batches[len(self.Layers)]
		if err := s.Physics.read(&self.Layering, a, 0); err != nil {
			return err
		}
	} else {
		if a, err = c.question.work(&c.physics); err != nil {
			return err
		}
		if self.Estimate, err = c.question.answer(&c.physics, a); err != nil {
			return err
		}
		self.answered = true
		s.Physics = c.physics
		s.Physics.room = nil // which is used again
	}
	s.Estimate = self.Estimate
	s.Prediction, s.Evidence = a.explain(0, &self.Layering, &s.Physics, maxEvidence)
	return nil
}

// askSolo asks about each glaze alone, as thick as the whole layering.
func (s *Score) askSolo(c *comparisons) {
	q := s.Question
	var total, variance float64
	for i := range q.Layers {
		h := q.Layers[i].Thickness
		total += h.Metres
		variance += h.Metres * h.RelativeSD * h.Metres * h.RelativeSD
	}
	h := film.Thickness{Metres: total, RelativeSD: math.Sqrt(variance) / total}
	s.Solo = make([]SoloRun, 0, len(q.Layers))
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if comesBefore(q.Layers, i) {
			continue
		}
		s.Solo = append(s.Solo, SoloRun{Glaze: f.Glaze.Name})
		c.ask(c.keep(Layer{f, h}), q.Stirring)
	}
}

// comesBefore says whether the glaze of layer i is in a layer before it too.
func comesBefore(layers []Layer, i int) bool {
	for k := range i {
		if layers[k].Fired == layers[i].Fired {
			return true
		}
	}
	return false
}

// askDrivers asks about the layers without each of the drivers.
func (s *Score) askDrivers(c *comparisons, middling *Fired) error {
	q := s.Question
	s.Drivers = make([]Driver, 0, len(q.Layers)+mostDrivers)
	against := func(kind DriverKind, glaze string, layers []Layer, stirring float64) {
		s.Drivers = append(s.Drivers, Driver{Kind: kind, Glaze: glaze})
		c.ask(layers, stirring)
	}
	if len(q.Layers) > 1 {
		thinned, reversed := c.keep(q.Layers...), c.keep(q.Layers...)
		thin(thinned)
		slices.Reverse(reversed)
		against(DriverThickness, "", thinned, q.Stirring)
		against(DriverOrder, "", reversed, q.Stirring)
	}
	if slices.ContainsFunc(q.Layers, func(l Layer) bool { return !l.alike(&q.Layers[0]) }) {
		against(DriverBlend, "", q.Layers, 0)
	}
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if middling == nil || f == middling || comesBefore(q.Layers, i) {
			continue
		}
		other := c.keep(q.Layers...)
		replace(other, f, middling)
		against(DriverGlaze, f.Glaze.Name, other, q.Stirring)
	}
	cooler := c.keep(q.Layers...)
	if ok, err := cool(cooler); err != nil || !ok {
		return err
	}
	against(DriverHeatWork, "", cooler, q.Stirring)
	return nil
}

// mostDrivers is how many there are at most, those of a kind for each glaze apart.
const mostDrivers = 5

// replace puts another glaze in the place of one.
func replace(layers []Layer, of, other *Fired) {
	for i := range layers {
		if layers[i].Fired == of {
			layers[i].Fired = other
		}
	}
}

// thin thins the layers alike until the whole is as thick as the thickest of them was.
func thin(layers []Layer) {
	var total, thickest float64
	for i := range layers {
		total += layers[i].Thickness.Metres
		thickest = max(thickest, layers[i].Thickness.Metres)
	}
	for i := range layers {
		layers[i].Thickness.Metres *= thickest / total
	}
}

// cool fires the layers one cone less; ok is false where there is no cone below.
func cool(layers []Layer) (ok bool, err error) {
	for i := range layers {
		cooler, err := layers[i].coneLess()
		if cooler == nil {
			return false, err
		}
		layers[i].Fired = cooler
	}
	return true, nil
}
