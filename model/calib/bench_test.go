package calib

import (
	"fmt"
	"math"
	"runtime"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// logOf is a log of n tiles over a fitting number of glazes, of which there are at most 300.
func logOf(n int) []Tile { return someTiles(n, min(300, 5+n/30), 1) }

func sortedLog(b *testing.B, n int) []*Tile {
	sorted, err := inOrder(logOf(n))
	if err != nil {
		b.Fatal(err)
	}
	return sorted
}

var sizes = []int{100, 1000, 10000, 100000}

// BenchmarkFit is a whole fit, variances and prequential record and all; heap-MB is what is alive after it, with the log.
func BenchmarkFit(b *testing.B) {
	for _, n := range sizes {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			tiles := logOf(n)
			b.ReportAllocs()
			var c *Calibration
			for b.Loop() {
				var err error
				if c, err = Fit(tiles, DefaultPrior()); err != nil {
					b.Fatal(err)
				}
			}
			runtime.GC()
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.HeapAlloc)/1e6, "heap-MB")
			b.ReportMetric(float64(m.Sys)/1e6, "sys-MB")
			runtime.KeepAlive(tiles)
			b.ReportMetric(float64(c.search.Iterations), "iterations")
		})
	}
}

// BenchmarkFitLots is a fit of 10,000 tiles of 300 glazes with three lots each.
func BenchmarkFitLots(b *testing.B) {
	tiles := logOf(10000)
	for i := range tiles {
		for _, g := range tiles[i].Glazes {
			tiles[i].Lots = append(tiles[i].Lots, Share{Name: fmt.Sprint(g.Name, "/", (i/7)%3), Weight: g.Weight})
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(tiles, DefaultPrior()); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkSolve is the least-squares problem of a fit alone, rows to coefficients, and its floor, gonum's thin QR of the very
// same matrix with every pair a column.
func BenchmarkSolve(b *testing.B) {
	for _, n := range sizes[:3] {
		c := &Calibration{prior: DefaultPrior()}
		c.components = c.prior.middle()
		if err := c.learn(sortedLog(b, n)); err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("ours/%d", n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				c.factorise()
				if _, err := c.r.solve(); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(fmt.Sprintf("gonum/%d", n), func(b *testing.B) {
			if n > 1000 {
				b.Skip("the dense matrix is too large")
			}
			core, pairs := c.r.n, len(c.tops)
			rows := len(c.rows) + core + pairs
			x, y := mat.NewDense(rows, core+pairs, nil), mat.NewVecDense(rows, nil)
			line := make([]float64, core+2)
			for i, r := range c.rows {
				clear(line)
				c.weighted(line, r)
				if r.pair >= 0 {
					x.Set(i, int(r.pair), line[0])
				}
				for j, v := range line[1 : core+1] {
					x.Set(i, pairs+j, v)
				}
				y.SetVec(i, line[core+1])
			}
			for j := range core + pairs {
				x.Set(len(c.rows)+j, j, 1)
			}
			b.ReportAllocs()
			for b.Loop() {
				var qr mat.QR
				qr.Factorize(x)
				var θ mat.VecDense
				if err := qr.SolveVecTo(&θ, false, y); err != nil {
					b.Fatal(err)
				}
				if i := pairs + core - 1; math.Abs(θ.AtVec(i)-c.θ[core-1]) > 1e-9 {
					b.Fatal("the two solutions differ")
				}
			}
		})
	}
}

// BenchmarkAdd adds one tile to a fit of 300 glazes.
func BenchmarkAdd(b *testing.B) {
	tiles := logOf(10000)
	c := &Calibration{prior: DefaultPrior()}
	c.components = c.prior.middle()
	if err := c.learn(sortedLog(b, 9999)); err != nil {
		b.Fatal(err)
	}
	b.ReportAllocs()
	for b.Loop() {
		next, err := c.Add(&tiles[9999])
		if err != nil {
			b.Fatal(err)
		}
		if _, err := predicted(next, &tiles[1].Conditions); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPredict(b *testing.B) {
	for _, n := range []int{100, 10000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			tiles := logOf(n)
			c := &Calibration{prior: DefaultPrior()}
			c.components = c.prior.middle()
			if err := c.learn(sortedLog(b, n)); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := predicted(c, &tiles[1].Conditions); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
