package model

import (
	"math"
	"testing"

	"github.com/catchline/catchline/model/firing"
)

var sink float64

// BenchmarkFloor is what one two-layer score cannot do without, done plainly: the quadrature of three melts over the nodes of a firing by
// math.Exp. The ratios of scores are to this.
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

// BenchmarkScore is one two-layer score at a time, a new pair each time, by a calibration that knows the glazes.
func BenchmarkScore(b *testing.B) {
	s := newStudio(b, 100, 300)
	layers := s.layers(b, s.firings[0], 2)
	q := s.question(layers[0], layers[1])
	b.ReportAllocs()
	i := 0
	var p Physics
	for b.Loop() {
		q.Layers[0], q.Layers[1] = layers[i%100], layers[(i/100+i)%100]
		i++
		e, err := q.Estimate(&p)
		if err != nil {
			b.Fatal(err)
		}
		sink += e.Median
	}
}

// BenchmarkSheet is all ordered pairs of 200 glazes at 2 firings on one core, by the score; every round begins anew.
func BenchmarkSheet(b *testing.B) {
	s := newStudio(b, 200, 300)
	b.ReportAllocs()
	all := make([]Estimate, 1000)
	var scorer *Scorer
	n := 0
	for b.Loop() {
		at := n % 80000
		if at == 0 {
			scorer = s.sheet(b, 2).Scorer()
		}
		if n++; at%len(all) > 0 {
			continue
		}
		if _, err := scorer.Estimates(all, at); err != nil {
			b.Fatal(err)
		}
		sink += all[0].Median
	}
}

// BenchmarkFullScore is a score with all that explains it.
func BenchmarkFullScore(b *testing.B) {
	s := newStudio(b, 100, 300)
	layers := s.layers(b, s.firings[0], 2)
	q := s.question(layers[0], layers[1])
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		q.Layers[0], q.Layers[1] = layers[i%100], layers[(i/100+i)%100]
		i++
		e, err := q.Score(layers[50].Fired)
		if err != nil {
			b.Fatal(err)
		}
		sink += e.Median
	}
}
