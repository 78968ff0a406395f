package storetest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/catchline/catchline/server/store"
)

var order = []test{
	{"whoever has seen number n will never see a smaller one appear later", func(b *bench) {
		s := b.open()
		const writers, each = 8, 25
		done := make(chan struct{})
		go func() {
			var wg sync.WaitGroup
			for w := range writers {
				wg.Go(func() {
					for i := range each {
						if _, err := s.Write(b.Context(), write(store.Insert(record(tile(fmt.Sprintf("%d-%d", w, i)), "")))); err != nil {
							b.Error(err)
						}
					}
				})
			}
			wg.Wait()
			close(done)
		}()
		var last int64
		seen := 0
		for ended := false; !ended; {
			select {
			case <-done:
				ended = true // one more look
			default:
			}
			q := store.Query{Studio: studio, Kind: store.KindTile, Order: store.OldestFirst, After: &store.Cursor{Sequence: last}, Limit: 1000}
			for _, r := range b.walk(q, nil) {
				seen++
				last = r.Sequence
			}
		}
		if seen != writers*each {
			b.Fatalf("%d tiles were seen by following the sequence, %d written", seen, writers*each)
		}
	}},
	{"a write that has returned is seen by every read after it", func(b *bench) {
		s := b.open()
		var wg sync.WaitGroup
		for w := range 8 {
			wg.Go(func() {
				for i := range 20 {
					k := tile(fmt.Sprintf("%d-%d", w, i))
					if _, err := s.Write(b.Context(), write(store.Insert(record(k, "")))); err != nil {
						b.Error(err)
					}
					if _, err := s.Get(b.Context(), k); err != nil {
						b.Errorf("%v: %v", k, err)
					}
				}
			})
		}
		wg.Wait()
	}},
	{"Versions tells for each kind its latest write, deletions included", func(b *bench) {
		s := b.open()
		versions := func() map[store.Kind]int64 {
			b.Helper()
			v, err := s.Versions(b.Context(), studio)
			if err != nil {
				b.Fatal(err)
			}
			return v
		}
		if v := versions(); v[store.KindGlaze] != 0 {
			b.Fatalf("got %v", v)
		}
		g := b.must(store.Insert(record(glaze("a"), "")))
		t := b.must(store.Insert(record(tile("a"), "")))
		if v := versions(); v[store.KindGlaze] != g.Revision || v[store.KindTile] != t.Revision || v[""] != t.Revision {
			b.Fatalf("got %v, want %d and %d", v, g.Revision, t.Revision)
		}
		b.must(store.Remove(glaze("a"), 0))
		if v := versions(); v[store.KindGlaze] <= t.Revision || v[store.KindTile] != t.Revision || v[""] != v[store.KindGlaze] {
			b.Fatalf("after the deletion: %v", v)
		}
		if _, err := s.Versions(b.Context(), "none"); !errors.Is(err, store.ErrNotFound) {
			b.Fatal(err)
		}
	}},
}

var studios = []test{
	{"writing into a studio that does not exist is ErrNotFound", func(b *bench) {
		b.open()
		b.fails(store.ErrNotFound, store.Insert(record(store.Key{Studio: "none", Kind: store.KindGlaze, ID: "a"}, "")))
	}},
	{"the system studio always exists", func(b *bench) {
		s := b.open()
		if _, err := s.Versions(b.Context(), store.System); err != nil {
			b.Fatal(err)
		}
	}},
	{"studios are listed as other records are", func(b *bench) {
		b.open()
		b.must(store.Insert(studioRecord("b")))
		b.must(store.Insert(studioRecord("a")))
		b.wantIDs(b.walk(store.Query{Studio: store.System, Kind: store.KindStudio, Limit: 2}, nil), "a", "b", "s")
	}},
	{"deleting that record deletes all that the studio has", func(b *bench) {
		s := b.open()
		b.must(store.Insert(studioRecord("t")))
		theirs := store.Key{Studio: "t", Kind: store.KindGlaze, ID: "a"}
		b.must(store.Insert(record(theirs, "", "x")))
		w := insertOnce("r", "h", tile("1"), "")
		b.first(w)
		b.must(store.Insert(record(glaze("a"), "", "x")))
		b.must(store.Insert(record(store.Key{Studio: studio, Kind: store.KindKey, ID: "kk"}, "")))
		before, _ := s.Versions(b.Context(), studio)

		b.must(store.Remove(studioRecord(studio).Key, 0))
		for _, k := range []store.Key{glaze("a"), tile("1"), studioRecord(studio).Key} {
			b.absent(k)
		}
		if _, err := s.FindKey(b.Context(), "kk"); !errors.Is(err, store.ErrNotFound) {
			b.Fatal(err)
		}
		if _, err := s.Versions(b.Context(), studio); !errors.Is(err, store.ErrNotFound) {
			b.Fatal(err)
		}
		b.failsAs(store.ErrNotFound, w)
		b.get(theirs)

		// Made again it is empty, but its numbers go on.
		b.must(store.Insert(studioRecord(studio)))
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{"x"}, Limit: 9}, nil))
		after, err := s.Versions(b.Context(), studio)
		if err != nil {
			b.Fatal(err)
		}
		for kind, v := range before {
			if after[kind] <= v {
				b.Fatalf("the version of %q was %d and is %d after the studio was made again", kind, v, after[kind])
			}
		}
		if a := b.first(w); a.Records[0].Sequence <= before[""] {
			b.Fatalf("a sequence came twice: %+v", a)
		}
	}},
	{"deleting a studio can be repeated", func(b *bench) {
		b.open()
		w := store.Write{Request: request("r", "h"), Ops: []store.Op{store.Remove(studioRecord(studio).Key, 0)}}
		b.replays(w, b.first(w))
		b.fails(store.ErrNotFound, store.Remove(studioRecord(studio).Key, 0))
	}},
	{"a studio that is being deleted keeps nothing of concurrent writes", func(b *bench) {
		s := b.open()
		var wg sync.WaitGroup
		for w := range 8 {
			wg.Go(func() {
				for i := range 20 {
					_, err := s.Write(b.Context(), write(store.Insert(record(tile(fmt.Sprintf("%d-%d", w, i)), ""))))
					if err != nil && !errors.Is(err, store.ErrNotFound) {
						b.Error(err)
					}
				}
			})
		}
		b.must(store.Remove(studioRecord(studio).Key, 0))
		wg.Wait()
		b.must(store.Insert(studioRecord(studio)))
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindTile, Limit: 1000}, nil))
	}},
}

func calibration(id string) store.Key {
	return store.Key{Studio: studio, Kind: store.KindCalibration, ID: id}
}

var calibrations = []test{
	{"numbers are 1, 2, 3 within the studio, with no gap and never twice", func(b *bench) {
		s := b.open()
		other := b.db.Open(b.T, nil)
		b.Cleanup(func() { other.Close() })
		const n = 24
		var wg sync.WaitGroup
		for i := range n {
			wg.Go(func() {
				via := []store.Store{s, other}[i%2]
				if _, err := via.Write(b.Context(), write(store.Insert(record(calibration(""), fmt.Sprint(i))))); err != nil {
					b.Error(err)
				}
			})
		}
		wg.Wait()
		var want []string
		for i := range n {
			want = append(want, fmt.Sprint(i+1))
		}
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindCalibration, Order: store.OldestFirst, Limit: 5}, nil), want...)
		// Neither a change nor a removal gives a number back.
		b.must(store.Replace(record(calibration("24"), "x")))
		b.must(store.Remove(calibration("24"), 0))
		b.must(store.Insert(record(tile("t"), "")))
		if r := b.must(store.Insert(record(calibration(""), ""))); r.ID != "25" {
			b.Fatalf("got %s", r.ID)
		}
	}},
	{"a failed write gives no number away", func(b *bench) {
		b.open()
		b.must(store.Insert(record(tile("t"), "")))
		b.fails(store.ErrAlreadyExists, store.Insert(record(calibration(""), "")), store.Insert(record(tile("t"), "")))
		if r := b.must(store.Insert(record(calibration(""), ""))); r.ID != "1" {
			b.Fatalf("got %s", r.ID)
		}
	}},
	{"of two fits at once one wins and the other one knows", func(b *bench) {
		s := b.open()
		other := b.db.Open(b.T, nil)
		b.Cleanup(func() { other.Close() })
		for round := range 5 {
			active, revision, err := store.Active(b.Context(), s, studio)
			if err != nil || (round == 0) != (active == "") {
				b.Fatalf("%q, %v", active, err)
			}
			var wg sync.WaitGroup
			errs := make([]error, 8)
			for i := range errs {
				wg.Go(func() {
					errs[i] = store.SetActive(b.Context(), []store.Store{s, other}[i%2], studio, fmt.Sprint(i), revision, store.Request{})
				})
			}
			wg.Wait()
			won := -1
			for i, err := range errs {
				if err == nil && won < 0 {
					won = i
				} else if !errors.Is(err, store.ErrConflict) {
					b.Fatalf("%d after %d: %v", i, won, err)
				}
			}
			if active, _, err = store.Active(b.Context(), other, studio); err != nil || active != fmt.Sprint(won) {
				b.Fatalf("%d won, %q is active, %v", won, active, err)
			}
		}
	}},
}

var watching = []test{
	{"Changes tells what was written", func(b *bench) {
		s := b.open()
		ctx, cancel := context.WithCancel(b.Context())
		changes := s.Changes(ctx)
		b.must(store.Insert(record(glaze("a"), "")))
		b.awaits(changes, store.Change{Studio: studio, Kind: store.KindGlaze})
		b.must(store.Remove(studioRecord(studio).Key, 0))
		b.awaits(changes, store.Change{Studio: studio})
		cancel()
		b.ends(changes)
	}},
	{"a slow reader loses nothing and holds nobody up", func(b *bench) {
		s := b.open()
		changes := s.Changes(b.Context())
		for i := range 200 {
			b.must(store.Insert(record(tile(fmt.Sprint(i)), "")))
		}
		b.must(store.Insert(record(glaze("a"), "")))
		b.awaits(changes, store.Change{Studio: studio, Kind: store.KindTile})
		changes2 := s.Changes(b.Context())
		b.must(store.Insert(record(store.Key{Studio: studio, Kind: store.KindBody, ID: "x"}, "")))
		b.awaits(changes, store.Change{Studio: studio, Kind: store.KindBody})
		b.awaits(changes2, store.Change{Studio: studio, Kind: store.KindBody})
	}},
}

// awaits reads on until the change comes.
func (b *bench) awaits(changes <-chan store.Change, want store.Change) {
	b.Helper()
	late := b.within(20 * time.Second)
	for {
		select {
		case got, ok := <-changes:
			if !ok {
				b.Fatal("the channel was closed")
			}
			if got == want {
				return
			}
		case <-late.Done():
			b.Fatalf("%v was not told", want)
		}
	}
}

func (b *bench) ends(changes <-chan store.Change) {
	b.Helper()
	late := b.within(20 * time.Second)
	for {
		select {
		case _, ok := <-changes:
			if !ok {
				return
			}
		case <-late.Done():
			b.Fatal("the channel was not closed")
		}
	}
}

var life = []test{
	{"what was acknowledged is there after closing and opening", func(b *bench) {
		s := b.open()
		made := b.must(store.Insert(record(glaze("a"), "1", "x")))
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		b.open()
		b.same(b.get(glaze("a")), made)
	}},
	{"after Close every method answers ErrClosed", func(b *bench) {
		s := b.open()
		changes := s.Changes(b.Context())
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		ctx := b.Context()
		_, get := s.Get(ctx, glaze("a"))
		_, list := s.List(ctx, store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 1})
		scan := s.Scan(ctx, studio, store.KindGlaze, func(store.Record) error { return nil })
		_, findKey := s.FindKey(ctx, "a")
		_, versions := s.Versions(ctx, studio)
		_, answered := s.Answered(ctx, studio, request("r", "h"))
		_, written := s.Write(ctx, write(store.Insert(record(glaze("a"), ""))))
		for name, err := range map[string]error{
			"Get": get, "List": list, "Scan": scan, "FindKey": findKey, "Versions": versions,
			"Answered": answered, "Write": written, "Ready": s.Ready(ctx),
		} {
			if !errors.Is(err, store.ErrClosed) {
				b.Errorf("%s: %v", name, err)
			}
		}
		b.ends(changes)
		b.ends(s.Changes(ctx))
	}},
	{"closing again does nothing", func(b *bench) {
		s := b.open()
		for range 3 {
			if err := s.Close(); err != nil {
				b.Fatal(err)
			}
		}
	}},
	{"Close finishes the writes that have been accepted", func(b *bench) {
		s := b.open()
		var wg sync.WaitGroup
		errs := make([]error, 64)
		for i := range errs {
			wg.Go(func() {
				_, errs[i] = s.Write(b.Context(), write(store.Insert(record(tile(fmt.Sprint(i)), ""))))
			})
		}
		s.Close()
		wg.Wait()
		b.open()
		for i, err := range errs {
			if err == nil {
				b.get(tile(fmt.Sprint(i)))
			} else if !errors.Is(err, store.ErrClosed) {
				b.Errorf("writer %d: %v", i, err)
			} else {
				b.absent(tile(fmt.Sprint(i)))
			}
		}
	}},
	{"every method obeys its context", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("a"), "")))
		ctx, cancel := context.WithCancel(b.Context())
		cancel()
		_, get := s.Get(ctx, glaze("a"))
		_, list := s.List(ctx, store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 1})
		scan := s.Scan(ctx, studio, store.KindGlaze, func(store.Record) error { return nil })
		_, findKey := s.FindKey(ctx, "a")
		_, versions := s.Versions(ctx, studio)
		_, answered := s.Answered(ctx, studio, request("r", "h"))
		_, written := s.Write(ctx, write(store.Insert(record(glaze("b"), ""))))
		for name, err := range map[string]error{
			"Get": get, "List": list, "Scan": scan, "FindKey": findKey, "Versions": versions,
			"Answered": answered, "Write": written, "Ready": s.Ready(ctx),
		} {
			if !errors.Is(err, context.Canceled) {
				b.Errorf("%s: %v", name, err)
			}
		}
		b.absent(glaze("b"))
		b.ends(s.Changes(ctx))
	}},
	{"a context that ends during a scan ends the scan", func(b *bench) {
		s := b.open()
		ops := make([]store.Op, 1000)
		for i := range ops {
			ops[i] = store.Insert(record(tile(fmt.Sprint(i)), "a body of some length, so that the rows do not all fit into one buffer"))
		}
		b.must(ops...)
		ctx, cancel := context.WithCancel(b.Context())
		n := 0
		err := s.Scan(ctx, studio, store.KindTile, func(store.Record) error { n++; cancel(); return nil })
		if !errors.Is(err, context.Canceled) {
			b.Fatalf("%d records, %v", n, err)
		}
	}},
	{"Ready is nil on a store that answers", func(b *bench) {
		if err := b.open().Ready(b.Context()); err != nil {
			b.Fatal(err)
		}
	}},
	{"Ready comes back when the context ends although the storage hangs", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("a"), "")))
		// Scans that never go on hold every connection that there is for reading.
		hang, ready := context.WithCancel(b.Context())
		var wg sync.WaitGroup
		const scans = 64
		for range scans {
			wg.Go(func() {
				s.Scan(hang, studio, store.KindGlaze, func(store.Record) error { <-hang.Done(); return hang.Err() })
			})
		}
		late := b.within(20 * time.Second)
		for {
			// Ready answers as long as a connection is free.
			ctx, cancel := context.WithTimeout(b.Context(), 50*time.Millisecond)
			err := s.Ready(ctx)
			cancel()
			if errors.Is(err, context.DeadlineExceeded) {
				break
			}
			if late.Err() != nil {
				b.Fatalf("it never waited: %v", err)
			}
		}
		ready()
		wg.Wait()
		if err := s.Ready(b.Context()); err != nil {
			b.Fatal(err)
		}
	}},
}
