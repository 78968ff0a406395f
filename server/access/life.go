package access

import (
	"context"
	"time"
)

// KeyLife is how long keys may work from when they are made; 0: for ever.
type KeyLife struct {
	Any     time.Duration
	ByToken time.Duration // those that the bearer of an identity provider's token makes
}

// Latest returns when a key that the caller makes has to stop at the latest, or the zero time when it need not. A key that stops makes no key
// that outlives it: somebody who was let in for a while would otherwise stay.
func (l KeyLife) Latest(ctx context.Context, now time.Time) time.Time {
	id, _ := FromContext(ctx)
	latest := id.Until
	earlier := func(life time.Duration) {
		if t := now.Add(life); life > 0 && (latest.IsZero() || t.Before(latest)) {
			latest = t
		}
	}
	earlier(l.Any)
	if id.Token {
		earlier(l.ByToken)
	}
	return latest
}
