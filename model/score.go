package model

import (
	"cmp"
	"math"
	"slices"

	"github.com/catchline/catchline/model/calib"
)

// DriverKind is a kind of thing that makes a layering run.
type DriverKind uint8

// The kinds, see Driver.
const (
	DriverThickness DriverKind = iota
	DriverGlaze
	DriverBlend
	DriverHeatWork
	DriverOrder
	DriverCorrection
)

// Driver is one thing that makes a layering run, as the difference in m of the median run with and without it:
//
//	thickness   as thick as it is, against the thickest of its layers alone (all layers thinned alike)
//	glaze       this glaze, against the studio's median glaze in its place
//	blend       mixed zones as they are, against layers that do not mix
//	heat work   this firing, against one cone less
//	order       this order, against the reverse
//	correction  what the studio's tiles add to the physics
type Driver struct {
	Kind  DriverKind
	Glaze string // for DriverGlaze
	Run   float64
}

// SoloRun is how far one glaze would run alone, as thick as the whole layering.
type SoloRun struct {
	Glaze            string
	Median, P10, P90 float64
}

// Score is the whole answer to a question. Lengths in m.
type Score struct {
	Estimate
	Physics    Physics
	PhysicsRun float64 // median run by the physics alone
	Prediction calib.Prediction
	Drivers    []Driver // largest first
	Solo       []SoloRun
	Evidence   []calib.Influence
	Flags      []Flag
	Tension    float64 // N/m
	Density    float64 // kg/m³, mean
	Question   *Question
}

// maxEvidence is how many tiles a score names.
const maxEvidence = 8

// Score answers a question in full. median is the studio's glaze of median flow in this firing, against which each
// glaze is held; nil leaves those drivers out.
func (q *Question) Score(median *Fired) (s *Score, err error) {
	s = &Score{Question: q}
	if s.Prediction, err = q.predict(&s.Physics); err != nil {
		return nil, err
	}
	s.Estimate = q.estimate(&s.Physics, &s.Prediction)
	s.Evidence = s.Physics.subject.Evidence(maxEvidence)
	s.PhysicsRun = s.Physics.Course.Run(s.Physics.Drive)
	s.Tension, s.Density = q.Layers[len(q.Layers)-1].Tension, s.Physics.density
	c := &comparison{question: *q}
	if s.Solo, err = q.soloRuns(c); err != nil {
		return nil, err
	}
	if s.Drivers, err = q.drivers(c, s.Median, median); err != nil {
		return nil, err
	}
	s.Drivers = append(s.Drivers, Driver{DriverCorrection, "", s.Median - s.PhysicsRun})
	slices.SortStableFunc(s.Drivers, func(a, b Driver) int { return cmp.Compare(math.Abs(b.Run), math.Abs(a.Run)) })
	s.Flags = q.Flags(&s.Physics)
	return s, nil
}
