package limits

import (
	"context"
	"errors"
	"sync/atomic"
	"time"
)

var errBusy = errors.New("busy")

// gate lets a number of calls in at once and keeps a queue before it. A burst may queue for the whole patience; but
// once the queue has not been empty for as long as that, more is coming than can be done, waiting helps nobody, and
// a call that does not get in at once is turned away soon, until none has been for that long. This is the controlled delay of Nichols and Jacobson,
// "Controlling Queue Delay", ACM Queue 10 (5), 2012, in its simplest form. So what gets in under overload is never
// older than the short wait plus its own work, however many come.
type gate struct {
	seats    chan struct{}
	queue    int64
	patience time.Duration
	standing time.Duration // longest wait in a queue that stands
	waiting  atomic.Int64
	born     time.Time
	// In nanoseconds from born: since when the queue has stood, 0 for not at all; when a call last found it so; and until when
	// waits are short, because calls were turned away not long ago.
	stands, last, short atomic.Int64
}

func newGate(seats, queue int, patience, standing time.Duration) *gate {
	return &gate{seats: make(chan struct{}, seats), queue: int64(queue), patience: patience, standing: standing, born: time.Now()}
}

// enter returns nil when a call that came at the given time may go on; leave has to follow. What passed between its coming and now is
// part of its wait: with the processors all busy, calls queue before they are seen here.
func (g *gate) enter(ctx context.Context, came time.Time) (err error) {
	now := time.Now()
	age := now.Sub(came)
	if age <= g.standing && g.take() {
		g.stands.Store(0) // nobody waits: a free seat goes to who waits longest
		return nil
	}
	wait, at := g.patience, int64(now.Sub(g.born))
	if g.stood(at) > g.patience || at < g.short.Load() {
		wait = min(g.standing, g.patience)
		defer func() {
			if err == errBusy {
				g.short.Store(at + int64(g.patience))
			}
		}()
	}
	if wait -= age; wait <= 0 {
		return errBusy
	}
	if g.take() {
		return nil
	}
	if g.waiting.Add(1) > g.queue {
		g.waiting.Add(-1)
		return errBusy
	}
	defer g.waiting.Add(-1)
	t := time.NewTimer(wait)
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

// stood returns for how long the queue has stood, when a call finds it so at a time. A time in which none did was a quiet one.
func (g *gate) stood(at int64) time.Duration {
	quiet := at-g.last.Swap(at) > int64(g.patience)
	since := g.stands.Load()
	if quiet || since == 0 {
		g.stands.Store(max(at, 1))
		return 0
	}
	return time.Duration(at - since)
}

// take takes a free seat, if there is one.
func (g *gate) take() bool {
	select {
	case g.seats <- struct{}{}:
		return true
	default:
		return false
	}
}

func (g *gate) leave() { <-g.seats }

// full reports whether a call that comes now would be turned away.
func (g *gate) full() bool { return g.waiting.Load() >= g.queue && len(g.seats) == cap(g.seats) }
