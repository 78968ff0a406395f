package chain

import (
	"context"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/tap"
)

// Deadlines bound how long calls may take.
type Deadlines struct {
	Default time.Duration // of a unary call that brings none
	Max     time.Duration // of a unary call, whatever it brings
	Stream  time.Duration // of a stream, whatever it brings
	Write   time.Duration // for which the client of a gRPC stream may take nothing of it; 0: as long as the stream
	// Long are the full names of unary methods whose work grows with the studio's log; they may take as long as a stream.
	Long map[string]bool
}

// within returns how long a call may take at most, and false if it already has a deadline that is no later, or needs
// none because it watches health for as long as the client lives.
func (d *Deadlines) within(ctx context.Context, method string, streaming bool) (time.Duration, bool) {
	if strings.HasPrefix(method, "/grpc.health.") {
		return 0, false
	}
	limit := d.Max
	if streaming = streaming || d.Long[method]; streaming {
		limit = d.Stream
	}
	deadline, has := ctx.Deadline()
	if has && time.Until(deadline) <= limit {
		return 0, false
	}
	if !has && !streaming {
		limit = d.Default
	}
	return limit, true
}

// Deadline gives every call a deadline.
func Deadline(d Deadlines) Link {
	return Link{Name: "deadline", Around: func(ctx context.Context, call *Call, next func(context.Context) error) error {
		limit, ok := d.within(ctx, call.Method, call.Streaming)
		if !ok {
			return next(ctx)
		}
		c := &deadlineContext{Context: ctx, at: time.Now().Add(limit)}
		defer c.stop()
		return next(c)
	}}
}

// deadlineContext ends at a time. There is a clock for it only once somebody waits for the end: most calls look at it now and then, and are
// over long before.
type deadlineContext struct {
	context.Context // that it is made from, until there is a clock
	at              time.Time

	mu      sync.Mutex
	clocked context.Context // nil: nobody has waited
	cancel  context.CancelFunc
	stopped bool
}

// Deadline implements context.Context.
func (c *deadlineContext) Deadline() (time.Time, bool) { return c.at, true }

// Done implements context.Context.
func (c *deadlineContext) Done() <-chan struct{} {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.clocked == nil {
		c.clocked, c.cancel = context.WithDeadline(c.Context, c.at)
		if c.stopped {
			c.cancel()
		}
	}
	return c.clocked.Done()
}

// Err implements context.Context.
func (c *deadlineContext) Err() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.clocked != nil:
		return c.clocked.Err()
	case c.Context.Err() != nil:
		return c.Context.Err()
	case c.stopped:
		return context.Canceled
	case !time.Now().Before(c.at):
		return context.DeadlineExceeded
	}
	return nil
}

// Value implements context.Context. With a clock it is that one which contexts made from this one have to find.
func (c *deadlineContext) Value(key any) any {
	c.mu.Lock()
	clocked := c.clocked
	c.mu.Unlock()
	if clocked != nil {
		return clocked.Value(key)
	}
	return c.Context.Value(key)
}

// stop ends it when its call is over.
func (c *deadlineContext) stop() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stopped = true
	if c.cancel != nil {
		c.cancel()
	}
}

// DeadlineTap gives a gRPC call its deadline as soon as its head has come. The link is too late for a client that then sends
// no body, and does not reach into the transport, where a stream waits that the client does not read. Streams are the full
// names of methods that stream.
func DeadlineTap(d Deadlines, streams map[string]bool) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		limit, ok := d.within(ctx, info.FullMethodName, streams[info.FullMethodName])
		if !ok {
			return ctx, nil
		}
		ctx, cancel := context.WithTimeout(ctx, limit)
		_ = cancel // the transport cancels the context that this one is made from, at the end of the call
		if head := HeadOf(ctx); head != nil && d.Write > 0 && streams[info.FullMethodName] {
			head.stall = &stall{Context: ctx, timeout: d.Write, cut: cancel}
			return head.stall, nil
		}
		return ctx, nil
	}
}

// Taps makes one handle of several, the first one first.
func Taps(taps ...tap.ServerInHandle) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (_ context.Context, err error) {
		for _, t := range taps {
			if ctx, err = t(ctx, info); err != nil {
				break
			}
		}
		return ctx, err
	}
}

// Streams returns the full names of the methods that stream.
func Streams(services map[string]grpc.ServiceInfo) map[string]bool {
	streams := map[string]bool{}
	for service, info := range services {
		for _, m := range info.Methods {
			if m.IsServerStream || m.IsClientStream {
				streams["/"+service+"/"+m.Name] = true
			}
		}
	}
	return streams
}
