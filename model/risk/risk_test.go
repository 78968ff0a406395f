package risk

import (
	"errors"
	"math"
	"testing"

	"github.com/catchline/catchline/model/fault"
)

func TestWords(t *testing.T) {
	for _, c := range []struct {
		p    float64
		word Word
	}{{0, Low}, {0.05, Low}, {0.0501, Moderate}, {0.2, Moderate}, {0.5, High}, {0.51, Severe}, {1, Severe}} {
		if got := DefaultThresholds.Word(c.p); got != c.word {
			t.Errorf("%g: %v, want %v", c.p, got, c.word)
		}
	}
	for _, bad := range []Thresholds{{0.2, 0.1, 0.5}, {-0.1, 0.2, 0.5}, {0.1, 0.2, 1.5}, {math.NaN(), 0.2, 0.5}, {0.1, 0.2, math.NaN()}} {
		var field *fault.Error
		if err := bad.Check(); !errors.As(err, &field) {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if err := DefaultThresholds.Check(); err != nil {
		t.Error(err)
	}
}
