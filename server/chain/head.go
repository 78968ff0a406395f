package chain

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/tap"
)

// Head is the context of a call whose head has come, and maybe no more: what is found out by the head alone is noted in it.
type Head struct {
	context.Context
	Caller any       // who calls, in the terms of the one who has found out; nil: nobody has
	Party  string    // whom the call counts against: see Call.Party
	whole  time.Time // when the whole request had come; zero: that is not known
	stall  *stall    // of a gRPC stream; nil: none is watched for
}

type headKey struct{}

// NewHead returns the context of a call of which nothing is known yet.
func NewHead(ctx context.Context) *Head { return &Head{Context: ctx} }

// HeadOf returns the head that a context was made from, or nil.
func HeadOf(ctx context.Context) *Head {
	h, _ := ctx.Value(headKey{}).(*Head)
	return h
}

// Value implements context.Context.
func (h *Head) Value(key any) any {
	if key == (headKey{}) {
		return h
	}
	return h.Context.Value(key)
}

// Whole notes that the whole request has come. The age of a call counts from here: a body that takes its time on the way says nothing of how
// busy the server is.
func (h *Head) Whole() { h.whole = time.Now() }

// HeadTap makes the head of every gRPC call.
func HeadTap(ctx context.Context, _ *tap.Info) (context.Context, error) { return NewHead(ctx), nil }

// came is when the whole of a call had come, as far as that is known.
func came(ctx context.Context) time.Time {
	if h := HeadOf(ctx); h != nil && !h.whole.IsZero() {
		return h.whole
	}
	return time.Now()
}

// Refused takes a call that is refused by its head through links that only tell of calls, so that it is logged and counted as all others
// are, and returns the error.
func Refused(transport string, links []Link) func(ctx context.Context, method string, why error) error {
	run := Unary(transport, links)
	return func(ctx context.Context, method string, why error) error {
		_, err := run(ctx, nil, &grpc.UnaryServerInfo{FullMethod: method}, func(context.Context, any) (any, error) { return nil, why })
		return err
	}
}
