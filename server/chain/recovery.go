package chain

import (
	"context"
	"fmt"
	"log/slog"
	"runtime/debug"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Recovery turns a panic into an Internal error that names the request, and logs where it came from.
func Recovery(log *slog.Logger) Link {
	return Link{Name: "recovery", Around: func(ctx context.Context, call *Call, next func(context.Context) error) (err error) {
		defer func() {
			if r := recover(); r != nil {
				log.LogAttrs(ctx, slog.LevelError, "panic in a call",
					slog.String("method", call.Method),
					slog.String("panic", fmt.Sprint(r)), slog.String("stack", string(debug.Stack())))
				err = internal(call.RequestID)
			}
		}()
		return next(ctx)
	}}
}

func internal(requestID string) error {
	s := status.New(codes.Internal, "Something went wrong in the server. It is in the server's log under request id "+requestID+".")
	if d, err := s.WithDetails(
		&errdetails.ErrorInfo{Reason: "INTERNAL", Domain: "catchline"},
		&errdetails.RequestInfo{RequestId: requestID},
	); err == nil {
		s = d
	}
	return s.Err()
}
