package commit

import (
	"context"
	"sync"

	"github.com/catchline/catchline/server/store"
)

// Hub hands changes on to the watchers within this process.
type Hub struct {
	mu       sync.Mutex
	watchers map[*watcher]struct{}
	closed   bool
	done     chan struct{}
}

// watcher keeps what its reader has not taken yet. Equal changes are kept once, so it cannot grow
// beyond the number of studios times kinds.
type watcher struct {
	mu      sync.Mutex
	pending map[store.Change]struct{}
	wake    chan struct{}
}

// NewHub returns a hub without watchers.
func NewHub() *Hub {
	return &Hub{watchers: map[*watcher]struct{}{}, done: make(chan struct{})}
}

// Tell passes the changes to every watcher, and waits for none.
func (h *Hub) Tell(changes []store.Change) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for w := range h.watchers {
		w.mu.Lock()
		for _, c := range changes {
			w.pending[c] = struct{}{}
		}
		w.mu.Unlock()
		select {
		case w.wake <- struct{}{}:
		default:
		}
	}
}

// Changes implements store.Watcher.
func (h *Hub) Changes(ctx context.Context) <-chan store.Change {
	out := make(chan store.Change)
	w := &watcher{pending: map[store.Change]struct{}{}, wake: make(chan struct{}, 1)}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		close(out)
		return out
	}
	h.watchers[w] = struct{}{}
	go func() {
		defer close(out)
		defer func() {
			h.mu.Lock()
			delete(h.watchers, w)
			h.mu.Unlock()
		}()
		for {
			select {
			case <-w.wake:
			case <-ctx.Done():
				return
			case <-h.done:
				return
			}
			w.mu.Lock()
			taken := w.pending
			w.pending = map[store.Change]struct{}{}
			w.mu.Unlock()
			for c := range taken {
				select {
				case out <- c:
				case <-ctx.Done():
					return
				case <-h.done:
					return
				}
			}
		}
	}()
	return out
}

// Close ends every watch.
func (h *Hub) Close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.closed {
		h.closed = true
		close(h.done)
	}
}
