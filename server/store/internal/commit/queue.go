package commit

import (
	"context"
	"runtime"
	"sync"

	"github.com/catchline/catchline/server/store"
)

// A group is closed when it has this many writes or ops, so that no write waits long for others' sake.
const (
	maxGroupWrites = 512
	maxGroupOps    = 2048
)

// Queue hands writes to one goroutine, in the groups in which they gather while that one is busy.
type Queue struct {
	commit func([]*Job)
	probe  func() error

	mu      sync.Mutex
	waiting []*Job
	probes  []chan error
	closed  bool
	wake    chan struct{} // holds a token when there may be work
	ended   chan struct{}
}

// Gone reports whether the caller has stopped waiting.
func (j *Job) Gone() bool { return j.ctx.Err() != nil }

// NewQueue starts the goroutine. It calls commit with jobs of which it has to set Answer or Err; a write
// that removes a studio comes alone. Between groups it calls probe where Probe asks for that; nil: nobody does.
func NewQueue(commit func([]*Job), probe func() error) *Queue {
	q := &Queue{commit: commit, probe: probe, wake: make(chan struct{}, 1), ended: make(chan struct{})}
	go q.run()
	return q
}

// Write waits for its turn and its outcome, or for the end of the context.
func (q *Queue) Write(ctx context.Context, w *store.Write) (store.Answer, error) {
	if err := ctx.Err(); err != nil {
		return store.Answer{}, err
	}
	j := &Job{Write: w, ctx: ctx, done: make(chan struct{})}
	q.mu.Lock()
	if q.closed {
		q.mu.Unlock()
		return store.Answer{}, store.ErrClosed
	}
	q.waiting = append(q.waiting, j)
	q.mu.Unlock()
	q.signal()
	select {
	case <-j.done:
		return j.Answer, j.Err
	case <-ctx.Done():
		return store.Answer{}, ctx.Err()
	}
}

// Probe asks, in its turn, whether a write would succeed.
func (q *Queue) Probe(ctx context.Context) error {
	answer := make(chan error, 1)
	q.mu.Lock()
	if q.closed {
		q.mu.Unlock()
		return store.ErrClosed
	}
	q.probes = append(q.probes, answer)
	q.mu.Unlock()
	q.signal()
	select {
	case err := <-answer:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// Close lets the queue take no more, and returns when all that it had taken is done.
func (q *Queue) Close() {
	q.mu.Lock()
	q.closed = true
	q.mu.Unlock()
	q.signal()
	<-q.ended
}

func (q *Queue) signal() {
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

func (q *Queue) run() {
	defer close(q.ended)
	for range q.wake {
		for {
			jobs, probes, closed := q.take()
			if len(probes) > 0 {
				err := q.probe() // once for all that ask
				for _, p := range probes {
					p <- err
				}
			}
			if len(jobs) == 0 {
				if closed {
					return
				}
				break
			}
			q.commit(jobs)
			for _, j := range jobs {
				close(j.done)
			}
			// Who was waiting goes first and writes the next one, which then comes into the next group: else that would begin with whoever is quickest
			// and keep all others waiting for a commit of its own.
			runtime.Gosched()
		}
	}
}

// take returns the next group. Writes whose callers have gone are dropped: nothing of them was done.
func (q *Queue) take() (jobs []*Job, probes []chan error, closed bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	ops, n := 0, 0
	for ; n < len(q.waiting); n++ {
		j := q.waiting[n]
		if err := j.ctx.Err(); err != nil {
			j.Err = err
			close(j.done)
			continue
		}
		alone := j.Write.RemovesStudio()
		if len(jobs) > 0 && (alone || len(jobs) == maxGroupWrites || ops+len(j.Write.Ops) > maxGroupOps) {
			break
		}
		jobs = append(jobs, j)
		ops += len(j.Write.Ops)
		if alone {
			n++
			break
		}
	}
	q.waiting = append(q.waiting[:0:0], q.waiting[n:]...)
	probes, q.probes = q.probes, nil
	return jobs, probes, q.closed
}
