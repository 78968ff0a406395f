package model

import (
	"fmt"
	"testing"

	"github.com/catchline/catchline/model/firing"
)

// The physics is another when these numbers are: then PhysicsVersion has to go up with them, so that calibrations of
// before are known. They are its own, and check nothing else.
func TestPhysicsVersion(t *testing.T) {
	a, b := gloss(t, "a", 3, 0.1), gloss(t, "b", 4, 0)
	air, reduced := cone6(t, firing.Atmosphere{}), cone6(t, firing.Atmosphere{Kind: firing.HeavyReduction})
	got := fmt.Sprintf("version %d:", PhysicsVersion)
	for _, q := range []*Question{asked(t, air, 2, a), asked(t, air, 3, b), asked(t, reduced, 2, a, b), asked(t, air, 2, b, a)} {
		var p Physics
		if _, err := q.Conditions(&p); err != nil {
			t.Fatal(err)
		}
		got += fmt.Sprintf(" %.5g", 1e3*p.Drive)
	}
	if want := "version 2: 3.3936 2.1161 12.083 8.3405"; got != want {
		t.Errorf("%s, was %s", got, want)
	}
}
