package model

import (
	"math"

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

	standing standing
}

// standing is what of a question stays the same whatever its layers are.
type standing struct {
	wall        Wall
	where       Where
	calibration *calib.Calibration
	tolerated   float64

	kiln, body, tester calib.Group
	level              calib.Level // of the clearance needed
	lnClearance        float64     // ln of the drive that uses up the clearance
}

// stand works out what stays the same, unless that is done.
func (q *Question) stand() {
	s, c := &q.standing, q.Calibration
	if s.wall == q.Wall && s.where == q.Where && s.calibration == c && s.tolerated == q.Tolerated {
		return
	}
	*s = standing{
		wall: q.Wall, where: q.Where, calibration: c, tolerated: q.Tolerated,
		kiln: c.Group(calib.Kiln, q.Where.Kiln), body: c.Group(calib.Body, q.Where.Body), tester: c.Group(calib.Tester, q.Where.Tester),
		level: calib.NewLevel(1 - q.Tolerated), lnClearance: q.LnDrive(q.Wall.Clearance()),
	}
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
	p.LnDrive = math.Log(p.Drive)
	return p.Conditions(&q.Layering, q.Where), nil
}

// work works out the physics of a question, but for the logarithm of the drive.
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
	band := q.Wall.Band()
	held, err := film.HeldBand(p.tension(&q.Layering), p.density(), q.Wall.Sin(), p.Flow.Thickness, film.DefaultGrip)
	if err != nil {
		return err
	}
	p.Held = min(1, held/band)
	p.Drive = max(p.Flow.Drive*film.Retained(band, held), minDrive)
	return nil
}

// density is the mean density of the film in kg/m³.
func (p *Physics) density() float64 {
	var mass float64
	for i := range p.stack.Len() {
		layer := p.stack.Layer(i)
		mass += layer.Density * layer.Thickness
	}
	return mass / p.Flow.Thickness
}

// tension is the surface tension of the outermost layer in N/m.
func (p *Physics) tension(l *Layering) float64 { return l.Layers[len(l.Layers)-1].Tension }

// Estimate answers a question in numbers alone.
func (q *Question) Estimate(p *Physics) (Estimate, error) {
	a := p.one.batch()
	if err := q.ask(p, &a, 0); err != nil {
		return Estimate{}, err
	}
	var answer [1]Estimate
	_, err := q.answer(answer[:], &a)
	p.LnDrive = a.known[0].LnPhysics
	return answer[0], err
}
