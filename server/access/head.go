package access

import (
	"context"
	"time"

	"google.golang.org/grpc/tap"

	"github.com/catchline/catchline/server/chain"
)

// lookUp bounds how long the head of a gRPC call may wait for its key to be looked up: nothing else of its connection is read meanwhile.
const lookUp = 2 * time.Second

// Head finds out by the head of a call who sends it, before anything else of it is read. It notes that in the context's chain.Head. The
// link decides again when the whole call has come, as a key may be revoked meanwhile; so a key that was right a while ago is enough here.
func (g *Guard) Head(ctx context.Context, method string) error {
	if table[method].need == anybody {
		return nil
	}
	head := chain.HeadOf(ctx)
	id, err := g.presented(ctx)
	if err != nil {
		return err
	}
	head.Caller, head.Party = id, id.Party()
	return nil
}

// presented is authenticate without the question whether a known key still works.
func (g *Guard) presented(ctx context.Context) (*Identity, error) {
	if !g.anonymous {
		if secret, err := bearer(ctx); err == nil {
			if id := g.cache.seen(hashOf(secret)); id != nil {
				return id, nil
			}
		}
	}
	return g.authenticate(ctx)
}

// Tap refuses gRPC calls by their heads. Refused is told of it, and returns the error that the caller gets.
func (g *Guard) Tap(refused func(ctx context.Context, method string, why error) error) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		limited, cancel := context.WithTimeout(ctx, lookUp)
		defer cancel()
		if err := g.Head(limited, info.FullMethodName); err != nil {
			if limited.Err() != nil && ctx.Err() == nil {
				err = g.unavailable(ctx, limited.Err())
			}
			return ctx, refused(ctx, info.FullMethodName, err)
		}
		return ctx, nil
	}
}
