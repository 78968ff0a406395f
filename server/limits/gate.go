package limits

import (
	"context"
	"errors"
	"sync/atomic"
	"time"
)

var errBusy = errors.New("busy")

// gate lets a number of calls in at once, and a number of further ones wait for a short time. What is accepted
// is therefore never older than the wait plus its own work, however many come.
type gate struct {
	seats   chan struct{}
	waiting atomic.Int64
	queue   int64
	wait    time.Duration
}

func newGate(concurrent, queue int, wait time.Duration) *gate {
	return &gate{seats: make(chan struct{}, concurrent), queue: int64(queue), wait: wait}
}

// enter returns nil when the call may go on; leave has to follow.
func (g *gate) enter(ctx context.Context) error {
	select {
	case g.seats <- struct{}{}:
		return nil
	default:
	}
	if g.waiting.Add(1) > g.queue {
		g.waiting.Add(-1)
		return errBusy
	}
	defer g.waiting.Add(-1)
	t := time.NewTimer(g.wait)
	defer t.Stop()
	select {
	case g.seats <- struct{}{}:
		return nil
	case <-t.C:
		return errBusy
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (g *gate) leave() { <-g.seats }

// retryAfter is a guess: by then the calls that wait now are through or gone.
func (g *gate) retryAfter() time.Duration { return 2 * g.wait }
