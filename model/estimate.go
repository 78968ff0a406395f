package model

import (
	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/internal/vector"
)

// Estimate is how far a layering will run and how likely that is too far. Lengths in m along the wall.
type Estimate struct {
	Median, P10, P90 float64
	// Exceedance is the probability of running further than the clearance.
	Exceedance float64
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

	lnClearance        float64 // ln of the drive that uses up the clearance
	kiln, body, tester calib.Group
}

// stand works out what stays the same, unless that is done.
func (q *Question) stand() {
	s, c := &q.standing, q.Calibration
	if s.wall == q.Wall && s.where == q.Where && s.calibration == c {
		return
	}
	*s = standing{
		wall: q.Wall, where: q.Where, calibration: c, lnClearance: q.LnDrive(q.Wall.Clearance()),
		kiln:   c.Group(calib.Kiln, q.Where.Kiln),
		body:   c.Group(calib.Body, q.Where.Body),
		tester: c.Group(calib.Tester, q.Where.Tester),
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
	return p.conditions(&q.Layering, q.Where), nil
}

// work works out the physics of a question.
func (q *Question) work(p *Physics) error {
	if err := q.check(); err != nil {
		return err
	}
	if err := p.Work(&q.Layering, q.Wall.Sin()); err != nil {
		return err
	}
	return p.hold(&q.Layering, q.Wall)
}

// Estimate answers a question in numbers alone.
func (q *Question) Estimate(p *Physics) (Estimate, error) {
	prediction, err := q.predict(p)
	if err != nil {
		return Estimate{}, err
	}
	return q.estimate(&prediction), nil
}

// predict works out the physics of a question and asks the regression what it makes of it.
func (q *Question) predict(p *Physics) (calib.Prediction, error) {
	if err := q.work(p); err != nil {
		return calib.Prediction{}, err
	}
	q.stand()
	p.ask(q)
	return p.subject.Predict()
}

// estimate turns a prediction into an answer. The run rises with the drive, so quantiles of ln X map to quantiles of
// the run.
func (q *Question) estimate(p *calib.Prediction) Estimate {
	median, reach, needed := p.Median(), p.Reach(0.9), p.Reach(1-q.Tolerated) // the distribution is even about its median
	runs := [...]float64{median, median - reach, median + reach, median + needed}
	vector.Exp(runs[:], runs[:])
	for i, drive := range runs {
		runs[i] = q.Wall.Run(drive)
	}
	return Estimate{runs[0], runs[1], runs[2], p.Exceedance(q.standing.lnClearance), runs[3]}
}
