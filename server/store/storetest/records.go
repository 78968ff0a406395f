package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/catchline/catchline/model/fault"
	"github.com/catchline/catchline/server/store"
)

var records = []test{
	{"Get returns what Insert answered", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(glaze("celadon"), "body \x00\xff", "surface=gloss", "cone=10")))
		b.same(b.get(glaze("celadon")), made)
		if string(made.Body) != "body \x00\xff" || !slices.Equal(made.Labels, []string{"surface=gloss", "cone=10"}) {
			b.Fatalf("got %+v", made)
		}
		if made.Sequence == 0 || made.Revision != made.Sequence || made.CreateTime.IsZero() || made.UpdateTime != made.CreateTime {
			b.Fatalf("got %+v", made)
		}
		if made.CreateTime != made.CreateTime.UTC().Truncate(time.Microsecond) {
			b.Fatalf("the time %v is not of whole microseconds in UTC", made.CreateTime)
		}
	}},
	{"an unknown record and an unknown studio are ErrNotFound", func(b *bench) {
		b.open()
		b.absent(glaze("none"))
		b.absent(store.Key{Studio: "none", Kind: store.KindGlaze, ID: "none"})
	}},
	{"a record of this key is ErrAlreadyExists", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(glaze("a"), "first")))
		b.fails(store.ErrAlreadyExists, store.Insert(record(glaze("a"), "second")))
		b.same(b.get(glaze("a")), made)
	}},
	{"of concurrent inserts of one key exactly one succeeds", func(b *bench) {
		s := b.open()
		var wg sync.WaitGroup
		errs := make([]error, 16)
		for i := range errs {
			wg.Go(func() {
				_, errs[i] = s.Write(b.Context(), write(store.Insert(record(glaze("a"), fmt.Sprint(i)))))
			})
		}
		wg.Wait()
		won := -1
		for i, err := range errs {
			if err == nil && won < 0 {
				won = i
			} else if !errors.Is(err, store.ErrAlreadyExists) {
				b.Fatalf("writer %d: %v, the winner was %d", i, err, won)
			}
		}
		if got := string(b.get(glaze("a")).Body); won < 0 || got != fmt.Sprint(won) {
			b.Fatalf("writer %d won, the record is of %s", won, got)
		}
	}},
	{"two glazes may each have a lot of the same ID", func(b *bench) {
		b.open()
		lot := func(parent string) store.Key {
			return store.Key{Studio: studio, Kind: store.KindLot, Parent: parent, ID: "1"}
		}
		x := b.must(store.Insert(record(lot("a"), "x")))
		y := b.must(store.Insert(record(lot("b"), "y")))
		b.same(b.get(lot("a")), x)
		b.same(b.get(lot("b")), y)
		b.absent(lot(""))
	}},
	{"Replace puts new labels and a new body in place", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(glaze("a"), "old", "x=1", "y=1")))
		changed := b.must(store.Replace(record(glaze("a"), "new", "y=1", "z=1")))
		b.same(b.get(glaze("a")), changed)
		if string(changed.Body) != "new" || changed.Sequence != made.Sequence || changed.CreateTime != made.CreateTime || changed.Revision <= made.Revision {
			b.Fatalf("made %+v, changed %+v", made, changed)
		}
		for label, want := range map[string]int{"x=1": 0, "y=1": 1, "z=1": 1} {
			got := b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{label}, Limit: 10}, nil)
			if len(got) != want {
				b.Fatalf("label %s: %d records, want %d", label, len(got), want)
			}
		}
	}},
	{"a record to replace or remove that is not there is ErrNotFound", func(b *bench) {
		b.open()
		b.fails(store.ErrNotFound, store.Replace(record(glaze("a"), "")))
		b.fails(store.ErrNotFound, store.Remove(glaze("a"), 0))
	}},
	{"a revision that is not the latest is ErrConflict", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(glaze("a"), "1")))
		r := record(glaze("a"), "2")
		r.Revision = made.Revision
		changed := b.must(store.Replace(r))
		b.fails(store.ErrConflict, store.Replace(r))
		b.fails(store.ErrConflict, store.Remove(glaze("a"), made.Revision))
		b.same(b.get(glaze("a")), changed)
		b.must(store.Remove(glaze("a"), changed.Revision))
		b.absent(glaze("a"))
	}},
	{"a revision is never used twice, not even after the record was deleted and made again", func(b *bench) {
		b.open()
		seen := map[int64]bool{}
		for range 3 {
			made := b.must(store.Insert(record(glaze("a"), "")))
			changed := b.must(store.Replace(record(glaze("a"), "")))
			if seen[made.Revision] || seen[changed.Revision] || made.Revision == changed.Revision {
				b.Fatalf("seen %v, now %d and %d", seen, made.Revision, changed.Revision)
			}
			seen[made.Revision], seen[changed.Revision] = true, true
			b.must(store.Remove(glaze("a"), 0))
		}
	}},
	{"of concurrent replacements at one revision exactly one succeeds", func(b *bench) {
		s := b.open()
		r := b.must(store.Insert(record(glaze("a"), "")))
		var wg sync.WaitGroup
		errs := make([]error, 16)
		for i := range errs {
			wg.Go(func() { _, errs[i] = s.Write(b.Context(), write(store.Replace(r))) })
		}
		wg.Wait()
		won := 0
		for _, err := range errs {
			if err == nil {
				won++
			} else if !errors.Is(err, store.ErrConflict) {
				b.Fatal(err)
			}
		}
		if won != 1 {
			b.Fatalf("%d succeeded", won)
		}
	}},
	{"Write does all of the write or nothing of it", func(b *bench) {
		b.open()
		kept := b.must(store.Insert(record(glaze("kept"), "1", "x=1")))
		last := b.must(store.Insert(record(glaze("taken"), "")))
		b.fails(store.ErrAlreadyExists,
			store.Insert(record(glaze("new"), "", "x=1")),
			store.Replace(record(glaze("kept"), "2")),
			store.Remove(glaze("kept"), 0),
			store.Insert(record(store.Key{Studio: studio, Kind: store.KindCalibration}, "")),
			store.Insert(record(glaze("taken"), "")))
		b.absent(glaze("new"))
		b.same(b.get(glaze("kept")), kept)
		got := b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{"x=1"}, Limit: 10}, nil)
		b.wantIDs(got, "kept")
		if next := b.must(store.Insert(record(glaze("next"), ""))); next.Sequence != last.Sequence+1 {
			b.Fatalf("the failed write took places in the order: %d after %d", next.Sequence, last.Sequence)
		}
	}},
	{"the steps of a write see those before them", func(b *bench) {
		b.open()
		b.must(store.Insert(record(glaze("a"), "1", "x=1")))
		b.must(
			store.Insert(record(glaze("b"), "1", "x=1")),
			store.Replace(record(glaze("b"), "2", "x=2")),
			store.Remove(glaze("a"), 0),
			store.Insert(record(glaze("a"), "3", "x=3")),
			store.Insert(record(glaze("c"), "4", "x=1")),
			store.Remove(glaze("c"), 0))
		if got := string(b.get(glaze("a")).Body) + string(b.get(glaze("b")).Body); got != "32" {
			b.Fatalf("got %s", got)
		}
		b.absent(glaze("c"))
		list := func(label string) []store.Record {
			return b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{label}, Limit: 10}, nil)
		}
		b.wantIDs(list("x=1"))
		b.wantIDs(list("x=2"), "b")
		b.wantIDs(list("x=3"), "a")
	}},
	{"a bad write does not spoil the good ones beside it", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("taken"), "")))
		var wg sync.WaitGroup
		for i := range 64 {
			wg.Go(func() {
				id, want := "taken", store.ErrAlreadyExists
				if i%2 == 0 {
					id, want = fmt.Sprint(i), nil
				}
				if _, err := s.Write(b.Context(), write(store.Insert(record(glaze(id), "")))); !errors.Is(err, want) {
					b.Errorf("%s: got the error %v, want %v", id, err, want)
				}
			})
		}
		wg.Wait()
		if got := len(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 100}, nil)); got != 33 {
			b.Fatalf("%d records, want 33", got)
		}
	}},
	{"ten thousand records are one write", func(b *bench) {
		s := b.open()
		const n = 10_000
		ops := make([]store.Op, n)
		for i := range ops {
			ops[i] = store.Insert(record(tile(fmt.Sprint(i)), "tile"))
		}
		a, err := s.Write(b.Context(), store.Write{Request: request("r", "h"), Ops: ops})
		if err != nil || len(a.Records) != n {
			b.Fatalf("%d records, %v", len(a.Records), err)
		}
		i := 0
		err = s.Scan(b.Context(), studio, store.KindTile, func(r store.Record) error {
			if r.ID != fmt.Sprint(i) {
				return fmt.Errorf("record %d is %s", i, r.ID)
			}
			i++
			return nil
		})
		if err != nil || i != n {
			b.Fatalf("%d records, %v", i, err)
		}
	}},
	{"keys compare byte by byte", func(b *bench) {
		b.open()
		// Case; composed and decomposed; a no-break space; what locale collations ignore or fold.
		names := []string{"a", "A", "ä", "a\u0308", "Ä", "ß", "ss", "a b", "a\u00a0b", "a-b", "ab", "ﬁ", "fi", "釉薬", "🏺", "%", "_", "*", "'; --", `\`, "a/b", " a", "a "}
		for _, n := range names {
			b.must(store.Insert(record(glaze(n), n, "name="+n)))
		}
		for _, n := range names {
			if got := string(b.get(glaze(n)).Body); got != n {
				b.Fatalf("%q is %q", n, got)
			}
			b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{"name=" + n}, Limit: 10}, nil), n)
		}
		slices.Sort(names)
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 3}, nil), names...)
	}},
	{"an empty body and a large one are kept", func(b *bench) {
		b.open()
		large := bytes.Repeat([]byte("0123456789abcdef"), 1<<16)
		b.must(store.Insert(record(glaze("empty"), "")))
		b.must(store.Insert(record(glaze("large"), string(large))))
		if got := b.get(glaze("empty")).Body; len(got) != 0 {
			b.Fatalf("%d bytes", len(got))
		}
		if got := b.get(glaze("large")).Body; !bytes.Equal(got, large) {
			b.Fatalf("%d bytes came back changed", len(got))
		}
	}},
	{"doubles among labels are dropped", func(b *bench) {
		b.open()
		made := b.must(store.Insert(record(glaze("a"), "", "x", "y", "x")))
		if !slices.Equal(made.Labels, []string{"x", "y"}) {
			b.Fatalf("got %q", made.Labels)
		}
	}},
	{"wrong arguments are *fault.Error", func(b *bench) {
		s := b.open()
		long := strings.Repeat("x", 1000)
		many := make([]string, store.MaxLabels+1)
		for i := range many {
			many[i] = fmt.Sprint(i)
		}
		other := store.Key{Studio: "t", Kind: store.KindGlaze, ID: "x"}
		for name, w := range map[string]store.Write{
			"no ops":              {},
			"no id":               write(store.Insert(record(glaze(""), ""))),
			"NUL":                 write(store.Insert(record(glaze("a\x00"), ""))),
			"not UTF-8":           write(store.Insert(record(glaze("a\xff"), ""))),
			"long":                write(store.Insert(record(glaze(long), ""))),
			"label":               write(store.Insert(record(glaze("a"), "", long))),
			"labels":              write(store.Insert(record(glaze("a"), "", many...))),
			"body":                write(store.Insert(store.Record{Key: glaze("a"), Body: make([]byte, store.MaxBodyBytes+1)})),
			"no action":           write(store.Op{Record: record(glaze("a"), "")}),
			"two studios":         write(store.Insert(record(glaze("a"), "")), store.Insert(record(other, ""))),
			"hash without id":     {Request: request("", "h"), Ops: []store.Op{store.Remove(glaze("a"), 0)}},
			"id without hash":     {Request: request("r", ""), Ops: []store.Op{store.Remove(glaze("a"), 0)}},
			"studio elsewhere":    write(store.Insert(record(store.Key{Studio: studio, Kind: store.KindStudio, ID: "x"}, ""))),
			"the system studio":   write(store.Remove(studioRecord(store.System).Key, 0)),
			"studio and another":  write(store.Remove(studioRecord(studio).Key, 0), store.Insert(studioRecord("x"))),
			"number given":        write(store.Insert(record(store.Key{Studio: studio, Kind: store.KindCalibration, ID: "7"}, ""))),
			"numbered, no studio": write(store.Insert(record(store.Key{Kind: store.KindCalibration}, ""))),
		} {
			var fault *fault.Error
			if _, err := s.Write(b.Context(), w); !errors.As(err, &fault) {
				b.Errorf("%s: got the error %v", name, err)
			}
		}
		for name, q := range map[string]store.Query{
			"no limit":   {Studio: studio, Kind: store.KindGlaze},
			"large":      {Studio: studio, Kind: store.KindGlaze, Limit: store.MaxPage + 1},
			"no kind":    {Studio: studio, Limit: 1},
			"no studio":  {Kind: store.KindGlaze, Limit: 1},
			"two ways":   {Studio: studio, Kind: store.KindLot, Parent: "x", AnyParent: true, Limit: 1},
			"bad cursor": {Studio: studio, Kind: store.KindLot, After: &store.Cursor{ID: "\x00"}, Limit: 1},
			"bad order":  {Studio: studio, Kind: store.KindLot, Order: 9, Limit: 1},
		} {
			var fault *fault.Error
			if _, err := s.List(b.Context(), q); !errors.As(err, &fault) {
				b.Errorf("%s: got the error %v", name, err)
			}
		}
	}},
}
