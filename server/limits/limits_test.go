package limits

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/tap"
	"google.golang.org/protobuf/types/known/emptypb"

	"github.com/catchline/catchline/server/chain"
)

var roomy = Options{ComputeAtOnce: 1000, StorageAtOnce: 1000, Queue: 1000, QueueTime: time.Second, StandingQueueTime: time.Second, Streams: 1000, StudioStreams: 1000, StreamMessages: 1000}

// call passes one call through the limits.
func call(l *Limits, c *chain.Call, work func()) error {
	if c.Start.IsZero() {
		c.Start = time.Now()
	}
	return l.Link().Around(context.Background(), c, func(context.Context) error {
		if work != nil {
			work()
		}
		return nil
	})
}

// why returns the reason of a refusal and the time after which to try again.
func why(t *testing.T, err error) (reason string, retry time.Duration) {
	t.Helper()
	if err == nil {
		return "", 0
	}
	s := status.Convert(err)
	if s.Code() != codes.ResourceExhausted {
		t.Fatalf("not ResourceExhausted: %v", err)
	}
	for _, d := range s.Details() {
		switch d := d.(type) {
		case *errdetails.ErrorInfo:
			reason = d.Reason
		case *errdetails.RetryInfo:
			retry = d.RetryDelay.AsDuration()
		}
	}
	return reason, retry
}

func TestRateOfAllAndOfOneKey(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.RequestsPerSecond, o.StudioRequestsPerSecond = 1000, 200
		l := New(o, nil)
		sent := func(key string, n int) (passed int, reason string, retry time.Duration) {
			for range n {
				if r, d := why(t, call(l, &chain.Call{Party: key}, nil)); r == "" {
					passed++
				} else {
					reason, retry = r, d
				}
			}
			return
		}
		if passed, reason, retry := sent("a", 50); passed != 20 || reason != "LIMIT_STUDIO_RATE" || retry <= 0 || retry > 5*time.Millisecond {
			t.Errorf("key a: %d passed, then %s, again after %s", passed, reason, retry)
		}
		if passed, _, _ := sent("b", 50); passed != 20 {
			t.Errorf("key b, which is another one: %d passed", passed)
		}
		if passed, reason, _ := sent("", 100); passed != 0 || reason != "LIMIT_RATE" {
			t.Errorf("in all, of which 100 are used up: %d more passed, then %s", passed, reason)
		}
		time.Sleep(50 * time.Millisecond) // 50 in all, 10 for each key
		if passed, _, _ := sent("a", 50); passed != 10 {
			t.Errorf("key a after 50 ms: %d passed", passed)
		}
		time.Sleep(time.Minute)
		sent("c", 1)
		if len(l.parties) != 1 {
			t.Errorf("%d keys are remembered; idle ones are to be forgotten", len(l.parties))
		}
	})
}

func TestConcurrentStreams(t *testing.T) {
	o := roomy
	o.Streams, o.StudioStreams = 3, 2
	l := New(o, nil)
	stream := func(party string) *chain.Call { return &chain.Call{Party: party, Streaming: true} }
	nested := func(party string) (reason string) { r, _ := why(t, call(l, stream(party), nil)); return r }
	call(l, stream("a"), func() {
		call(l, stream("a"), func() {
			if got := nested("a"); got != "LIMIT_STUDIO_STREAMS" {
				t.Errorf("third of a studio: %q", got)
			}
			call(l, stream("b"), func() {
				if got := nested("b"); got != "LIMIT_STREAMS" {
					t.Errorf("fourth in all, second of a studio: %q", got)
				}
				if got := nested(""); got != "LIMIT_STREAMS" {
					t.Errorf("fourth in all, nobody knows whose: %q", got)
				}
				if got := nested("c"); got != "" {
					t.Errorf("fourth in all, but the first of a studio: %q", got)
				}
				if err := call(l, &chain.Call{Party: "a"}, nil); err != nil {
					t.Errorf("a call that is no stream: %v", err)
				}
			})
		})
	})
	if got := nested("a"); got != "" || l.streams != 0 {
		t.Errorf("after all have ended: %q, %d under way", got, l.streams)
	}
	l.streams = 3 * spareStreams
	if got := nested("d"); got != "LIMIT_STREAMS" {
		t.Errorf("the first of a studio, beyond what may be at all: %q", got)
	}
}

func TestQueueIsBoundedInLengthAndTime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.StorageAtOnce, o.Queue, o.QueueTime = 2, 3, 50*time.Millisecond
		var shed atomic.Int64
		l := New(o, func(reason string) { shed.Add(1) })
		var mu sync.Mutex
		outcome := map[string]int{}
		var wg sync.WaitGroup
		start := time.Now()
		for range 10 {
			wg.Go(func() {
				err := call(l, &chain.Call{}, func() { time.Sleep(40 * time.Millisecond) })
				reason, _ := why(t, err)
				mu.Lock()
				outcome[fmt.Sprintf("%s after %s", reason, time.Since(start))]++
				mu.Unlock()
			})
		}
		wg.Wait()
		// Two work at once, two of the three that wait come next, the last one has waited 50 ms by 80; five are turned away at once.
		want := map[string]int{" after 40ms": 2, " after 80ms": 2, "LIMIT_BUSY after 50ms": 1, "LIMIT_BUSY after 0s": 5}
		for k, n := range want {
			if outcome[k] != n {
				t.Errorf("%q: %d, want %d; all: %v", k, outcome[k], n, outcome)
			}
		}
		if shed.Load() != 6 {
			t.Errorf("%d counted as turned away", shed.Load())
		}
		if err := call(l, &chain.Call{}, nil); err != nil {
			t.Errorf("it has not recovered: %v", err)
		}
	})
}

// Under overload that lasts, what gets in has waited no longer than the short wait; a burst after a quiet moment may wait.
func TestStandingQueue(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.Compute = map[string]bool{"/s/compute": true}
		o.ComputeAtOnce, o.Queue, o.QueueTime, o.StandingQueueTime = 2, 1000, 50*time.Millisecond, 5*time.Millisecond
		l := New(o, nil)
		var mu sync.Mutex
		waits := map[bool]time.Duration{} // longest wait of what got in: at first, and later
		turnedAway := 0
		start := time.Now()
		var wg sync.WaitGroup
		send := func() {
			came := time.Now()
			wg.Go(func() {
				err := call(l, &chain.Call{Method: "/s/compute"}, func() {
					mu.Lock()
					later := came.Sub(start) > 60*time.Millisecond
					waits[later] = max(waits[later], time.Since(came))
					mu.Unlock()
					time.Sleep(time.Millisecond)
				})
				if err != nil {
					mu.Lock()
					turnedAway++
					mu.Unlock()
				}
			})
		}
		for range 8000 { // four times what two seats can do, for a second
			send()
			time.Sleep(125 * time.Microsecond)
		}
		wg.Wait()
		if waits[true] > 5*time.Millisecond {
			t.Errorf("under lasting overload one waited %s", waits[true])
		}
		if waits[false] < 40*time.Millisecond {
			t.Errorf("a burst may wait only %s", waits[false])
		}
		if got := 8000 - turnedAway; got < 1900 {
			t.Errorf("only %d of the 2000 that can be done were done", got)
		}
		time.Sleep(60 * time.Millisecond)
		turnedAway = 0
		for range 90 { // a burst, again
			send()
		}
		wg.Wait()
		if turnedAway != 0 {
			t.Errorf("%d of a burst after the overload were turned away", turnedAway)
		}
	})
}

// What came long ago and is seen only now is turned away even if a place is free, when that goes on: its time is over.
func TestAgeCountsAsWaiting(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.QueueTime, o.StandingQueueTime = 50*time.Millisecond, 5*time.Millisecond
		l := New(o, nil)
		aged := func(age time.Duration) error { return call(l, &chain.Call{Start: time.Now().Add(-age)}, nil) }
		if err := aged(0); err != nil {
			t.Error(err)
		}
		if err := aged(30 * time.Millisecond); err != nil {
			t.Errorf("after a quiet moment: %v", err)
		}
		if err := aged(60 * time.Millisecond); err == nil {
			t.Error("older than may ever be")
		}
		time.Sleep(time.Second)
		if err := aged(30 * time.Millisecond); err != nil {
			t.Errorf("after a quiet second: %v", err)
		}
		for range 6 {
			time.Sleep(10 * time.Millisecond)
			aged(30 * time.Millisecond)
		}
		if err := aged(30 * time.Millisecond); err == nil {
			t.Error("old, and none was young for 60 ms")
		}
		if err := aged(4 * time.Millisecond); err != nil {
			t.Errorf("young: %v", err)
		}
		if err := aged(30 * time.Millisecond); err == nil {
			t.Error("one young one is no quiet moment")
		}
		for range 6 {
			time.Sleep(10 * time.Millisecond)
			aged(4 * time.Millisecond)
		}
		if err := aged(30 * time.Millisecond); err != nil {
			t.Errorf("after young ones for 60 ms: %v", err)
		}
	})
}

// What is long waits for its turn with the parts of sheets, for as long as it may, and does not keep short calls from theirs.
func TestLongWorkTakesTurns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.Compute, o.ComputeAtOnce = map[string]bool{"/s/short": true}, 1
		o.Long, o.LongAtOnce = map[string]bool{"/s/long": true}, 1
		o.QueueTime, o.StandingQueueTime = 50*time.Millisecond, 5*time.Millisecond
		l := New(o, nil)
		done, err := l.Turn(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		start := time.Now()
		waited := make(chan time.Duration, 1)
		go func() {
			if err := call(l, &chain.Call{Method: "/s/long"}, nil); err != nil {
				t.Error(err)
			}
			waited <- time.Since(start)
		}()
		synctest.Wait()
		if err := call(l, &chain.Call{Method: "/s/short"}, nil); err != nil {
			t.Errorf("a short call: %v", err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if _, err := l.Turn(ctx); err == nil {
			t.Error("two turns at once")
		}
		time.Sleep(time.Second)
		done()
		if got := <-waited; got != 2*time.Second {
			t.Errorf("it waited %s", got)
		}
		if done, err := l.Turn(t.Context()); err != nil {
			t.Error(err)
		} else {
			done()
		}
	})
}

func TestTapTurnsAwayWhenTheQueueIsFull(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.StorageAtOnce, o.Queue = 1, 1
		l := New(o, nil)
		tapped := func(method string) error {
			_, err := l.Tap(map[string]bool{"/s/stream": true})(t.Context(), &tap.Info{FullMethodName: method})
			return err
		}
		if err := tapped("/s/m"); err != nil {
			t.Errorf("nothing is under way: %v", err)
		}
		release := make(chan struct{})
		for range 2 {
			go call(l, &chain.Call{Method: "/s/m"}, func() { <-release })
		}
		synctest.Wait()
		if err := tapped("/s/m"); status.Code(err) != codes.ResourceExhausted {
			t.Errorf("the queue is full: %v", err)
		}
		for _, other := range []string{"/s/stream", "/grpc.health.v1.Health/Check"} {
			if err := tapped(other); err != nil {
				t.Errorf("%s: %v", other, err)
			}
		}
		close(release)
	})
}

// Heads without bodies are counted until the body comes or the call ends.
func TestTapBoundsWhatIsArriving(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.Arriving = 2
		l := New(o, nil)
		handle := l.Tap(map[string]bool{"/s/stream": true})
		tapped := func(ctx context.Context, method string) (context.Context, error) {
			return handle(ctx, &tap.Info{FullMethodName: method})
		}
		first, err := tapped(chain.NewHead(t.Context()), "/s/m")
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		if _, err := tapped(ctx, "/s/stream"); err != nil {
			t.Fatal(err)
		}
		if _, err := tapped(t.Context(), "/s/m"); status.Code(err) != codes.ResourceExhausted {
			t.Errorf("a third: %v", err)
		}
		if _, err := tapped(t.Context(), "/grpc.health.v1.Health/Check"); err != nil {
			t.Errorf("health: %v", err)
		}
		cancel()
		time.Sleep(sweepEvery)
		if _, err := tapped(t.Context(), "/s/m"); err != nil {
			t.Errorf("after one has ended: %v", err)
		}
		handler := l.received(func(context.Context) error { return nil }, func(_ any, _ context.Context, decode func(any) error, _ grpc.UnaryServerInterceptor) (any, error) {
			if err := decode(&emptypb.Empty{}); err != nil {
				return nil, err
			}
			_, err := tapped(t.Context(), "/s/m")
			return nil, err
		})
		if _, err := handler(nil, first, func(any) error { return nil }, nil); err != nil {
			t.Errorf("after one has arrived: %v", err)
		}
		if got := len(l.arriving.heads); got != 2 {
			t.Errorf("%d are arriving", got)
		}
	})
}

func TestWhoGivesUpWaitingFreesThePlace(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		o := roomy
		o.StorageAtOnce, o.Queue = 1, 1
		l := New(o, nil)
		release := make(chan struct{})
		go call(l, &chain.Call{}, func() { <-release })
		synctest.Wait()
		ctx, cancel := context.WithCancel(t.Context())
		gaveUp := make(chan error, 1)
		go func() {
			gaveUp <- l.Link().Around(ctx, &chain.Call{Start: time.Now()}, func(context.Context) error { return nil })
		}()
		synctest.Wait()
		cancel()
		if err := <-gaveUp; status.Code(err) != codes.Canceled {
			t.Errorf("it was told %v", err)
		}
		waited := make(chan error, 1)
		go func() { waited <- call(l, &chain.Call{}, nil) }()
		synctest.Wait()
		close(release)
		if err := <-waited; err != nil {
			t.Errorf("the place in the queue was not free: %v", err)
		}
	})
}

func TestHealthIsNeverTurnedAway(t *testing.T) {
	o := roomy
	o.RequestsPerSecond, o.StorageAtOnce, o.Queue = 0.001, 1, 0
	l := New(o, nil)
	for range 100 {
		if err := call(l, &chain.Call{Method: "/grpc.health.v1.Health/Check"}, nil); err != nil {
			t.Fatal(err)
		}
	}
}

func BenchmarkPassing(b *testing.B) {
	o := roomy
	o.StudioRequestsPerSecond = 1e9
	link := New(o, nil).Link()
	c := &chain.Call{Method: "/catchline.v1.ScoreService/ScoreLayering", Party: "k"}
	b.ReportAllocs()
	for b.Loop() {
		c.Start = time.Now()
		link.Around(b.Context(), c, func(context.Context) error { return nil })
	}
}
