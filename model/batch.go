package model

import (
	"math"
	"slices"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/film"
)

// batch is layerings of one question, a lane each, that differ in their layers alone and have as many that differ from their neighbours. One
// formula is worked out for all of them before the next; a score by itself is a batch of one lane.
type batch struct {
	films       *film.Stacks
	sights      *sights
	predictions *calib.Predictions
	lnDrive     []float64 // median, low, high, needed, one after the other
	run         []float64 // of those

	coats     []*calib.CoatIn // of the lane that was put last
	setting   *calib.Setting  // that it is set to, and what of a question
	wall      Wall
	tolerated float64
}

// newBatch makes room for so many lanes, around films of so many layers.
func newBatch(films *film.Stacks, lanes int) *batch {
	layers := len(films.Layers)
	a := &batch{films: films, sights: newSights(layers, lanes), predictions: calib.NewPredictions(layers, lanes)}
	a.coats = make([]*calib.CoatIn, layers)
	a.lnDrive, a.run = make([]float64, 4*lanes), make([]float64, 4*lanes)
	return a
}

// set tells the batch the question and its setting.
func (a *batch) set(q *Question, s *calib.Setting) {
	if a.setting == s && a.wall == q.Wall && a.tolerated == q.Tolerated {
		return
	}
	a.setting, a.wall, a.tolerated = s, q.Wall, q.Tolerated
	a.sights.frame.Set(a.sights.program.heldPer, film.HeldPer(q.Wall.Sin(), q.Wall.Band(), film.DefaultGrip))
	a.predictions.Set(s, q.standing.level, q.standing.lnClearance)
}

// see works out what the regression sees of the first n lanes, whose flow is worked out.
func (a *batch) see(n int) {
	s, f := a.sights, a.films
	for i := range s.layers {
		move(s.layers[i].share, f.LayerShare[i], n)
	}
	for i := range s.zones {
		move(s.zones[i].share, f.ZoneShare[i], n)
		move(s.zones[i].underFraction, f.Zones[i].UnderFraction, n)
	}
	move(s.thickness, f.Thickness, n)
	move(s.drive, f.Drive, n)
	s.frame.Run(n)
	p := a.predictions
	move(p.LnPhysics, s.lnDrive, n)
	move(p.PhysicsSD, s.physicsSD, n)
	move(p.ConeExcess, s.coneExcess, n)
	move(p.Thickness, s.thick, n)
	move(p.Order, s.order, n)
	move(p.Contrast, s.contrast, n)
	move(p.Stirring, f.Stirring, n)
	move(p.Matte, s.matte, n)
	move(p.Described, s.described, n)
	for i := range s.layers {
		move(p.Coats[i].Weight, s.layers[i].weight, n)
	}
}

// coat tells the regression what it knows of layer at, after those under it in the same lane.
func (a *batch) coat(lane, at int, l *Layer) {
	r, coat := a.predictions, l.coatIn(a.setting)
	a.coats[at] = coat
	r.Coats[at].Put(coat, lane, 1)
	for k := range at {
		r.PutAmong(at, k, lane, coat, a.coats[k])
	}
}

// neighbours finds the pair among the coats of a lane, by its lower layer: the two whose mixed zone carries most of the flow. -1 is none, as of a glaze
// alone. Which of the two is on top does not matter there: what the order does is in the physics.
func (a *batch) neighbours(lane int) int {
	best, pair := 0.0, -1
	for i := range len(a.coats) - 1 {
		if share := a.films.ZoneShare[i][lane]; !a.coats[i].Alike(&a.coats[i+1].Coat) && (pair < 0 || share > best) {
			best, pair = share, i
		}
	}
	return pair
}

// pair tells the regression the pair among the coats of a lane.
func (a *batch) pair(lane int) {
	if pair := a.neighbours(lane); pair < 0 {
		a.predictions.Alone(lane)
	} else {
		a.predictions.Pair(lane, a.coats, pair, pair+1)
	}
}

// explain gives the prediction of a lane that was answered, and the tiles that moved it most, at most count of them.
func (a *batch) explain(lane int, l *Layering, p *Physics, count int) (calib.Prediction, []calib.Influence) {
	for i := range slices.Backward(l.Layers) { // like neighbours are the first of them
		a.coats[p.index[i]] = l.Layers[i].coatIn(a.setting)
	}
	return a.predictions.Explain(lane, a.coats, a.neighbours(lane), count)
}

// move copies the first n of a row.
func move(to, from []float64, n int) {
	if n == 1 {
		to[0] = from[0]
		return
	}
	copy(to[:n], from[:n])
}

// answer works out the answers of the first n lanes. The run rises with the drive, so quantiles of ln X map to quantiles of the run.
func (a *batch) answer(dst []Estimate, wall Wall) {
	n, p := len(dst), a.predictions
	p.Run(n)
	ln, run := a.lnDrive[:4*n], a.run[:4*n]
	move(ln, p.Median, n)
	move(ln[n:], p.LnLow, n)
	move(ln[2*n:], p.LnHigh, n)
	move(ln[3*n:], p.LnNeeded, n)
	wall.Runs(run, ln)
	for i := range dst {
		dst[i] = Estimate{Median: run[i], P10: run[n+i], P90: run[2*n+i], Exceed: p.Exceeding[i], ClearanceNeeded: run[3*n+i]}
	}
}

// faulty says that what came out for a lane is no answer.
func (a *batch) faulty(lane int) bool {
	r := a.predictions
	return !(math.Abs(r.Median[lane]) <= math.MaxFloat64) || r.Fault(lane) != nil
}
