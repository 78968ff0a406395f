package bench

import (
	"cmp"
	"context"
	"slices"
	"sync"
	"syscall"
	"testing"
	"time"
)

// turn is what one side did in one turn.
type turn struct {
	perSecond float64
	cpu       time.Duration // of client and server for one, which other programs disturb less than the time
	p50, p99  time.Duration
}

// cpuTime is what this process has used.
func cpuTime(b *testing.B) time.Duration {
	b.Helper()
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// closedLoop lets callers call one after the other, each as soon as it has its answer, for a time.
func closedLoop(b *testing.B, callers int, d time.Duration, call func(ctx context.Context, caller int) error) turn {
	b.Helper()
	took := make([][]time.Duration, callers)
	var wg sync.WaitGroup
	start, cpu := time.Now(), cpuTime(b)
	for i := range callers {
		took[i] = make([]time.Duration, 0, 1<<13)
		wg.Go(func() {
			for at := time.Now(); at.Sub(start) < d; {
				if err := call(b.Context(), i); err != nil {
					b.Error(err)
					return
				}
				now := time.Now()
				took[i] = append(took[i], now.Sub(at))
				at = now
			}
		})
	}
	wg.Wait()
	elapsed := time.Since(start)
	cpu = cpuTime(b) - cpu
	if b.Failed() {
		b.FailNow()
	}
	all := slices.Concat(took...)
	slices.Sort(all)
	return turn{float64(len(all)) / elapsed.Seconds(), cpu / time.Duration(len(all)), quantile(all, 0.5), quantile(all, 0.99)}
}

// quantile of what is sorted.
func quantile[T any](sorted []T, q float64) T { return sorted[int(q*float64(len(sorted)-1))] }

func median[T cmp.Ordered](all []T) T {
	all = slices.Sorted(slices.Values(all))
	return all[len(all)/2]
}

// medianOf is the median of one figure of all turns.
func medianOf[T cmp.Ordered](turns []turn, f func(turn) T) T {
	var all []T
	for _, t := range turns {
		all = append(all, f(t))
	}
	return median(all)
}

// compare lets the floor and ours take turns, one each for each iteration of the benchmark, and reports the medians. The ratio is the
// median of the ratios of turns that followed each other; goal is what it is to reach.
func compare(b *testing.B, unit string, goal float64, floor, ours func() turn) {
	b.Helper()
	var floors, all []turn
	var ratios []float64
	for b.Loop() {
		var f, o turn
		if len(all)%2 == 0 {
			f, o = floor(), ours()
		} else {
			o, f = ours(), floor()
		}
		floors, all = append(floors, f), append(all, o)
		ratios = append(ratios, o.perSecond/f.perSecond)
	}
	perSecond := func(t turn) float64 { return t.perSecond }
	b.ReportMetric(medianOf(floors, perSecond), "floor-"+unit+"/s")
	b.ReportMetric(medianOf(all, perSecond), unit+"/s")
	b.ReportMetric(median(ratios), "ratio")
	b.ReportMetric(goal, "goal")
	cpu := func(t turn) float64 { return float64(t.cpu.Nanoseconds()) / 1e3 }
	b.ReportMetric(medianOf(floors, cpu), "floor-cpu-µs")
	b.ReportMetric(medianOf(all, cpu), "cpu-µs")
	b.ReportMetric(medianOf(floors, cpu)/medianOf(all, cpu), "cpu-ratio")
	if all[0].p99 > 0 {
		p99 := func(t turn) time.Duration { return t.p99 }
		b.ReportMetric(float64(medianOf(floors, p99).Microseconds()), "floor-p99-µs")
		b.ReportMetric(float64(medianOf(all, p99).Microseconds()), "p99-µs")
		b.ReportMetric(float64(medianOf(all, func(t turn) time.Duration { return t.p50 }).Microseconds()), "p50-µs")
		b.ReportMetric(float64(medianOf(all, p99))/float64(medianOf(floors, p99)), "p99-ratio")
	}
	b.ReportMetric(0, "ns/op")
}
