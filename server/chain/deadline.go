package chain

import (
	"context"
	"strings"
	"time"
)

// Deadlines bound how long calls may take.
type Deadlines struct {
	Default time.Duration // of a unary call that brings none
	Max     time.Duration // of a unary call, whatever it brings
	Stream  time.Duration // of a stream, whatever it brings
}

// Deadline gives every call a deadline, but for those that watch health for as long as the client lives.
func Deadline(d Deadlines) Link {
	return Link{Name: "deadline", Around: func(ctx context.Context, call *Call, next func(context.Context) error) error {
		if call.Streaming && strings.HasPrefix(call.Method, "/grpc.health.") {
			return next(ctx)
		}
		limit := d.Stream
		if !call.Streaming {
			limit = d.Max
			if _, has := ctx.Deadline(); !has {
				limit = d.Default
			}
		}
		ctx, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		return next(ctx)
	}}
}
