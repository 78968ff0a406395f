package model

import (
	"math"
	"slices"

	"github.com/catchline/catchline/model/calib"
)

// Estimate is how far a layering will run and how likely that is too far. Lengths in m along the wall.
type Estimate struct {
	Median, P10, P90 float64
	// Exceedance is the probability of running further than the clearance.
	Exceedance float64
	// ClearanceNeeded is the clearance that is exceeded with the tolerated probability.
	ClearanceNeeded float64
	// UnderFired says that a glaze of the layering is, which does not run and says nothing of how it fires on.
	UnderFired bool
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

// standing holds the parts of a question that do not depend on its layers.
type standing struct {
	wall        Wall
	where       Where
	calibration *calib.Calibration

	kiln, body, tester, bead calib.Group
}

// stand works out what stays the same, unless that is done.
func (q *Question) stand() {
	s, c := &q.standing, q.Calibration
	if s.wall == q.Wall && s.where == q.Where && s.calibration == c {
		return
	}
	*s = standing{
		wall: q.Wall, where: q.Where, calibration: c,
		kiln: c.Group(calib.Kiln, q.Where.Kiln), body: c.Group(calib.Body, q.Where.Body), tester: c.Group(calib.Tester, q.Where.Tester),
		bead: c.Group(calib.Bead, beadOf(q.Where.Body)),
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
	return p.course(&q.Layering, q.Wall)
}

// Estimate answers a question in numbers alone.
func (q *Question) Estimate(p *Physics) (Estimate, error) {
	prediction, err := q.predict(p)
	if err != nil {
		return Estimate{}, err
	}
	return q.estimate(p, &prediction), nil
}

// predict works out the physics of a question and asks the regression what it makes of it.
func (q *Question) predict(p *Physics) (calib.Prediction, error) {
	if err := q.work(p); err != nil {
		return calib.Prediction{}, err
	}
	q.stand()
	p.ask(q)
	y, err := p.subject.Predict()
	if err != nil {
		return y, err
	}
	// What the bead at the edge counts for depends on the run: here on the median.
	x := p.Course.BeadElasticity(p.Course.Run(math.Exp(y.Median())))
	p.subject.SetBead(q.standing.bead, x)
	return y.At(x), nil
}

// estimate turns a prediction into an answer.
func (q *Question) estimate(p *Physics, y *calib.Prediction) Estimate {
	c, clearance := &p.Course, q.Wall.Clearance()
	atFoot := y.At(c.BeadElasticity(clearance))
	return Estimate{
		Median: c.Quantile(y, 0.5), P10: c.Quantile(y, 0.1), P90: c.Quantile(y, 0.9),
		Exceedance:      atFoot.Exceedance(c.LnDrive(clearance)),
		ClearanceNeeded: c.Quantile(y, 1-q.Tolerated),
		UnderFired:      slices.ContainsFunc(q.Layers, func(l Layer) bool { return l.underFired }),
	}
}

// Quantile is the quantile of the run in m for a prediction of ln drive, 0 < probability < 1. The run rises with the
// drive, so quantiles of ln X map to quantiles of the run; how much one depends on the bead at the edge is read where it
// falls.
func (c *Course) Quantile(y *calib.Prediction, probability float64) float64 {
	first := c.Run(math.Exp(y.Quantile(probability)))
	there := y.At(c.BeadElasticity(first))
	return c.Run(math.Exp(there.Quantile(probability)))
}
