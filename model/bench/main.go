// The bench program measures the model against floors in the same run: go run ./model/bench, or make bench-model.
//
// Cases are run in turns, a few hundredths of a second each, many times over; what is printed is the median of the times and the median of
// the ratios to the floor of the same turn, so that a machine that is busy for a while does not tell on one case alone. With
// BENCH_OUT=FILE every turn also goes to that file in the format of Go benchmarks, for benchstat.
package main

import (
	"flag"
	"fmt"
	"io"
	"log"
	"math"
	"os"
	"runtime"
	"slices"
	"syscall"
	"time"

	"github.com/catchline/catchline/model"
	"github.com/catchline/catchline/model/melt"
)

func main() {
	log.SetFlags(0)
	rounds := flag.Int("rounds", 21, "turns")
	growth := flag.Bool("growth", true, "measure how the cost of a score grows; takes a minute")
	picture := flag.String("plot", "", "the SVG file to which growth is plotted; empty: none")
	script := flag.String("numpy", "model/bench/sheet.py", "the script to compare with; left out where there is no scipy")
	flag.Parse()
	record := io.Discard
	if path := os.Getenv("BENCH_OUT"); path != "" {
		f, err := os.OpenFile(path, os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
		if err != nil {
			log.Fatal(err)
		}
		defer f.Close()
		record = f
	}
	s := invent(200, 400)
	measure(record, *rounds, scoring(s))
	if *script != "" {
		if err := compare(s, *script); err != nil {
			log.Fatal(err)
		}
	}
	if *growth {
		if err := grow(record, max(*rounds/2, 3), *picture); err != nil {
			log.Fatal(err)
		}
	}
}

// oneCase is something to be timed: run does it n times, n a multiple of batch.
type oneCase struct {
	name   string
	target float64 // of the ratio to the first case; 0: none
	batch  int
	run    func(n int)
}

// processorTime is what this program has used, so that it does not matter how long others kept it waiting. Every case runs on one core.
func processorTime() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		log.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// warm is how often a case is run before it is timed.
const warm = 1000

// turn is how long a case is run at a time.
const turn = 30 * time.Millisecond

// measure runs the cases in turns and prints them; it gives their medians in ns. The first case is the floor.
func measure(record io.Writer, rounds int, cases []oneCase) []float64 {
	counts := make([]int, len(cases))
	for i, c := range cases {
		c.run(max(c.batch, warm)) // what is worked out once is
		counts[i] = c.batch
		for {
			start := processorTime()
			c.run(counts[i])
			if took := processorTime() - start; took > turn/4 {
				counts[i] = c.batch * max(1, int(float64(counts[i])*float64(turn)/float64(took))/c.batch)
				break
			}
			counts[i] *= 4
		}
	}
	times, ratios := make([][]float64, len(cases)), make([][]float64, len(cases))
	for range rounds {
		for i, c := range cases {
			runtime.GC() // what the case before has left is not this one's
			start := processorTime()
			c.run(counts[i])
			ns := float64((processorTime() - start).Nanoseconds()) / float64(counts[i])
			fmt.Fprintf(record, "BenchmarkModel/%s %d %.1f ns/op\n", c.name, counts[i], ns)
			times[i] = append(times[i], ns)
			ratios[i] = append(ratios[i], ns/times[0][len(times[0])-1])
		}
	}
	fmt.Printf("%-44s %12s %9s %9s\n", "", "ns", "to floor", "target")
	out := make([]float64, len(cases))
	for i, c := range cases {
		out[i] = median(times[i])
		target := ""
		if c.target > 0 {
			target = fmt.Sprintf("<= %.2g", c.target)
		}
		fmt.Printf("%-44s %12.1f %9.2f %9s\n", c.name, out[i], median(ratios[i]), target)
	}
	fmt.Println()
	return out
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

// Sink takes results, so that no work is left out as unused.
var Sink float64

// scoring is the floor of a score and the ways of scoring.
func scoring(s *studio) []oneCase {
	return []oneCase{
		{"floor, 48 exponentials of three melts", 0, 1, floor(s)},
		{"score, one at a time", 5, 1, single(s)},
		{"score, in a sheet of pairs at two firings", 0, len(s.firings) * len(s.glazes) * len(s.glazes), sheet(s)},
		{"score with all that explains it", 50, 1, full(s)},
	}
}

// floor is what a two-layer score cannot do without, done plainly: the quadrature of three melts over the nodes of a firing.
func floor(s *studio) func(int) {
	var curves [64]melt.VFT
	for i, l := range s.layers(s.firings[0])[:64] {
		curves[i] = l.Curve.VFT
	}
	nodes := &s.firings[0].Nodes
	return func(n int) {
		for i := range 3 * n {
			k := &curves[i&63]
			sum := 0.0
			for j := range nodes {
				sum += nodes[j].Seconds * math.Exp(-math.Ln10*(k.A+k.B/(nodes[j].Kelvin-k.C)))
			}
			Sink += sum
		}
	}
}

// single scores a new pair each time.
func single(s *studio) func(int) {
	layers := s.layers(s.firings[0])
	q, pairs := s.question(layers[0], layers[1]), 0
	var p model.Physics
	return func(n int) {
		for range n {
			q.Layers[0], q.Layers[1] = layers[pairs%len(layers)], layers[(pairs/len(layers)+pairs)%len(layers)]
			pairs++
			Sink += must(q.Estimate(&p)).Median
		}
	}
}

// sheet scores whole sheets, each made anew, a chunk at a time.
func sheet(s *studio) func(int) {
	var chunk [1000]model.Estimate
	return func(n int) {
		for n > 0 {
			sheet := s.sheet()
			scorer := sheet.Scorer()
			for at := 0; at < sheet.Len(); at += len(chunk) {
				some := chunk[:min(len(chunk), sheet.Len()-at)]
				must(scorer.Estimates(some, at))
				Sink += some[0].Median
			}
			n -= sheet.Len()
		}
	}
}

func full(s *studio) func(int) {
	layers := s.layers(s.firings[0])
	q, pairs := s.question(layers[0], layers[1]), 0
	return func(n int) {
		for range n {
			q.Layers[0], q.Layers[1] = layers[pairs%len(layers)], layers[(pairs/len(layers)+pairs)%len(layers)]
			pairs++
			Sink += must(q.Score(layers[len(layers)/2].Fired)).Median
		}
	}
}
