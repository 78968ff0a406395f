package limits

import (
	"context"
	"errors"
	"slices"
	"sync"
	"time"
)

var errBusy = errors.New("busy")

// gate shares seats out among parties; who calls counts as one party, however many keys and connections it has. Before the seats is a queue.
// Three rules keep one party from harming another:
//
//   - a free seat goes to the waiting party that has the fewest, in turns where they have as many, and within a party to who waits longest;
//   - when the queue is full, who comes from a party with fewer waiting takes the place of the last one of the party with the most;
//   - how long a call may wait depends on the queue of its own party only.
//
// A burst may queue for the whole patience; but once a party's queue has not been empty for as long as that, more is coming than can be done,
// waiting helps nobody, and a call that does not get in at once is turned away soon, until none has been for that long. This is the controlled
// delay of Nichols and Jacobson, "Controlling Queue Delay", ACM Queue 10 (5), 2012, in its simplest form. So what gets in under overload is
// never older than the short wait plus its own work, however many come.
//
// A seat is whatever is shared out: a place to compute, or a byte of memory, of which one call takes many.
type gate struct {
	queue    int
	patience time.Duration
	standing time.Duration // longest wait in a queue that stands

	mu      sync.Mutex
	seats   int64
	free    int64
	waiting int      // of those that may be pushed out
	lined   []*party // those that have someone waiting, whose turn it is longest first
	parties map[string]*party
	swept   time.Time
}

// party is what one party has and waits for.
type party struct {
	taken   int64
	waiting int // of those that may be pushed out
	queue   []*waiter
	// Since when the queue has stood, zero for not at all; when a call last found it so; and until when waits are short, because calls were
	// turned away not long ago.
	stands, last, short time.Time
	used                time.Time
}

// ask is what a call asks of a gate.
type ask struct {
	party string
	seats int64
	most  int64 // that the party may have with these; 0: any number
	leave int64 // seats that have to stay free
}

type waiter struct {
	ask
	stays bool       // is never pushed out
	turn  chan error // nil: it has its seats; errBusy: it was pushed out
}

func newGate(seats int64, queue int, patience, standing time.Duration) *gate {
	return &gate{queue: queue, patience: patience, standing: standing, seats: seats, free: seats, parties: map[string]*party{}}
}

// enter returns nil when a call that came at the given time may go on; leave has to follow. What passed between its coming and now is
// part of its wait: with the processors all busy, calls queue before they are seen here.
func (g *gate) enter(ctx context.Context, a ask, came time.Time) error {
	g.mu.Lock()
	now := time.Now()
	p := g.party(a.party, now)
	age := now.Sub(came)
	if age <= g.standing && g.fits(p, a) {
		p.stands = time.Time{} // nobody of it waits
		g.take(p, a)
		g.mu.Unlock()
		return nil
	}
	wait, hurried := g.patience, false
	if p.stood(now, g.patience) > g.patience || now.Before(p.short) {
		wait, hurried = min(g.standing, g.patience), true
	}
	err := errBusy
	switch wait -= age; {
	case wait > 0 && g.fits(p, a):
		g.take(p, a)
		err = nil
	case wait > 0 && g.makeRoom(p):
		t := time.NewTimer(wait)
		defer t.Stop()
		err = g.await(ctx, p, &waiter{ask: a}, t.C)
	}
	if hurried && errors.Is(err, errBusy) {
		p.short = now.Add(g.patience)
	}
	g.mu.Unlock()
	return err
}

// turn is enter for a part of a call that has been let in: it waits for as long as the context lets it, however long the queue is.
func (g *gate) turn(ctx context.Context, a ask) error {
	g.mu.Lock()
	defer g.mu.Unlock()
	p := g.party(a.party, time.Now())
	if g.fits(p, a) {
		g.take(p, a)
		return nil
	}
	return g.await(ctx, p, &waiter{ask: a, stays: true}, nil)
}

// leave gives the seats back.
func (g *gate) leave(a ask) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.free += a.seats
	g.parties[a.party].taken -= a.seats
	g.hand()
}

// full reports whether a call that comes now would be turned away for want of a place in the queue.
func (g *gate) full(a ask) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	p := g.party(a.party, time.Now())
	if g.fits(p, a) || g.waiting < g.queue {
		return false
	}
	most := g.longest()
	return most == nil || most.waiting <= p.waiting+1
}

// await waits for its turn. g.mu is held when it is called and when it returns, and not while it waits.
func (g *gate) await(ctx context.Context, p *party, w *waiter, timeout <-chan time.Time) error {
	w.turn = make(chan error, 1)
	if len(p.queue) == 0 {
		g.lined = append(g.lined, p)
	}
	p.queue = append(p.queue, w)
	g.count(p, w, 1)
	g.mu.Unlock()
	var gaveUp error
	select {
	case err := <-w.turn:
		g.mu.Lock()
		return err
	case <-timeout:
		gaveUp = errBusy
	case <-ctx.Done():
		gaveUp = ctx.Err()
	}
	g.mu.Lock()
	if i := slices.Index(p.queue, w); i >= 0 {
		g.drop(p, i)
		return gaveUp
	}
	return <-w.turn // it came at the same moment
}

// hand gives free seats to those who wait.
func (g *gate) hand() {
	for g.free > 0 {
		var next *party
		at := -1
		for _, p := range g.lined {
			if next != nil && p.taken >= next.taken {
				continue
			}
			if i := slices.IndexFunc(p.queue, func(w *waiter) bool { return g.fits(p, w.ask) }); i >= 0 {
				next, at = p, i
			}
		}
		if next == nil {
			return
		}
		w := next.queue[at]
		g.drop(next, at)
		if len(next.queue) == 0 {
			next.stands = time.Time{}
		} else { // the others are next
			i := slices.Index(g.lined, next)
			g.lined = append(slices.Delete(g.lined, i, i+1), next)
		}
		g.take(next, w.ask)
		w.turn <- nil
	}
}

// makeRoom finds a place in the queue for one more of a party, and reports whether there is one.
func (g *gate) makeRoom(p *party) bool {
	if g.waiting < g.queue {
		return true
	}
	most := g.longest()
	if most == nil || most.waiting <= p.waiting+1 {
		return false
	}
	for i, w := range slices.Backward(most.queue) {
		if !w.stays {
			g.drop(most, i)
			w.turn <- errBusy
			return true
		}
	}
	return false
}

// longest is the party of which the most wait that may be pushed out, or nil.
func (g *gate) longest() *party {
	var most *party
	for _, p := range g.lined {
		if most == nil || p.waiting > most.waiting {
			most = p
		}
	}
	return most
}

// drop takes one out of the queue.
func (g *gate) drop(p *party, at int) {
	g.count(p, p.queue[at], -1)
	p.queue = slices.Delete(p.queue, at, at+1)
	if len(p.queue) == 0 {
		g.lined = slices.DeleteFunc(g.lined, func(other *party) bool { return other == p })
	}
}

func (g *gate) count(p *party, w *waiter, by int) {
	if !w.stays {
		p.waiting += by
		g.waiting += by
	}
}

func (g *gate) fits(p *party, a ask) bool {
	return g.free-a.seats >= a.leave && (a.most == 0 || p.taken+a.seats <= a.most)
}

func (g *gate) take(p *party, a ask) {
	g.free -= a.seats
	p.taken += a.seats
}

// party returns what is known of a party. One that has been idle for long is as good as unknown, and forgotten.
func (g *gate) party(name string, now time.Time) *party {
	if now.Sub(g.swept) > idle {
		g.swept = now
		for k, p := range g.parties {
			if p.taken == 0 && len(p.queue) == 0 && now.Sub(p.used) > idle+g.patience {
				delete(g.parties, k)
			}
		}
	}
	p := g.parties[name]
	if p == nil {
		p = &party{}
		g.parties[name] = p
	}
	p.used = now
	return p
}

// stood returns for how long the queue has stood, when a call finds it so. A time in which none did was a quiet one.
func (p *party) stood(now time.Time, patience time.Duration) time.Duration {
	quiet := now.Sub(p.last) > patience
	p.last = now
	if quiet || p.stands.IsZero() {
		p.stands = now
		return 0
	}
	return now.Sub(p.stands)
}
