package storetest

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/catchline/catchline/server/store"
)

func insertOnce(id, hash string, k store.Key, body string) store.Write {
	return store.Write{Request: request(id, hash), Ops: []store.Op{store.Insert(record(k, body, "x=1"))}}
}

// replays checks that the write gets the first answer once more.
func (b *bench) replays(w store.Write, first store.Answer) {
	b.Helper()
	for range 2 {
		again, err := b.store.Write(b.Context(), w)
		if err != nil || !again.Replayed || len(again.Records) != len(first.Records) {
			b.Fatalf("got %+v, %v", again, err)
		}
		for i := range again.Records {
			b.same(again.Records[i], first.Records[i])
		}
	}
	read, err := b.store.Answered(b.Context(), w.Ops[0].Record.Studio, w.Request)
	if err != nil || !read.Replayed || len(read.Records) != len(first.Records) {
		b.Fatalf("Answered: %+v, %v", read, err)
	}
}

func (b *bench) first(w store.Write) store.Answer {
	b.Helper()
	a, err := b.store.Write(b.Context(), w)
	if err != nil || a.Replayed {
		b.Fatalf("the first time: %+v, %v", a, err)
	}
	return a
}

var requests = []test{
	{"the same hash gets the first answer once more", func(b *bench) {
		b.open()
		w := insertOnce("r", "h", tile("1"), "first")
		a := b.first(w)
		b.replays(w, a)
		// Also when the record has changed since, or is gone.
		b.must(store.Replace(record(tile("1"), "second")))
		b.replays(w, a)
		b.must(store.Remove(tile("1"), 0))
		b.replays(w, a)
		b.absent(tile("1"))
	}},
	{"a repeated write changes nothing", func(b *bench) {
		b.open()
		w := insertOnce("r", "h", tile("1"), "first")
		b.first(w)
		before, err := b.store.Versions(b.Context(), studio)
		if err != nil {
			b.Fatal(err)
		}
		b.store.Write(b.Context(), w)
		after, err := b.store.Versions(b.Context(), studio)
		if err != nil || fmt.Sprint(before) != fmt.Sprint(after) {
			b.Fatalf("before %v, after %v, %v", before, after, err)
		}
	}},
	{"replacing, removing and several steps can be repeated as well", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(tile("1"), "1")))
		r := record(tile("1"), "2")
		r.Revision = made.Revision
		for i, ops := range [][]store.Op{
			{store.Replace(r)},
			{store.Remove(tile("1"), 0)},
			{store.Insert(record(tile("2"), "")), store.Insert(record(glaze("3"), "")), store.Insert(record(store.Key{Studio: studio, Kind: store.KindCalibration}, ""))},
		} {
			w := store.Write{Request: request(fmt.Sprint(i), "h"), Ops: ops}
			b.replays(w, b.first(w))
		}
	}},
	{"each of several writes to a record gets its own answer once more", func(b *bench) {
		b.open()
		var writes []store.Write
		var answers []store.Answer
		for i, op := range []store.Op{
			store.Insert(record(tile("1"), "1", "x=1")), store.Replace(record(tile("1"), "2", "x=2")), store.Replace(record(tile("1"), "3")),
			store.Remove(tile("1"), 0), store.Insert(record(tile("1"), "4")),
		} {
			writes = append(writes, store.Write{Request: request(fmt.Sprint(i), "h"), Ops: []store.Op{op}})
			answers = append(answers, b.first(writes[i]))
			for j := range writes {
				b.replays(writes[j], answers[j])
				b.failsAs(store.ErrRequestReused, store.Write{Request: request(fmt.Sprint(j), "other"), Ops: writes[j].Ops})
			}
		}
		b.same(b.get(tile("1")), answers[4].Records[0])
	}},
	{"another hash is ErrRequestReused", func(b *bench) {
		s := b.open()
		b.first(insertOnce("r", "h", tile("1"), "first"))
		b.failsAs(store.ErrRequestReused, insertOnce("r", "other", tile("2"), "first"))
		b.absent(tile("2"))
		if _, err := s.Answered(b.Context(), studio, request("r", "other")); !errors.Is(err, store.ErrRequestReused) {
			b.Fatal(err)
		}
	}},
	{"at once", func(b *bench) {
		s := b.open()
		other := b.db.Open(b.T, nil)
		b.Cleanup(func() { other.Close() })
		var wg sync.WaitGroup
		var mu sync.Mutex
		fresh, sequences := 0, map[int64]bool{}
		for i := range 32 {
			wg.Go(func() {
				via := []store.Store{s, other}[i%2]
				a, err := via.Write(b.Context(), insertOnce("r", "h", tile("1"), "first"))
				mu.Lock()
				defer mu.Unlock()
				if err != nil {
					b.Error(err)
					return
				}
				if !a.Replayed {
					fresh++
				}
				sequences[a.Records[0].Sequence] = true
			})
		}
		wg.Wait()
		if fresh != 1 || len(sequences) != 1 {
			b.Fatalf("%d were done, with the sequences %v", fresh, sequences)
		}
	}},
	{"across restarts", func(b *bench) {
		s := b.open()
		w := insertOnce("r", "h", tile("1"), "first")
		a := b.first(w)
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		b.open()
		b.replays(w, a)
		b.failsAs(store.ErrRequestReused, insertOnce("r", "other", tile("1"), "first"))
	}},
	{"a write that failed may be repeated with its ID", func(b *bench) {
		s := b.open()
		w := store.Write{Request: request("r", "h"), Ops: []store.Op{store.Replace(record(tile("1"), "2"))}}
		b.failsAs(store.ErrNotFound, w)
		if _, err := s.Answered(b.Context(), studio, w.Request); !errors.Is(err, store.ErrNotFound) {
			b.Fatal(err)
		}
		b.must(store.Insert(record(tile("1"), "1")))
		b.first(w)
	}},
	{"request IDs of two studios have nothing to do with each other", func(b *bench) {
		b.open()
		b.must(store.Insert(studioRecord("t")))
		b.first(insertOnce("r", "h", tile("1"), ""))
		b.first(insertOnce("r", "other", store.Key{Studio: "t", Kind: store.KindTile, ID: "1"}, ""))
	}},
	{"answers are kept for RequestLifetime", func(b *bench) {
		var mu sync.Mutex
		now := time.Date(2024, 2, 28, 12, 0, 0, 0, time.UTC)
		s := b.openAt(func() time.Time { mu.Lock(); defer mu.Unlock(); return now })
		pass := func(d time.Duration) { mu.Lock(); now = now.Add(d); mu.Unlock() }
		// Of the first the record is left as it was, of the second it is not.
		for i, change := range []func(){func() {}, func() { b.must(store.Replace(record(tile("changed"), "second"))) }} {
			id := []string{"left", "changed"}[i]
			w := insertOnce(id, "h", tile(id), "first")
			a := b.first(w)
			change()
			kept := b.get(tile(id))
			pass(store.RequestLifetime - time.Second)
			b.replays(w, a)
			pass(time.Second)
			if _, err := s.Answered(b.Context(), studio, w.Request); !errors.Is(err, store.ErrNotFound) {
				b.Fatal(err)
			}
			b.failsAs(store.ErrAlreadyExists, w)
			again := insertOnce(id, "other", tile(id+" again"), "")
			b.replays(again, b.first(again))
			b.same(b.get(tile(id)), kept)
			// What the record has been the answer to is no longer its matter.
			b.must(store.Remove(tile(id), 0))
			b.failsAs(store.ErrRequestReused, w)
		}
	}},
}
