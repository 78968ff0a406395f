package main

import (
	"os"
	"testing"
)

// The whole way from compositions to probabilities against a script of another language and other libraries: NumPy's arithmetic and the t
// distribution of SciPy.
func TestScoresAreThoseOfNumPy(t *testing.T) {
	python, err := scipy()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
	s := invent(25, 60)
	scores, _, err := s.byScript(python, "sheet.py")
	if err != nil {
		t.Fatal(err)
	}
	if n := len(scores); n != 2*25*25*5*8 {
		t.Fatalf("the script wrote %d bytes", n)
	}
	worst, err := difference(s, scores)
	if err != nil {
		t.Fatal(err)
	}
	if !(worst <= agree) {
		t.Errorf("off by %g", worst)
	}
}
