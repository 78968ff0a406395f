package chain

import (
	"context"
	"strings"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/tap"
)

// Deadlines bound how long calls may take.
type Deadlines struct {
	Default time.Duration // of a unary call that brings none
	Max     time.Duration // of a unary call, whatever it brings
	Stream  time.Duration // of a stream, whatever it brings
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
		ctx, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		return next(ctx)
	}}
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
