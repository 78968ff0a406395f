package access

import (
	"testing"
	"time"
)

// A clock that is set back or forward keeps no key alive for longer than cacheFor: whoever was not told that it is revoked asks again.
func TestClockThatJumps(t *testing.T) {
	start := time.Date(2026, 1, 2, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name  string
		now   time.Time
		known bool
	}{
		{"at once", start, true},
		{"a moment later", start.Add(cacheFor - 1), true},
		{"when it is over", start.Add(cacheFor), false},
		{"set forward by an hour", start.Add(time.Hour), false},
		{"set back by an hour", start.Add(-time.Hour), false},
		{"set back by a millisecond", start.Add(-time.Millisecond), false},
	} {
		now := start
		keys := newCache(func() time.Time { return now })
		keys.put(Hash{1}, now, keys.generation(), entry{id: &Identity{}})
		now = c.now
		if _, known := keys.get(Hash{1}); known != c.known {
			t.Errorf("%s: known %v, want %v", c.name, known, c.known)
		}
	}
}
