// Package risk turns the distribution of a run into decisions: a word for the risk, the overflow at the foot, the
// cookie under a piece, a shelf plan, cautions, the tiles to fire next, and whether a new lot of a glaze has drifted.
//
// A run is a monotone function of the drive X, and ln X has a Student-t distribution (calib.Prediction). So
// quantiles of the run are runs of quantiles, and expectations are one integral over ln X: nothing is sampled, and the
// same input gives the same bits.
package risk

import (
	"fmt"

	"github.com/catchline/catchline/model/fault"
)

// Word is a word for a probability of exceeding the clearance.
type Word uint8

// The words, from the least to the greatest risk.
const (
	Low Word = iota
	Moderate
	High
	Severe
)

// String gives the word as it is written in the contract, such as "RISK_LOW".
func (w Word) String() string {
	switch w {
	case Low:
		return "RISK_LOW"
	case Moderate:
		return "RISK_MODERATE"
	case High:
		return "RISK_HIGH"
	case Severe:
		return "RISK_SEVERE"
	}
	return fmt.Sprintf("risk %d", uint8(w))
}

// Thresholds are the highest probabilities that count as low, moderate and high; above High the risk is severe. 0 to 1,
// in rising order.
type Thresholds struct{ Low, Moderate, High float64 }

// DefaultThresholds are ours, no source; a studio sets its own.
var DefaultThresholds = Thresholds{0.05, 0.20, 0.50}

// Check refuses thresholds that are not probabilities in rising order.
func (t Thresholds) Check() error {
	last := 0.
	for _, c := range []struct {
		field string
		value float64
	}{{"thresholds.low", t.Low}, {"thresholds.moderate", t.Moderate}, {"thresholds.high", t.High}} {
		if !(c.value >= last && c.value <= 1) {
			return &fault.Error{Field: c.field, Value: fmt.Sprint(c.value), Limit: fmt.Sprintf("%g to 1", last)}
		}
		last = c.value
	}
	return nil
}

// Word gives the word for a probability.
func (t Thresholds) Word(probability float64) Word {
	switch {
	case probability <= t.Low:
		return Low
	case probability <= t.Moderate:
		return Moderate
	case probability <= t.High:
		return High
	}
	return Severe
}
