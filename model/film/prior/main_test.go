package main

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/film"
)

// The committed numbers are those that the program finds, and what the table says moves as few directions as it can
// tell.
func TestUsualIsTheFit(t *testing.T) {
	table, err := readTable("../../../testdata/published/")
	if err != nil {
		t.Fatal(err)
	}
	x, values := fit(table)
	p, usual := at(x), &film.Usual
	for _, v := range []struct {
		name      string
		got, want float64
	}{
		{"stiffening", p.Stiffening, usual.Stiffening}, {"fining", p.Fining, usual.Fining}, {"body layer", p.BodyLayer, usual.BodyLayer},
		{"bead", p.Wetting.Section, usual.Wetting.Section}, {"spreading", p.Wetting.Range, usual.Wetting.Range}, {"wetted", p.Wetted, usual.Wetted},
		{"fusion below", p.Fusion.Below, usual.Fusion.Below}, {"fusion width", p.Fusion.Width, usual.Fusion.Width}, {"drip", p.Drip, usual.Drip},
		{"stirring", p.Stirring, usual.Stirring},
	} {
		if math.Abs(v.got/v.want-1) > 0.006 { // they are written to three figures
			t.Errorf("%s: the program finds %g, committed is %g", v.name, v.got, v.want)
		}
	}
	rank := 0
	for _, s := range values {
		if s > identified {
			rank++
		}
	}
	if rank < 1 || rank > 3 {
		t.Errorf("%d directions move, of singular values %v", rank, values)
	}
	before := table.residuals(at(make([]float64, len(parameters))))
	after := table.residuals(p)
	if a, b := squares(after), squares(before); a > b {
		t.Errorf("the fit is further from the table than the centres: %g, %g", a, b)
	}
}

func squares(v []float64) (sum float64) {
	for _, x := range v {
		sum += x * x
	}
	return sum
}
