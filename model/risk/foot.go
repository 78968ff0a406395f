package risk

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"github.com/catchline/catchline/model/calib"
	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/model/internal/vector"
)

// Wall is what the foot asks of a wall: the drive at which a run is reached, and the volume that leaves over the foot at
// a drive. Lengths in m, volumes in m³; both rise with their argument.
type Wall interface {
	Clearance() float64
	Drive(run float64) float64
	OverFoot(drive, thickness float64) float64
}

// Outcome is a volume over the foot in m³ with its probability.
type Outcome struct{ Probability, Volume float64 }

// Foot is what comes over the foot of a piece.
type Foot struct {
	Passes    float64 // probability that glaze passes the foot line; the piece stands on its foot, so it then reaches what is under it
	Expected  float64 // mean volume over the foot in m³
	P90       float64 // volume in m³ that is exceeded one time in ten
	Tolerated float64 // volume in m³ that is exceeded with the tolerated probability
	// Outcomes stand for the distribution of the volume, from small to large; their probabilities sum to Passes.
	Outcomes []Outcome
}

// The integral over ln X is cut at these distances from its centre, in scales of the distribution, and each piece done by
// Gauss-Legendre. The last cut is so far out that what lies beyond cannot be told from the last piece's end.
var cuts = [...]float64{-50, -15, -6, -3, -1.5, 0, 1.5, 3, 6, 15, 50, 400}

// perCut is the number of nodes for each piece.
const perCut = 6

// fewPasses is the probability of passing the foot below which it counts as none.
const fewPasses = 1e-9

var gaussX, gaussW = func() (x, w [perCut]float64) {
	quad.Legendre{}.FixedLocations(x[:], w[:], 0, 1)
	slices.Reverse(x[:]) // from small to large; the weights are the same from both ends
	return x, w
}()

var errVolume = errors.New("risk: the volume over the foot is not a finite number")

// AtFoot works out what comes over the foot of a wall for a distribution of ln drive, a fired thickness in m and a tolerated
// probability (more than 0 and less than 1).
func AtFoot(drive *calib.Prediction, wall Wall, thickness, tolerated float64) (Foot, error) {
	if !(tolerated > 0 && tolerated < 1) {
		return Foot{}, &fault.Error{Field: "tolerated risk", Value: fmt.Sprint(tolerated), Limit: "more than 0 and less than 1"}
	}
	foot := math.Log(wall.Drive(wall.Clearance())) // -Inf where the band reaches down to the foot
	f := Foot{Passes: 1}
	if !math.IsInf(foot, -1) {
		f.Passes = drive.Exceedance(foot)
	}
	if math.IsNaN(f.Passes) {
		return Foot{}, errVolume
	}
	if f.Passes < fewPasses {
		return Foot{Passes: f.Passes}, nil
	}
	exceeded := func(probability float64) float64 {
		if f.Passes <= probability {
			return 0
		}
		return wall.OverFoot(math.Exp(drive.Quantile(1-probability)), thickness)
	}
	f.P90, f.Tolerated = exceeded(0.1), exceeded(tolerated)
	// The nodes of all pieces first, then all their densities, then all that comes over the foot.
	var lnDrive, weight [perCut * (len(cuts) - 1)]float64
	n := 0
	centre := drive.LnPhysics + drive.Mean
	for i := range len(cuts) - 1 {
		from, to := centre+cuts[i]*drive.Scale, centre+cuts[i+1]*drive.Scale
		if to <= foot {
			continue
		}
		from = max(from, foot)
		for k, x := range gaussX {
			lnDrive[n], weight[n] = from+x*(to-from), gaussW[k]*(to-from)
			n++
		}
	}
	var density, x [len(lnDrive)]float64
	drive.Densities(density[:n], lnDrive[:n])
	for i, y := range lnDrive[:n] {
		x[i] = min(y, 60) // beyond exp(60) m all that can run has run
	}
	vector.Exp(x[:n], x[:n])
	f.Outcomes = make([]Outcome, n)
	total := 0.0
	for i := range f.Outcomes {
		p := weight[i] * density[i]
		total += p
		f.Outcomes[i] = Outcome{p, wall.OverFoot(x[i], thickness)}
	}
	for i := range f.Outcomes {
		o := &f.Outcomes[i]
		o.Probability *= f.Passes / total
		f.Expected += o.Probability * o.Volume
	}
	if math.IsNaN(f.Expected) || math.IsInf(f.Expected, 0) || math.IsNaN(f.P90+f.Tolerated) || math.IsInf(f.P90+f.Tolerated, 0) {
		return Foot{}, errVolume
	}
	return f, nil
}
