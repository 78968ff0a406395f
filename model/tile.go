package model

import (
	"math"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/firing"
)

// Outcome is what came out of the kiln, in m along the wall.
type Outcome struct {
	Kind calib.Outcome
	// Run is the longest drip's, for Measured. From and To are the ends, for Between.
	Run, From, To float64
	// ReadingError is the standard deviation of the reading.
	ReadingError float64
}

// Limits of a reading, in m.
const (
	MaxRun          = 2.0
	MinReadingError = 0.1e-3
	MaxReadingError = 20e-3
	// UsualReadingError is that of a ruler held to a rounded drip (common practice, no source).
	UsualReadingError = 1e-3
)

// Tile turns what a question was asked about and what came out into a tile for the regression, and gives the course
// of the film on it.
func (q *Question) Tile(name string, order int64, o Outcome) (calib.Tile, Course, error) {
	if !(o.ReadingError >= MinReadingError && o.ReadingError <= MaxReadingError) {
		return calib.Tile{}, Course{}, outside("reading_error_mm", 1e3*o.ReadingError, 1e3*MinReadingError, 1e3*MaxReadingError, "")
	}
	var p Physics
	conditions, err := q.Conditions(&p)
	if err != nil {
		return calib.Tile{}, Course{}, err
	}
	reading, err := p.Course.reading(&o)
	if err != nil {
		return calib.Tile{}, Course{}, err
	}
	conditions.Bead = p.Course.bead(q.Where.Body, p.Course.read(&o))
	clearance := p.Course.LnDrive(q.Wall.Clearance())
	return calib.Tile{
		Name: name, Order: order,
		Conditions: conditions,
		Reading:    reading,
		Cone:       firing.FormatConeNumber(math.Round(q.Layers[0].Firing.EquivalentCone)),
		Clearance:  &clearance,
	}, p.Course, nil
}

// read is the run in m that an outcome stands for: of what is censored its limit.
func (c *Course) read(o *Outcome) float64 {
	switch o.Kind {
	case calib.Measured:
		return o.Run
	case calib.Between:
		return (o.From + o.To) / 2
	case calib.RanOff:
		return c.Clearance()
	default:
		return o.ReadingError
	}
}

// maxReadingSD bounds a reading's error in ln drive: beyond it a reading says next to nothing.
const maxReadingSD = 3.0

// readingSD carries a reading's error into ln drive: half the difference between a reading that much further and one
// that much shorter.
func (c *Course) readingSD(run, readingError float64) float64 {
	low := max(run-readingError, run/10)
	return min((c.LnDrive(run+readingError)-c.LnDrive(low))/2, maxReadingSD)
}

func (c *Course) reading(o *Outcome) (calib.Reading, error) {
	const mm = 1e3
	length := func(field string, v float64) error {
		if !(v >= 0 && v <= MaxRun) {
			return outside(field, v*mm, 0, MaxRun*mm, "")
		}
		return nil
	}
	e := o.ReadingError
	switch o.Kind {
	case calib.Measured:
		if err := length("run_mm", o.Run); err != nil {
			return calib.Reading{}, err
		}
		return calib.ReadRun(o.Run*mm, e*mm, func(run float64) float64 { return c.LnDrive(run / mm) }), nil
	case calib.Between:
		if err := length("run_interval.from_mm", o.From); err != nil {
			return calib.Reading{}, err
		}
		if err := length("run_interval.to_mm", o.To); err != nil {
			return calib.Reading{}, err
		}
		if !(o.From < o.To) {
			return calib.Reading{}, fieldError("run_interval.to_mm", number(o.To*mm), "more than run_interval.from_mm, "+number(o.From*mm))
		}
		if o.From == 0 {
			return calib.ReadAtMost(c.LnDrive(o.To), 0, o.To*mm), nil
		}
		return calib.ReadBetween(c.LnDrive(o.From), c.LnDrive(o.To), 0, o.From*mm, o.To*mm), nil // the interval is the error
	case calib.RanOff:
		least := c.Clearance()
		if !(least > 0) {
			return calib.Reading{}, fieldError("placement.clearance_mm", number(least*mm), "more than 0 for a tile that ran off")
		}
		return calib.ReadAtLeast(c.LnDrive(least), c.readingSD(least, e), least*mm), nil
	default:
		return calib.ReadAtMost(c.LnDrive(e), 0, e*mm), nil
	}
}
