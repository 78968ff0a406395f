package model

import (
	"fmt"
	"math"
	"testing"

	"github.com/catchline/catchline/model/firing"
	"github.com/catchline/catchline/model/melt"
)

var sink float64

// BenchmarkFloor is what one two-layer score cannot do without, done plainly: the quadrature of three melts over the nodes of a firing by
// math.Exp. Every ratio of a score is to this.
func BenchmarkFloor(b *testing.B) {
	f := cone6(b, firing.Atmosphere{})
	var curves [64]struct{ a, b, c float64 }
	for i := range curves {
		curves[i].a, curves[i].b, curves[i].c = -2.9-0.01*float64(i), 6500+10*float64(i), 400+float64(i)
	}
	i := 0
	for b.Loop() {
		for range 3 {
			k := &curves[i&63]
			sum := 0.0
			for n := range f.Nodes {
				sum += f.Nodes[n].Seconds * math.Exp(-math.Ln10*(k.a+k.b/(f.Nodes[n].Kelvin-k.c)))
			}
			sink += sum
			i++
		}
	}
}

// BenchmarkEstimate is one two-layer score at a time, a new pair each time.
func BenchmarkEstimate(b *testing.B) {
	f := cone6(b, firing.Atmosphere{})
	var glazes []*Glaze
	for i := range 100 {
		glazes = append(glazes, gloss(b, fmt.Sprintf("studios/one/glazes/glaze-%d", i), 3+0.01*float64(i), 0.02*float64(i%5)))
	}
	q := asked(b, f, 2, glazes...)
	all := q.Layers
	q.Layers = make([]Layer, 2)
	b.ReportAllocs()
	i := 0
	var p Physics
	for b.Loop() {
		q.Layers[0], q.Layers[1] = all[i%100], all[(i/100)%100]
		i++
		e, err := q.Estimate(&p)
		if err != nil {
			b.Fatal(err)
		}
		sink += e.Median
	}
}

func BenchmarkViscosity(b *testing.B) {
	g := gloss(b, "g", 3.3, 0.1)
	for b.Loop() {
		c := melt.Viscosity(g.Melt)
		sink += c.Log10(1500)
	}
}
