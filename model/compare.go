package model

import (
	"math"
	"slices"

	"github.com/catchline/catchline/model/film"
)

// comparison asks a question again, about other layers and another stirring.
type comparison struct {
	question Question
	physics  Physics
}

// with answers the question about other layers and another stirring.
func (c *comparison) with(layers []Layer, stirring float64) (Estimate, error) {
	c.question.Layering = Layering{Layers: layers, Stirring: stirring}
	return c.question.Estimate(&c.physics)
}

// soloRuns is how far each glaze of the layering runs alone, as thick as the whole.
func (q *Question) soloRuns(c *comparison) ([]SoloRun, error) {
	var total, variance float64
	for i := range q.Layers {
		total += q.Layers[i].Thickness.Metres
		variance += q.Layers[i].variance()
	}
	h := film.Thickness{Metres: total, RelativeSD: math.Sqrt(variance) / total}
	var runs []SoloRun
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if comesBefore(q.Layers, i) {
			continue
		}
		e, err := c.with([]Layer{{f, h}}, q.Stirring)
		if err != nil {
			return nil, err
		}
		runs = append(runs, SoloRun{f.Glaze.Name, e.Median, e.P10, e.P90})
	}
	return runs, nil
}

// comesBefore says whether the glaze of layer i is in a layer before it too.
func comesBefore(layers []Layer, i int) bool {
	return slices.ContainsFunc(layers[:i], func(l Layer) bool { return l.Fired == layers[i].Fired })
}

// drivers are what makes the layering run that far, the correction apart: each by the run without it.
func (q *Question) drivers(c *comparison, run float64, median *Fired) (drivers []Driver, err error) {
	without := func(kind DriverKind, glaze string, layers []Layer, stirring float64) {
		var e Estimate
		if err == nil {
			e, err = c.with(layers, stirring)
		}
		drivers = append(drivers, Driver{kind, glaze, run - e.Median})
	}
	if len(q.Layers) > 1 {
		without(DriverThickness, "", thinned(q.Layers), q.Stirring)
		reversed := slices.Clone(q.Layers)
		slices.Reverse(reversed)
		without(DriverOrder, "", reversed, q.Stirring)
	}
	if slices.ContainsFunc(q.Layers, func(l Layer) bool { return !l.alike(&q.Layers[0]) }) {
		without(DriverBlend, "", q.Layers, 0)
	}
	for i := range q.Layers {
		f := q.Layers[i].Fired
		if median == nil || f == median || comesBefore(q.Layers, i) {
			continue
		}
		without(DriverGlaze, f.Glaze.Name, replaced(q.Layers, f, median), q.Stirring)
	}
	cooler, coolerErr := cooler(q.Layers)
	if coolerErr != nil {
		return nil, coolerErr
	}
	if cooler != nil {
		without(DriverHeatWork, "", cooler, q.Stirring)
	}
	return drivers, err
}

// replaced are the layers with another glaze in the place of one.
func replaced(layers []Layer, of, other *Fired) []Layer {
	layers = slices.Clone(layers)
	for i := range layers {
		if layers[i].Fired == of {
			layers[i].Fired = other
		}
	}
	return layers
}

// thinned are the layers thinned alike until the whole is as thick as the thickest of them was.
func thinned(layers []Layer) []Layer {
	layers = slices.Clone(layers)
	var total, thickest float64
	for i := range layers {
		total += layers[i].Thickness.Metres
		thickest = max(thickest, layers[i].Thickness.Metres)
	}
	for i := range layers {
		layers[i].Thickness.Metres *= thickest / total
	}
	return layers
}

// cooler are the layers fired one cone less; nil where there is no cone below.
func cooler(layers []Layer) ([]Layer, error) {
	layers = slices.Clone(layers)
	for i := range layers {
		less, err := layers[i].coneLess()
		if less == nil {
			return nil, err
		}
		layers[i].Fired = less
	}
	return layers, nil
}
