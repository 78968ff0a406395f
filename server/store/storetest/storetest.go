// Package storetest holds every engine of the store to the sentences of its contract: each subtest is
// named after the sentence that it checks.
package storetest

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/catchline/catchline/server/store"
)

// Database is one empty database, fresh for each subtest.
type Database struct {
	// Open opens a store on it. Opening again, before or after a Close, opens the same data. A nil
	// clock is time.Now.
	Open func(t *testing.T, now func() time.Time) store.Store
	// Damage changes the stored form of a record behind the store's back.
	Damage func(t *testing.T, key store.Key, change func(stored []byte))
	// Check reads the whole database, as the engine's Check does.
	Check func(t *testing.T) error
}

// Factory makes a database; it ends with the test that it is given.
type Factory func(t *testing.T) Database

// Run runs the whole suite.
func Run(t *testing.T, make Factory) {
	for _, group := range []struct {
		name  string
		tests []test
	}{
		{"records", records},
		{"lists", lists},
		{"requests", requests},
		{"order", order},
		{"studios", studios},
		{"calibrations", calibrations},
		{"watching", watching},
		{"damage", damage},
		{"life", life},
	} {
		t.Run(group.name, func(t *testing.T) {
			for _, test := range group.tests {
				t.Run(test.sentence, func(t *testing.T) {
					t.Parallel()
					db := make(t)
					test.check(&bench{T: t, db: db})
				})
			}
		})
	}
}

type test struct {
	sentence string
	check    func(*bench)
}

// bench is a test with a store that has one studio, "s".
type bench struct {
	*testing.T
	db    Database
	store store.Store
}

const studio = "s"

// open opens the store and makes the studio, unless it is there already.
func (b *bench) open() store.Store { return b.openAt(nil) }

func (b *bench) openAt(now func() time.Time) store.Store {
	b.Helper()
	s := b.db.Open(b.T, now)
	b.Cleanup(func() { s.Close() })
	b.store = s
	_, err := s.Write(b.Context(), write(store.Insert(studioRecord(studio))))
	if err != nil && !errors.Is(err, store.ErrAlreadyExists) {
		b.Fatal(err)
	}
	return s
}

func studioRecord(name string) store.Record {
	return store.Record{Key: store.Key{Studio: store.System, Kind: store.KindStudio, ID: name}, Body: []byte(name)}
}

func glaze(id string) store.Key { return store.Key{Studio: studio, Kind: store.KindGlaze, ID: id} }

func tile(id string) store.Key { return store.Key{Studio: studio, Kind: store.KindTile, ID: id} }

func record(k store.Key, body string, labels ...string) store.Record {
	return store.Record{Key: k, Body: []byte(body), Labels: labels}
}

func write(ops ...store.Op) store.Write { return store.Write{Ops: ops} }

func request(id, hash string) store.Request { return store.Request{ID: id, Hash: []byte(hash)} }

// must writes and returns the only record of the answer, or the first one.
func (b *bench) must(ops ...store.Op) store.Record {
	b.Helper()
	a, err := b.store.Write(b.Context(), write(ops...))
	if err != nil {
		b.Fatal(err)
	}
	return a.Records[0]
}

func (b *bench) fails(want error, ops ...store.Op) {
	b.Helper()
	b.failsAs(want, write(ops...))
}

func (b *bench) failsAs(want error, w store.Write) {
	b.Helper()
	if _, err := b.store.Write(b.Context(), w); !errors.Is(err, want) {
		b.Fatalf("got the error %v, want %v", err, want)
	}
}

func (b *bench) get(k store.Key) store.Record {
	b.Helper()
	r, err := b.store.Get(b.Context(), k)
	if err != nil {
		b.Fatalf("%v: %v", k, err)
	}
	return r
}

func (b *bench) absent(k store.Key) {
	b.Helper()
	if _, err := b.store.Get(b.Context(), k); !errors.Is(err, store.ErrNotFound) {
		b.Fatalf("%v: got the error %v, want ErrNotFound", k, err)
	}
}

func (b *bench) same(got, want store.Record) {
	b.Helper()
	if g, w := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", want); g != w {
		b.Fatalf("got  %s\nwant %s", g, w)
	}
}

// walk follows the pages to the end and calls between after each but the last one.
func (b *bench) walk(q store.Query, between func()) []store.Record {
	b.Helper()
	var all []store.Record
	for {
		page, err := b.store.List(b.Context(), q)
		if err != nil {
			b.Fatal(err)
		}
		if len(page.Records) > q.Limit {
			b.Fatalf("a page of %d, limit %d", len(page.Records), q.Limit)
		}
		all = append(all, page.Records...)
		if !page.More {
			return all
		}
		q.After = page.Last
		if between != nil {
			between()
		}
	}
}

func ids(records []store.Record) []string {
	out := []string{}
	for _, r := range records {
		out = append(out, r.ID)
	}
	return out
}

func (b *bench) wantIDs(got []store.Record, want ...string) {
	b.Helper()
	if g, w := fmt.Sprintf("%q", ids(got)), fmt.Sprintf("%q", want); g != w {
		b.Fatalf("got %s, want %s", g, w)
	}
}

// within gives a context that ends long before the test's patience, for what must not hang.
func (b *bench) within(d time.Duration) context.Context {
	ctx, cancel := context.WithTimeout(b.Context(), d)
	b.Cleanup(cancel)
	return ctx
}
