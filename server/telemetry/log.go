// Package telemetry is how the server is seen from outside: logs, metrics and traces. Neither payloads nor
// keys go into any of them, and labels come from bounded sets.
package telemetry

import (
	"context"
	"io"
	"log/slog"
	"time"

	"go.opentelemetry.io/otel/trace"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"github.com/catchline/catchline/server/chain"
)

// NewLogger returns a logger that writes lines of JSON or text. Level and format are as in the settings.
func NewLogger(w io.Writer, level, format string) (*slog.Logger, error) {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		return nil, err
	}
	o := &slog.HandlerOptions{Level: l}
	if format == "text" {
		return slog.New(withRequest{slog.NewTextHandler(w, o)}), nil
	}
	return slog.New(withRequest{slog.NewJSONHandler(w, o)}), nil
}

// withRequest adds the id of the request that a line belongs to.
type withRequest struct{ slog.Handler }

func (h withRequest) Handle(ctx context.Context, r slog.Record) error {
	if call := chain.FromContext(ctx); call != nil && call.RequestID != "" {
		r.AddAttrs(slog.String("request_id", call.RequestID))
	}
	return h.Handler.Handle(ctx, r)
}

func (h withRequest) WithAttrs(attrs []slog.Attr) slog.Handler {
	return withRequest{h.Handler.WithAttrs(attrs)}
}

func (h withRequest) WithGroup(name string) slog.Handler {
	return withRequest{h.Handler.WithGroup(name)}
}

// slow is how long a unary call may take before it is worth a warning.
const slow = 2 * time.Second

// Log is the link that writes a line for a call: at level error what is the server's own fault (who found it logs the cause, under the same request id); at
// warn what was slow; at info what was refused; at debug the rest, and what a limit turned away. What the caller sent, or was told about what
// was sent, is not in it: only the code, the reason and the name of the field.
func Log(log *slog.Logger) chain.Link {
	return chain.Link{Name: "log", Around: func(ctx context.Context, call *chain.Call, next func(context.Context) error) error {
		err := next(ctx)
		took := time.Since(call.Start)
		code := status.Code(err)
		level := levelOf(code)
		if level < slog.LevelWarn && !call.Streaming && took > slow {
			level = slog.LevelWarn
		}
		if !log.Enabled(ctx, level) {
			return err
		}
		attrs := make([]slog.Attr, 0, 12)
		attrs = append(attrs,
			slog.String("method", call.Method),
			slog.String("transport", call.Transport),
			slog.String("code", code.String()),
			slog.Float64("duration_ms", float64(took.Microseconds())/1000),
		)
		if call.Studio != "" {
			attrs = append(attrs, slog.String("studio", call.Studio))
		}
		if call.Key != "" {
			attrs = append(attrs, slog.String("key", call.Key))
		}
		if call.Streaming {
			attrs = append(attrs, slog.Int("sent", call.Sent()))
		}
		if span := trace.SpanContextFromContext(ctx); span.HasTraceID() {
			attrs = append(attrs, slog.String("trace_id", span.TraceID().String()))
		}
		attrs = append(attrs, details(err)...)
		log.LogAttrs(ctx, level, "call", attrs...)
		return err
	}}
}

func levelOf(c codes.Code) slog.Level {
	switch c {
	case codes.OK, codes.Canceled, codes.ResourceExhausted:
		// What is turned away is counted by Metrics.Shed: a line for each would make an overload worse.
		return slog.LevelDebug
	case codes.Unknown, codes.Internal, codes.DataLoss, codes.Unavailable, codes.Unimplemented:
		return slog.LevelError
	case codes.DeadlineExceeded:
		return slog.LevelWarn
	}
	return slog.LevelInfo
}

// details takes from an error what says which kind it is and nothing that was sent.
func details(err error) (attrs []slog.Attr) {
	if err == nil {
		return nil
	}
	s, ok := status.FromError(err)
	if !ok {
		return nil
	}
	for _, d := range s.Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			attrs = append(attrs, slog.String("reason", info.GetReason()))
			if f := info.GetMetadata()["field"]; f != "" {
				attrs = append(attrs, slog.String("field", f))
			}
		}
	}
	return attrs
}
