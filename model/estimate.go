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

	level              *calib.Level // of the clearance needed
	lnClearance        float64      // ln of the drive that uses up the clearance
	kiln, body, tester calib.Group
	settings           [2]*calib.Setting // of a glaze alone and of layers, found last
}

// stand works out what stays the same, unless that is done.
func (q *Question) stand() {
	s, c := &q.standing, q.Calibration
	if s.wall == q.Wall && s.where == q.Where && s.calibration == c && s.tolerated == q.Tolerated {
		return
	}
	*s = standing{
		wall: q.Wall, where: q.Where, calibration: c, tolerated: q.Tolerated,
		level: calib.NewLevel(1 - q.Tolerated), lnClearance: q.LnDrive(q.Wall.Clearance()),
		kiln: c.Group(calib.Kiln, q.Where.Kiln), body: c.Group(calib.Body, q.Where.Body), tester: c.Group(calib.Tester, q.Where.Tester),
	}
}

// setting is what the regression is told of all layerings of the question that are fired as a glaze is and have layers that differ, or none.
func (q *Question) setting(d *Fired, layered bool) *calib.Setting {
	at := 0
	if layered {
		at = 1
	}
	known := &q.standing
	s := known.settings[at]
	if s == nil || s.Reduction != d.reduction || s.LnCooling != d.lnCooling {
		s = known.calibration.Setting(calib.Circumstances{
			Reduction: d.reduction, LnCooling: d.lnCooling, Layered: float64(at), Kiln: known.kiln, Body: known.body, Tester: known.tester,
		})
		known.settings[at] = s
	}
	return s
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
	if _, err := q.work(p); err != nil {
		return calib.Conditions{}, err
	}
	return p.conditions(&q.Layering, q.Where), nil
}

// work works out the physics of a question, and what a prediction is told but for the pair.
func (q *Question) work(p *Physics) (*batch, error) {
	q.stand()
	if err := q.check(); err != nil {
		return nil, err
	}
	if err := p.Work(&q.Layering, q.Wall.Sin()); err != nil {
		return nil, err
	}
	a, layers := p.room.batch(), q.Layers
	n, s := p.layers, a.sights
	a.set(q, q.setting(layers[0].Fired, n > 1))
	top := &layers[len(layers)-1]
	if err := film.CheckTension(top.Tension); err != nil {
		return nil, err
	}
	s.outermost(0, &layers[0], top)
	if n == 1 {
		s.overLog10[0] = s.underLog10[0]
	}
	last := -1
	for i := range layers {
		if at := p.index[i]; at == last { // like neighbours are one
			s.thicken(0, at, &layers[i])
		} else {
			s.put(0, at, &layers[i])
			last = at
		}
	}
	a.see(1)
	p.see(s, 0)
	return a, a.predictions.Check(0, math.Ln10*(s.overLog10[0]-s.underLog10[0]))
}

// Estimate answers a question in numbers alone.
func (q *Question) Estimate(p *Physics) (Estimate, error) {
	a, err := q.work(p)
	if err != nil {
		return Estimate{}, err
	}
	return q.answer(p, a)
}

// answer answers a question whose physics is worked out.
func (q *Question) answer(p *Physics, a *batch) (Estimate, error) {
	last := -1
	for i := range q.Layers {
		if at := p.index[i]; at != last {
			a.coat(0, at, &q.Layers[i])
			last = at
		}
	}
	a.pair(0)
	var answer [1]Estimate
	a.answer(answer[:], q.Wall)
	return answer[0], a.predictions.Fault(0)
}
