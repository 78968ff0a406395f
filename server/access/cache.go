package access

import (
	"sync"
	"sync/atomic"
	"time"

	"github.com/catchline/catchline/server/store"
)

// cacheFor bounds how long a revoked key may still work on a server that was not told of it. Where it is revoked, and
// wherever the store's changes arrive, it stops at once.
const cacheFor = time.Second

// maxCached bounds the memory; beyond it the cache starts anew.
const maxCached = 10_000

// cache remembers keys that were right, by the hash of the secret. Wrong ones are not remembered.
type cache struct {
	now func() time.Time
	gen atomic.Int64 // grows whenever a key may have changed

	mu      sync.RWMutex
	entries map[Hash]cached
}

type entry struct {
	key *Record
	id  *Identity
}

type cached struct {
	entry
	asked time.Time
}

func newCache(now func() time.Time) *cache {
	return &cache{now: now, entries: map[Hash]cached{}}
}

func (c *cache) get(secret Hash) (entry, bool) {
	c.mu.RLock()
	defer c.mu.RUnlock()
	e, ok := c.entries[secret]
	age := c.now().Sub(e.asked)
	// A clock that was set back makes what is known older than it can be: it is asked for again.
	return e.entry, ok && age >= 0 && age < cacheFor
}

// seen returns whose key a secret was when it was last asked for, or nil.
func (c *cache) seen(secret Hash) *Identity {
	c.mu.RLock()
	defer c.mu.RUnlock()
	return c.entries[secret].id
}

func (c *cache) generation() int64 { return c.gen.Load() }

// put remembers what was asked for at the given time and generation, unless a key has changed since.
func (c *cache) put(secret Hash, asked time.Time, generation int64, e entry) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.gen.Load() != generation {
		return
	}
	if len(c.entries) >= maxCached {
		clear(c.entries)
	}
	c.entries[secret] = cached{e, asked}
}

func (c *cache) forget() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.gen.Add(1)
	clear(c.entries)
}

// follow forgets all when a key, a studio, or anything that is not told in detail, has changed.
func (c *cache) follow(changes <-chan store.Change) {
	for ch := range changes {
		if ch.Kind == store.KindKey || ch.Kind == store.KindStudio || ch.Kind == "" || ch.Studio == store.AnyStudio {
			c.forget()
		}
	}
	c.forget()
}
