package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
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
	if err := q.work(p); err != nil {
		return calib.Conditions{}, err
	}
	return p.conditions(&q.Layering, q.Where), nil
}

// work works out the physics of a question.
func (q *Question) work(p *Physics) error {
	q.stand()
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
	if err := q.work(p); err != nil {
		return Estimate{}, err
	}
	r, _, err := q.predict(p)
	if err != nil {
		return Estimate{}, err
	}
	run := func(lnDrive float64) float64 { return q.Wall.Run(math.Exp(lnDrive)) }
	return Estimate{run(r.Median[0]), run(r.LnLow[0]), run(r.LnHigh[0]), r.Exceeding[0], run(r.LnNeeded[0])}, r.Fault(0)
}

// predict asks the regression.
func (q *Question) predict(p *Physics) (*calib.Predictions, []*calib.CoatIn, error) {
	if p.predictions[p.layers] == nil {
		p.predictions[p.layers] = calib.NewPredictions(p.layers, 1)
	}
	r, f := p.predictions[p.layers], p.features(&q.Layering)
	s := q.setting(q.Layers[0].Fired, p.layers > 1)
	r.Set(s, q.standing.level, q.standing.lnClearance)
	order := math.Tanh(f.LnContrast / 2)
	r.LnPhysics[0], r.PhysicsSD[0] = p.LnDrive, p.LnDriveSD
	r.ConeExcess[0], r.Thickness[0], r.Order[0], r.Contrast[0], r.Stirring[0] = f.ConeExcess, f.LnThickness-math.Log(0.5e-3), order, math.Abs(order), f.Stirring
	r.Matte[0], r.Described[0] = f.Matte, f.Described
	if err := r.Check(0, f.LnContrast); err != nil {
		return nil, nil, err
	}
	coats := p.coats[:p.layers]
	for i := range coats {
		coats[i] = q.Layers[p.first[i]].coatIn(s)
		r.Coats[i].Weight[0] = p.weight[i]
		r.Coats[i].Put(coats[i], 0, 1)
		for k := range i {
			r.PutAmong(i, k, 0, coats[i], coats[k])
		}
	}
	if pair := p.pair(&q.Layering); pair < 0 {
		r.Alone(0)
	} else {
		r.Pair(0, coats, pair, pair+1)
	}
	r.Run(1)
	return r, coats, nil
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
