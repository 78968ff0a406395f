package chain

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/wrapperspb"
)

// stream is a stream of the messages in, which remembers what is sent.
type stream struct {
	grpc.ServerStream
	ctx  context.Context
	in   []string
	sent []proto.Message
}

func (s *stream) Context() context.Context { return s.ctx }
func (s *stream) RecvMsg(m any) error {
	if len(s.in) == 0 {
		return io.EOF
	}
	m.(*wrapperspb.StringValue).Value = s.in[0]
	s.in = s.in[1:]
	return nil
}
func (s *stream) SendMsg(m any) error {
	s.sent = append(s.sent, m.(proto.Message))
	return nil
}

// spy is a link that writes down what it sees.
func spy(name string, seen *[]string) Link {
	return Link{
		Name: name,
		Around: func(ctx context.Context, _ *Call, next func(context.Context) error) error {
			*seen = append(*seen, name+" in")
			err := next(ctx)
			*seen = append(*seen, name+" out")
			return err
		},
		Request: func(_ context.Context, _ *Call, m proto.Message) error {
			*seen = append(*seen, name+" request "+m.(*wrapperspb.StringValue).Value)
			return nil
		},
		Answer: func(context.Context, *Call, proto.Message) error {
			*seen = append(*seen, name+" answer")
			return nil
		},
	}
}

func TestLinksRunInOrder(t *testing.T) {
	var seen []string
	links := []Link{spy("a", &seen), {Name: "empty"}, spy("b", &seen)}
	resp, err := Unary("grpc", links)(t.Context(), wrapperspb.String("q"), &grpc.UnaryServerInfo{FullMethod: "/s/m"},
		func(ctx context.Context, req any) (any, error) {
			if c := FromContext(ctx); c == nil || c.Method != "/s/m" || c.Transport != "grpc" || c.Streaming || c.Received() != 1 {
				t.Errorf("call is %+v", c)
			}
			seen = append(seen, "handler")
			return "answer", nil
		})
	want := []string{"a in", "a request q", "b in", "b request q", "handler", "b out", "a out"}
	if err != nil || resp != "answer" || !slices.Equal(seen, want) {
		t.Errorf("unary: %v, %v, %v; want %v", resp, err, seen, want)
	}

	seen = nil
	s := &stream{ctx: t.Context(), in: []string{"q1", "q2"}}
	err = Stream("http", links)(nil, s, &grpc.StreamServerInfo{FullMethod: "/s/m"}, func(_ any, ss grpc.ServerStream) error {
		for range 2 {
			if err := ss.RecvMsg(&wrapperspb.StringValue{}); err != nil {
				return err
			}
		}
		if err := ss.RecvMsg(&wrapperspb.StringValue{}); err != io.EOF {
			t.Errorf("end of the stream is %v", err)
		}
		if err := ss.SendMsg(wrapperspb.String("x")); err != nil {
			return err
		}
		if c := FromContext(ss.Context()); !c.Streaming || c.Transport != "http" || c.Received() != 2 || c.Sent() != 1 {
			t.Errorf("call is %+v", c)
		}
		return nil
	})
	want = []string{"a in", "b in", "a request q1", "b request q1", "a request q2", "b request q2", "a answer", "b answer", "b out", "a out"}
	if err != nil || len(s.sent) != 1 || !slices.Equal(seen, want) {
		t.Errorf("stream: %v, sent %d, %v; want %v", err, len(s.sent), seen, want)
	}
}

func TestALinkThatRefusesEndsTheCall(t *testing.T) {
	refusal := errors.New("no")
	for name, l := range map[string]Link{
		"around":  {Around: func(context.Context, *Call, func(context.Context) error) error { return refusal }},
		"request": {Request: func(context.Context, *Call, proto.Message) error { return refusal }},
	} {
		_, err := Unary("grpc", []Link{l})(t.Context(), wrapperspb.String(""), &grpc.UnaryServerInfo{}, func(context.Context, any) (any, error) {
			t.Errorf("%s: the handler was called", name)
			return nil, nil
		})
		if err != refusal {
			t.Errorf("%s: unary is %v", name, err)
		}
		err = Stream("grpc", []Link{l})(nil, &stream{ctx: t.Context(), in: []string{"q"}}, &grpc.StreamServerInfo{}, func(_ any, ss grpc.ServerStream) error {
			return ss.RecvMsg(&wrapperspb.StringValue{})
		})
		if err != refusal {
			t.Errorf("%s: stream is %v", name, err)
		}
	}
}

// call runs a link around f, unary and as a stream.
func call(t *testing.T, ctx context.Context, l Link, f func(context.Context) error) map[string]error {
	t.Helper()
	_, unary := Unary("grpc", []Link{l})(ctx, wrapperspb.String(""), &grpc.UnaryServerInfo{FullMethod: "/s/unary"}, func(ctx context.Context, _ any) (any, error) { return nil, f(ctx) })
	stream := Stream("grpc", []Link{l})(nil, &stream{ctx: ctx}, &grpc.StreamServerInfo{FullMethod: "/s/stream"}, func(_ any, ss grpc.ServerStream) error { return f(ss.Context()) })
	return map[string]error{"unary": unary, "stream": stream}
}

func TestRequestID(t *testing.T) {
	given := func(id string) (got string) {
		ctx := metadata.NewIncomingContext(t.Context(), metadata.Pairs(RequestIDHeader, id))
		call(t, ctx, RequestID(), func(ctx context.Context) error { got = FromContext(ctx).RequestID; return nil })
		return got
	}
	if got := given("Abc-1._z"); got != "Abc-1._z" {
		t.Errorf("a fit id became %q", got)
	}
	seen := map[string]bool{}
	for _, id := range []string{"", "a b", "a\nforged line", strings.Repeat("x", 65), "é"} {
		got := given(id)
		if len(got) != 32 || got == id || seen[got] {
			t.Errorf("%q became %q", id, got)
		}
		seen[got] = true
	}
}

// headers keeps what a call sends back before its answer.
type headers struct{ md metadata.MD }

func (*headers) Method() string                   { return "/s/unary" }
func (h *headers) SetHeader(md metadata.MD) error { h.md = metadata.Join(h.md, md); return nil }
func (*headers) SendHeader(metadata.MD) error     { return nil }
func (*headers) SetTrailer(metadata.MD) error     { return nil }

// The id goes back where it can be of use: to who gave it, and with whatever failed.
func TestRequestIDGoesBack(t *testing.T) {
	for _, c := range []struct {
		given string
		err   error
		want  bool
	}{{"", nil, false}, {"", errors.New("no"), true}, {"mine", nil, true}, {"mine", errors.New("no"), true}, {"a b", nil, false}} {
		sent := &headers{}
		ctx := grpc.NewContextWithServerTransportStream(t.Context(), sent)
		ctx = metadata.NewIncomingContext(ctx, metadata.Pairs(RequestIDHeader, c.given))
		id := ""
		Unary("grpc", []Link{RequestID()})(ctx, wrapperspb.String(""), &grpc.UnaryServerInfo{}, func(ctx context.Context, _ any) (any, error) {
			id = FromContext(ctx).RequestID
			return nil, c.err
		})
		if got := sent.md.Get(RequestIDHeader); len(got) > 1 || (len(got) == 1) != c.want || c.want && got[0] != id {
			t.Errorf("%+v: %q was sent of %q", c, got, id)
		}
	}
}

func TestPanicBecomesInternalWithRequestID(t *testing.T) {
	var log bytes.Buffer
	recovery := Recovery(slog.New(slog.NewTextHandler(&log, nil)))
	both := Link{Around: func(ctx context.Context, c *Call, next func(context.Context) error) error {
		c.RequestID = "the-id"
		return recovery.Around(ctx, c, next)
	}}
	for kind, err := range call(t, t.Context(), both, func(context.Context) error { panic("out of range") }) {
		if status.Code(err) != codes.Internal || !strings.Contains(err.Error(), "the-id") || strings.Contains(err.Error(), "out of range") {
			t.Errorf("%s: %v", kind, err)
		}
	}
	if !strings.Contains(log.String(), "out of range") || !strings.Contains(log.String(), "chain_test.go") {
		t.Errorf("the log does not say where: %s", log.String())
	}
}

// The context with a deadline does what the standard library's does, whether or not anybody waits for its end.
func TestDeadlineContext(t *testing.T) {
	link := Deadline(Deadlines{Default: time.Minute, Max: time.Hour})
	within := func(t *testing.T, parent context.Context, f func(ctx context.Context)) (kept context.Context) {
		t.Helper()
		link.Around(parent, &Call{Method: "/s/m"}, func(ctx context.Context) error { f(ctx); kept = ctx; return nil })
		return kept
	}
	ended := func(ctx context.Context) bool {
		select {
		case <-ctx.Done():
			return true
		default:
			return false
		}
	}
	for _, waits := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			kept := within(t, t.Context(), func(ctx context.Context) {
				if waits && ended(ctx) || ctx.Err() != nil {
					t.Error("it begins ended")
				}
				made, cancel := context.WithCancel(ctx)
				defer cancel()
				time.Sleep(time.Minute - time.Nanosecond)
				if waits && ended(ctx) || ctx.Err() != nil || made.Err() != nil {
					t.Error("it has ended too early")
				}
				time.Sleep(time.Nanosecond)
				synctest.Wait()
				if ctx.Err() != context.DeadlineExceeded || !ended(ctx) || ctx.Err() != context.DeadlineExceeded || made.Err() != context.DeadlineExceeded {
					t.Errorf("at the deadline: %v, made from it: %v", ctx.Err(), made.Err())
				}
			})
			if kept.Err() != context.DeadlineExceeded {
				t.Errorf("after the call: %v", kept.Err())
			}

			parent, cancel := context.WithCancel(context.WithValue(t.Context(), callKey{}, "known"))
			within(t, parent, func(ctx context.Context) {
				if waits {
					ended(ctx)
				}
				if ctx.Value(callKey{}) != "known" {
					t.Error("a value is not found")
				}
				cancel()
				if ctx.Err() != context.Canceled || !ended(ctx) || ctx.Value(callKey{}) != "known" {
					t.Errorf("its parent was cancelled: %v", ctx.Err())
				}
			})

			kept = within(t, t.Context(), func(ctx context.Context) {
				if waits {
					ended(ctx)
				}
			})
			if kept.Err() != context.Canceled || !ended(kept) {
				t.Errorf("after a call that ended in time: %v", kept.Err())
			}
		})
	}
}

func TestDeadline(t *testing.T) {
	link := Deadline(Deadlines{Default: time.Minute, Max: time.Hour, Stream: 3 * time.Hour})
	left := func(ctx context.Context) map[string]time.Duration {
		got := map[string]time.Duration{}
		call(t, ctx, link, func(ctx context.Context) error {
			d, ok := ctx.Deadline()
			if !ok {
				t.Error("no deadline")
			}
			got[FromContext(ctx).Method] = time.Until(d)
			return nil
		})
		return got
	}
	within := func(what string, got, want time.Duration) {
		if got > want || got < want-10*time.Second {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	none := left(t.Context())
	within("unary without one", none["/s/unary"], time.Minute)
	within("stream without one", none["/s/stream"], 3*time.Hour)
	far, cancel := context.WithTimeout(t.Context(), 24*time.Hour)
	defer cancel()
	within("unary, far", left(far)["/s/unary"], time.Hour)
	within("stream, far", left(far)["/s/stream"], 3*time.Hour)
	near, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	within("unary, near", left(near)["/s/unary"], 30*time.Second)

	watch := &stream{ctx: t.Context()}
	Stream("grpc", []Link{link})(nil, watch, &grpc.StreamServerInfo{FullMethod: "/grpc.health.v1.Health/Watch"}, func(_ any, ss grpc.ServerStream) error {
		if _, ok := ss.Context().Deadline(); ok {
			t.Error("watching health has a deadline")
		}
		return nil
	})
}

// A transport that only says EOF when its context has ended is translated; the link's own deadline ends sending too.
func TestStreamEndsWithItsReason(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	err := Stream("http", nil)(nil, &stream{ctx: ctx}, &grpc.StreamServerInfo{}, func(_ any, ss grpc.ServerStream) error {
		cancel()
		if err := ss.SendMsg(wrapperspb.String("")); status.Code(err) != codes.Canceled {
			t.Errorf("sending after the end is %v", err)
		}
		return ss.RecvMsg(&wrapperspb.StringValue{})
	})
	if status.Code(err) != codes.Canceled {
		t.Errorf("receiving after the end is %v", err)
	}
}

func BenchmarkUnaryOfSevenEmptyLinks(b *testing.B) {
	pass := Link{Around: func(ctx context.Context, _ *Call, next func(context.Context) error) error { return next(ctx) }}
	f := Unary("grpc", []Link{pass, pass, pass, pass, pass, pass, pass})
	info := &grpc.UnaryServerInfo{FullMethod: "/s/m"}
	b.ReportAllocs()
	for b.Loop() {
		f(b.Context(), nil, info, func(context.Context, any) (any, error) { return nil, nil })
	}
}
