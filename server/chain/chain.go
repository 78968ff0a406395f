// Package chain is what every call passes through before it reaches a service, the same for unary calls and
// streams, for gRPC and for HTTP: a list of links, each defined once for both kinds of call.
package chain

import (
	"context"
	"errors"
	"io"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// Call is what is known of the call under way. Links fill it in, and later links read it; it belongs to
// one call and is not to be kept.
type Call struct {
	Method    string // full name, "/package.Service/Method"
	Streaming bool
	Transport string    // "grpc" or "http"
	Start     time.Time // when the whole of it had come
	RequestID string
	Studio    string // of the caller's key; empty: not bound to one
	Key       string // name of the caller's key, not its secret; empty: none
	// Party is whom the call counts against in what is shared out: the studio of the caller, since a studio makes as many keys as it likes.
	// Empty: nobody knows, and all of those count as one.
	Party    string
	Caller   any // who calls, in the terms of the link that has found out; nil: nobody has
	received int
	sent     int
}

// Received returns how many messages have come so far.
func (c *Call) Received() int { return c.received }

// Sent returns how many messages have gone out so far.
func (c *Call) Sent() int { return c.sent }

// Link is one link of the chain.
type Link struct {
	Name string
	// Around is called once a call; it calls next, at most once and before it returns, or says why not. Nil: nothing to do.
	Around func(ctx context.Context, call *Call, next func(context.Context) error) error
	// Request is called for each message that comes from the client, before the service sees it. Nil: nothing to do.
	Request func(ctx context.Context, call *Call, m proto.Message) error
	// Answer is called for each message of a stream to the client. Nil: nothing to do.
	Answer func(ctx context.Context, call *Call, m proto.Message) error
}

type callKey struct{}

// callContext is a context with the call in it: one allocation for the two.
type callContext struct {
	context.Context
	Call
}

// Value implements context.Context.
func (c *callContext) Value(key any) any {
	if key == (callKey{}) {
		return &c.Call
	}
	return c.Context.Value(key)
}

// FromContext returns the call under way, or nil.
func FromContext(ctx context.Context) *Call {
	c, _ := ctx.Value(callKey{}).(*Call)
	return c
}

// NewContext returns a context with the call.
func NewContext(ctx context.Context, c *Call) context.Context {
	return context.WithValue(ctx, callKey{}, c)
}

// Unary makes one interceptor of the links, the first one outermost. Transport goes into each Call.
func Unary(transport string, links []Link) grpc.UnaryServerInterceptor {
	runs := &sync.Pool{New: func() any { return newUnaryRun(links) }}
	return func(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
		c := &callContext{ctx, Call{Method: info.FullMethod, Transport: transport, Start: came(ctx), received: 1}}
		r := runs.Get().(*unaryRun)
		r.call, r.req, r.handler = &c.Call, req, handler
		err := r.from(c, 0)
		resp := r.resp
		// Not reached by a panic, which leaves the run to the collector.
		r.call, r.req, r.handler, r.resp = nil, nil, nil, nil
		runs.Put(r)
		if err != nil {
			return nil, err
		}
		return resp, nil
	}
}

// unaryRun takes one call at a time through the links. It is used again: the functions that links call next are made once.
type unaryRun struct {
	links   []Link
	next    []func(context.Context) error // by link
	call    *Call
	req     any
	resp    any
	handler grpc.UnaryHandler
}

func newUnaryRun(links []Link) *unaryRun {
	r := &unaryRun{links: links, next: make([]func(context.Context) error, len(links))}
	for i := range links {
		r.next[i] = func(ctx context.Context) error {
			if err := links[i].check(ctx, r.call, r.req); err != nil {
				return err
			}
			return r.from(ctx, i+1)
		}
	}
	return r
}

// from runs the links from the i-th on, and the handler.
func (r *unaryRun) from(ctx context.Context, i int) error {
	for ; i < len(r.links); i++ {
		l := &r.links[i]
		if l.Around != nil {
			return l.Around(ctx, r.call, r.next[i])
		}
		if err := l.check(ctx, r.call, r.req); err != nil {
			return err
		}
	}
	var err error
	r.resp, err = r.handler(ctx, r.req)
	return err
}

func (l *Link) check(ctx context.Context, call *Call, req any) error {
	if l.Request == nil {
		return nil
	}
	m, ok := req.(proto.Message)
	if !ok {
		return nil
	}
	return l.Request(ctx, call, m)
}

// Stream is Unary for streams.
func Stream(transport string, links []Link) grpc.StreamServerInterceptor {
	return func(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
		call := &Call{Method: info.FullMethod, Streaming: true, Transport: transport, Start: came(ss.Context())}
		r := streamRun{call: call, links: links, stream: ss, srv: srv, handler: handler}
		return r.from(NewContext(ss.Context(), call), 0)
	}
}

type streamRun struct {
	call    *Call
	links   []Link
	stream  grpc.ServerStream
	srv     any
	handler grpc.StreamHandler
}

func (r *streamRun) from(ctx context.Context, i int) error {
	for ; i < len(r.links); i++ {
		if around := r.links[i].Around; around != nil {
			return around(ctx, r.call, func(ctx context.Context) error { return r.from(ctx, i+1) })
		}
	}
	s := &checkedStream{ServerStream: r.stream, ctx: ctx, call: r.call, links: r.links}
	if head := HeadOf(ctx); head != nil {
		s.stall = head.stall
	}
	return r.handler(r.srv, s)
}

// checkedStream lets every link see the messages.
type checkedStream struct {
	grpc.ServerStream
	ctx   context.Context
	call  *Call
	links []Link
	stall *stall
}

func (s *checkedStream) Context() context.Context { return s.ctx }

func (s *checkedStream) RecvMsg(m any) error {
	if err := s.ServerStream.RecvMsg(m); err != nil {
		return s.ended(err)
	}
	s.call.received++
	for i := range s.links {
		if err := s.links[i].check(s.ctx, s.call, m); err != nil {
			return err
		}
	}
	return nil
}

func (s *checkedStream) SendMsg(m any) error {
	// A context that ended by a link's own deadline is not known to the transport.
	if err := s.ctx.Err(); err != nil {
		return status.FromContextError(err).Err()
	}
	s.call.sent++
	pm, ok := m.(proto.Message)
	for i := range s.links {
		if answer := s.links[i].Answer; answer != nil && ok {
			if err := answer(s.ctx, s.call, pm); err != nil {
				return err
			}
		}
	}
	return s.ended(s.stall.watch(func() error { return s.ServerStream.SendMsg(m) }))
}

// ended says why a stream ended, where the transport says only that it did, or says it in other words.
func (s *checkedStream) ended(err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return status.FromContextError(err).Err()
	}
	if errors.Is(err, io.EOF) {
		// The transport's own context ends before those made from it.
		for _, ctx := range []context.Context{s.ServerStream.Context(), s.ctx} {
			if ended := ctx.Err(); ended != nil {
				return status.FromContextError(ended).Err()
			}
		}
	}
	return err
}
