package chain

import (
	"context"
	"encoding/hex"
	"math/rand/v2"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
)

// RequestIDHeader carries the id by which a call is found in logs, in both directions.
const RequestIDHeader = "x-request-id"

const maxRequestID = 64

// RequestID takes the caller's id of the request if it is fit to be logged, else makes one. It goes back to a caller that sent one, with every
// stream, and with every unary call that fails: on the others, whose answer says all, it would be most of what the chain costs.
func RequestID() Link {
	return Link{Name: "request id", Around: func(ctx context.Context, call *Call, next func(context.Context) error) error {
		ids := metadata.ValueFromIncomingContext(ctx, RequestIDHeader)
		given := len(ids) > 0 && fitRequestID(ids[0])
		if given {
			call.RequestID = ids[0]
		} else {
			call.RequestID = newRequestID()
		}
		early := given || call.Streaming
		if early {
			sendRequestID(ctx, call)
		}
		err := next(ctx)
		if err != nil && !early {
			sendRequestID(ctx, call)
		}
		return err
	}}
}

func sendRequestID(ctx context.Context, call *Call) {
	// The only error is that headers have gone out already, which they have not: those of a unary call go out with its answer.
	_ = grpc.SetHeader(ctx, metadata.MD{RequestIDHeader: {call.RequestID}})
}

// fitRequestID keeps what could forge or bloat a line of the log out of it.
func fitRequestID(id string) bool {
	if len(id) == 0 || len(id) > maxRequestID {
		return false
	}
	for i := range len(id) {
		c := id[i]
		if (c < '0' || c > '9') && (c < 'a' || c > 'z') && (c < 'A' || c > 'Z') && c != '-' && c != '_' && c != '.' {
			return false
		}
	}
	return true
}

// newRequestID is unguessable enough for what it is: a word to find a line by.
func newRequestID() string {
	var b [16]byte
	for i := 0; i < len(b); i += 8 {
		r := rand.Uint64()
		for j := range 8 {
			b[i+j] = byte(r >> (8 * j))
		}
	}
	return hex.EncodeToString(b[:])
}
