package model

import (
	"math"
	"sync"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
)

// Estimate is how far a layering will run and how likely that is too far. Lengths in m along the wall.
type Estimate struct {
	Median, P10, P90 float64
	// Exceed is the probability of running further than the clearance.
	Exceed float64
	// ClearanceNeeded is the clearance that is exceeded with the tolerated probability.
	ClearanceNeeded float64
}

// Question is all that a score is asked about.
type Question struct {
	Layering
	Wall        Wall
	Where       Where
	Calibration *calib.Calibration
	// Tolerated is the probability of exceeding the clearance that is tolerated, 0.001 to 0.5.
	Tolerated float64

	tolerated *calib.Level // in a sheet: 1 - Tolerated, made ready
}

// Limits of the tolerated probability.
const (
	MinTolerated = 0.001
	MaxTolerated = 0.5
)

// check refuses a question that cannot be answered; the layers are checked by the physics.
func (q *Question) check() error {
	if len(q.Layers) == 0 {
		return fieldError("layers", "none", "1 to 8")
	}
	if !(q.Tolerated >= MinTolerated && q.Tolerated <= MaxTolerated) {
		return outside("tolerated_risk", q.Tolerated, MinTolerated, MaxTolerated, "")
	}
	return nil
}

// Conditions works out the physics of a question, and what the regression sees of it.
func (q *Question) Conditions(p *Physics) (calib.Conditions, error) {
	if err := q.work(p); err != nil {
		return calib.Conditions{}, err
	}
	return p.Conditions(&q.Layering, q.Where), nil
}

// work works out the physics of a question.
func (q *Question) work(p *Physics) error {
	if err := q.check(); err != nil {
		return err
	}
	if err := p.Work(&q.Layering, q.Wall.Sin()); err != nil {
		return err
	}
	return p.hold(q)
}

// hold takes off the part of the drive that surface tension holds back, by film.Retained.
func (p *Physics) hold(q *Question) error {
	held, err := film.HeldBand(p.tension(&q.Layering), p.density(), q.Wall.Sin(), p.Flow.Thickness, film.DefaultAngles)
	if err != nil {
		return err
	}
	p.Held = math.Min(1, held/q.Wall.Band())
	p.LnDrive = math.Log(math.Max(p.Flow.Drive*film.Retained(q.Wall.Band(), held), minDrive))
	return nil
}

// density is the mean density of the film in kg/m³.
func (p *Physics) density() float64 {
	var mass float64
	for i := range p.stack.Len() {
		layer := p.stack.Layer(i)
		mass += layer.Density * layer.Thickness
	}
	return mass / p.stack.Thickness()
}

// tension is the surface tension of the outermost layer in N/m.
func (p *Physics) tension(l *Layering) float64 { return l.Layers[len(l.Layers)-1].Tension }

// Estimate answers a question in numbers alone.
func (q *Question) Estimate(p *Physics) (Estimate, error) {
	if err := q.work(p); err != nil {
		return Estimate{}, err
	}
	g := groupsOf(q.Calibration, &q.Layering, q.Where)
	return q.ask(p, &g)
}

// ask asks the calibration about physics that is worked out.
func (q *Question) ask(p *Physics, g *groups) (Estimate, error) {
	known := p.known(&q.Layering, g)
	y, err := q.Calibration.PredictKnown(&known)
	if err != nil {
		return Estimate{}, err
	}
	return q.estimate(&y), nil
}

// ninth is the upper end of the 80 % interval.
var ninth = sync.OnceValue(func() *calib.Level { return calib.NewLevel(0.9) })

// estimate carries a distribution of ln X through the wall. The run rises with the drive, so quantiles map to quantiles.
func (q *Question) estimate(y *calib.Prediction) Estimate {
	needed := 0.0
	if q.tolerated != nil {
		needed = y.ReachAt(q.tolerated)
	} else {
		needed = y.Reach(1 - q.Tolerated)
	}
	median, wide := math.Exp(y.Median()), math.Exp(y.ReachAt(ninth()))
	return Estimate{
		Median:          q.Wall.Run(median),
		P10:             q.Wall.Run(median / wide), // the distribution is even about its median
		P90:             q.Wall.Run(median * wide),
		Exceed:          y.Exceeds(q.LnDrive(q.Wall.Clearance())),
		ClearanceNeeded: q.Wall.Run(median * math.Exp(needed)),
	}
}
