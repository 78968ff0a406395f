package main

import (
	"math"
	"testing"
)

// Two papers on melts alike, of which one reads 0.3 more than the other, and a third melt that is alone: whatever the model's own miss, what twins leave is the
// papers' difference.
func TestToldOfTwins(t *testing.T) {
	a, b, alone := &sample{group: 1}, &sample{group: 1}, &sample{group: 2}
	var all []outcome
	add := func(s *sample, T, miss float64) {
		all = append(all, outcome{sample: s, point: point{T: T, window: 1}, miss: miss})
	}
	add(a, 1400, 0.5)
	add(a, 1500, 0.5)
	add(b, 1450, 0.2)
	add(b, 1700, 9) // too far in temperature to tell of 1500 K
	add(alone, 1450, 7)
	own, told := toldOfTwins(all, 1)
	want := []float64{0.3, 0.3, -0.3}
	if len(told) != len(want) || len(own) != len(want) {
		t.Fatalf("%v and %v", own, told)
	}
	for i, w := range want {
		if math.Abs(told[i]-w) > 1e-12 {
			t.Errorf("point %d: %v, want %v", i, told[i], w)
		}
	}
}
