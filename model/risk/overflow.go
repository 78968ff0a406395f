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

// Wall gives the bare wall below the band (m), the drive (m) at which a run (m) is reached, and the volume (m³) that
// has left over the foot at a drive (m) for a band of a thickness (m). The last two rise with their first argument.
type Wall interface {
	Clearance() float64
	Drive(run float64) float64
	Overflow(drive, thickness float64) float64
}

// WeightedVolume is a volume over the foot (m³) and the probability that stands for it.
type WeightedVolume struct{ Probability, Volume float64 }

// Overflow is the distribution of the glaze that leaves the wall over the foot of a piece.
type Overflow struct {
	Passes    float64 // probability, 0 to 1, that any glaze passes the foot; the piece stands there, so glaze then touches what is under it
	Expected  float64 // mean volume, m³
	P90       float64 // volume that is exceeded in one firing of ten, m³
	Tolerated float64 // volume that is exceeded with the tolerated probability, m³
	// Volumes are the nodes of a quadrature over the distribution, from small to large; their probabilities sum to
	// Passes.
	Volumes []WeightedVolume
}

// cuts split the integral over ln X, in scales of the distribution from its centre; each piece is a Gauss-Legendre
// rule. Beyond the last cut all glaze that can run has run.
var cuts = [...]float64{-50, -15, -6, -3, -1.5, 0, 1.5, 3, 6, 15, 50, 400}

// perCut is the number of nodes in each piece.
const perCut = 6

// fewPasses is the probability of passing the foot below which nothing is integrated.
const fewPasses = 1e-9

var gaussX, gaussW = func() (x, w [perCut]float64) {
	quad.Legendre{}.FixedLocations(x[:], w[:], 0, 1)
	slices.Reverse(x[:]) // from small to large; the weights are the same from both ends
	return x, w
}()

var errVolume = errors.New("risk: the volume over the foot is not a finite number")

// OverflowOf integrates the volume over the foot of a wall over a distribution of ln drive. thickness is that of the
// fired band (m), tolerated a probability between 0 and 1. The error is a fault.Error of tolerated risk, or says that a
// volume was not finite.
func OverflowOf(drive *calib.Prediction, wall Wall, thickness, tolerated float64) (Overflow, error) {
	if !(tolerated > 0 && tolerated < 1) {
		return Overflow{}, &fault.Error{Field: "tolerated risk", Value: fmt.Sprint(tolerated), Limit: "more than 0 and less than 1"}
	}
	foot := math.Log(wall.Drive(wall.Clearance())) // -Inf where the band reaches down to the foot
	f := Overflow{Passes: 1}
	if !math.IsInf(foot, -1) {
		f.Passes = drive.Exceedance(foot)
	}
	if math.IsNaN(f.Passes) {
		return Overflow{}, errVolume
	}
	if f.Passes < fewPasses {
		return Overflow{Passes: f.Passes}, nil
	}
	exceeded := func(probability float64) float64 {
		if f.Passes <= probability {
			return 0
		}
		return wall.Overflow(math.Exp(drive.Quantile(1-probability)), thickness)
	}
	f.P90, f.Tolerated = exceeded(0.1), exceeded(tolerated)
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
	f.Volumes = make([]WeightedVolume, n)
	total := 0.0
	for i := range f.Volumes {
		p := weight[i] * density[i]
		total += p
		f.Volumes[i] = WeightedVolume{p, wall.Overflow(x[i], thickness)}
	}
	for i := range f.Volumes {
		o := &f.Volumes[i]
		o.Probability *= f.Passes / total
		f.Expected += o.Probability * o.Volume
	}
	if math.IsNaN(f.Expected) || math.IsInf(f.Expected, 0) || math.IsNaN(f.P90+f.Tolerated) || math.IsInf(f.P90+f.Tolerated, 0) {
		return Overflow{}, errVolume
	}
	return f, nil
}
