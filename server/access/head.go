package access

import (
	"context"
	"strings"

	"google.golang.org/grpc/tap"

	"github.com/catchline/catchline/server/chain"
)

// Head finds out by the head of a call who sends it, before anything else of it is read. It notes that in the context's chain.Head. The
// link decides again when the whole call has come, as a key may be revoked meanwhile; so a key that was right a while ago is enough here.
func (g *Guard) Head(ctx context.Context, method string) error {
	head := chain.HeadOf(ctx)
	if table[method].need == anybody || head.Caller != nil {
		return nil
	}
	id, err := g.presented(ctx)
	if err != nil {
		return err
	}
	head.Caller, head.Party = id, id.Party()
	return nil
}

// presented is authenticate without the question whether a known key still works.
func (g *Guard) presented(ctx context.Context) (*Identity, error) {
	if secret, err := bearer(ctx); err == nil && !g.anonymous {
		if id := g.cache.seen(hashOf(secret)); id != nil {
			return id, nil
		}
	}
	return g.authenticate(ctx)
}

// Tap finds out by the heads of gRPC calls what takes no time, since nothing else of a connection is read meanwhile: it knows keys that were
// right a while ago, and refuses calls without a key or with what cannot be one. The rest is left to Head. Refused is told of calls that
// are refused, and returns the error that the caller gets.
func (g *Guard) Tap(refused func(ctx context.Context, method string, why error) error) tap.ServerInHandle {
	return func(ctx context.Context, info *tap.Info) (context.Context, error) {
		if g.anonymous || table[info.FullMethodName].need == anybody {
			return ctx, nil
		}
		secret, err := bearer(ctx)
		if err == nil {
			if id := g.cache.seen(hashOf(secret)); id != nil {
				head := chain.HeadOf(ctx)
				head.Caller, head.Party = id, id.Party()
				return ctx, nil
			}
			if !g.likely(secret) {
				err = errKey
			}
		}
		if err != nil {
			return ctx, refused(ctx, info.FullMethodName, err)
		}
		return ctx, nil
	}
}

// likely reports whether a secret may be a key or a token.
func (g *Guard) likely(secret string) bool {
	if g.tokens != nil && strings.Count(secret, ".") == 2 || g.operator(hashOf(secret)) != nil {
		return true
	}
	_, _, err := Parse(secret)
	return err == nil
}
