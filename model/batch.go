package model

import (
	"sync"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/internal/vector"
)

// batch is what is between the physics and the answers of questions that differ in their layers alone. They are asked together, so that their
// logarithms and exponentials are taken at once.
type batch struct {
	known       []calib.Known
	predictions []calib.Prediction
	a, b        []float64 // rows of numbers, four for each question
}

// oneOf is room for one question.
type oneOf struct {
	known       [1]calib.Known
	predictions [1]calib.Prediction
	a, b        [4]float64
}

func (o *oneOf) batch() batch { return batch{o.known[:], o.predictions[:], o.a[:], o.b[:]} }

// newBatch is room for n questions.
func newBatch(n int) batch {
	return batch{make([]calib.Known, n), make([]calib.Prediction, n), make([]float64, 4*n), make([]float64, 4*n)}
}

// row is row i of numbers for n questions.
func row(of []float64, i, n int) []float64 { return of[i*n : (i+1)*n : (i+1)*n] }

// ask works out the physics of a question and puts it in place i of those that are asked.
func (q *Question) ask(p *Physics, a *batch, i int) error {
	q.stand()
	if err := q.work(p); err != nil {
		return err
	}
	q.put(p, a, i)
	return nil
}

// put puts a question whose physics is worked out in place i of those that are asked.
func (q *Question) put(p *Physics, a *batch, i int) {
	n := len(a.known)
	p.known(&q.Layering, &q.standing, &a.known[i])
	row(a.a, 0, n)[i], row(a.a, 1, n)[i], row(a.a, 2, n)[i] = p.Drive, p.Flow.Thickness, p.Flow.StirredCubed
}

// ninth is the upper end of the 80 % interval.
var ninth = sync.OnceValue(func() calib.Level { return calib.NewLevel(0.9).Ready() })

// answer answers the first questions that were asked; q is any of them. It gives how many are answered before one that cannot be.
func (q *Question) answer(dst []Estimate, a *batch) (int, error) {
	n := len(a.known)
	vector.Log(a.b, a.a[:3*n])
	lnDrive, lnThickness, lnStirred := row(a.b, 0, n), row(a.b, 1, n), row(a.b, 2, n)
	for i := range dst {
		k := &a.known[i]
		k.LnPhysics, k.Features.LnThickness, k.Features.Stirring = lnDrive[i], lnThickness[i], sensitivity(lnStirred[i])
	}
	predictions := a.predictions[:len(dst)]
	answered, err := q.Calibration.PredictKnown(predictions, a.known[:len(dst)])
	if err != nil {
		dst, predictions = dst[:answered], predictions[:answered]
	}
	q.estimate(dst, predictions, a)
	return answered, err
}

// estimate carries distributions of ln X through the wall. The run rises with the drive, so quantiles map to quantiles.
func (q *Question) estimate(dst []Estimate, y []calib.Prediction, a *batch) {
	n := len(a.known)
	median, low, high, needed := row(a.a, 0, n), row(a.a, 1, n), row(a.a, 2, n), row(a.a, 3, n)
	level := ninth()
	calib.Reaches(high, needed, y, &level, &q.standing.level)
	for i := range y {
		m, wide := y[i].Median(), high[i]
		median[i], low[i], high[i] = m, m-wide, m+wide // the distribution is even about its median
		needed[i] += m
	}
	q.Wall.Runs(a.b, a.a)
	exceed := row(a.a, 0, n)
	calib.Exceeding(exceed, y, q.standing.lnClearance)
	for i := range dst {
		dst[i] = Estimate{
			Median: row(a.b, 0, n)[i], P10: row(a.b, 1, n)[i], P90: row(a.b, 2, n)[i],
			Exceed: exceed[i], ClearanceNeeded: row(a.b, 3, n)[i],
		}
	}
}
