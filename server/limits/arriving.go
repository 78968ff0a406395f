package limits

import (
	"context"
	"sync"
	"time"
)

// arriving are the calls of which the head has come and not yet the body. Those that ended without a word are found out when there is no
// more room, since to be told of the end of every call costs each of them more than all other limits together.
type arriving struct {
	most int
	now  func() time.Time

	mu    sync.Mutex
	heads map[*head]struct{}
	swept time.Time
}

// head is the context of a call that is arriving.
type head struct {
	context.Context
	of *arriving
}

type headKey struct{}

// Value implements context.Context.
func (h *head) Value(key any) any {
	if key == (headKey{}) {
		return h
	}
	return h.Context.Value(key)
}

// sweepEvery bounds what the looking for calls that have ended takes while there is no room.
const sweepEvery = 10 * time.Millisecond

// come makes room for a call, or says that there is none.
func (a *arriving) come(ctx context.Context) (context.Context, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.heads) >= a.most {
		if now := a.now(); now.Sub(a.swept) >= sweepEvery {
			a.swept = now
			for h := range a.heads {
				if h.Err() != nil {
					delete(a.heads, h)
				}
			}
		}
		if len(a.heads) >= a.most {
			return ctx, false
		}
	}
	h := &head{ctx, a}
	a.heads[h] = struct{}{}
	return h, true
}

// arrived says that the call of a context is there, if it was arriving.
func arrived(ctx context.Context) {
	h, ok := ctx.Value(headKey{}).(*head)
	if !ok {
		return
	}
	h.of.mu.Lock()
	defer h.of.mu.Unlock()
	delete(h.of.heads, h)
}
