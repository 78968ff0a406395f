package storetest

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/catchline/catchline/server/store"
)

var lists = []test{
	{"no match is an empty page", func(b *bench) {
		b.open()
		for _, s := range []string{studio, "none"} {
			b.wantIDs(b.walk(store.Query{Studio: s, Kind: store.KindGlaze, Limit: 1}, nil))
		}
	}},
	{"each order, in pages of every size", func(b *bench) {
		b.open()
		for _, id := range []string{"b", "d", "a", "c"} {
			b.must(store.Insert(record(glaze(id), "")))
		}
		b.must(store.Replace(record(glaze("b"), "again")))
		for limit := 1; limit <= 5; limit++ {
			q := store.Query{Studio: studio, Kind: store.KindGlaze, Limit: limit}
			b.wantIDs(b.walk(q, nil), "a", "b", "c", "d")
			q.Order = store.OldestFirst
			b.wantIDs(b.walk(q, nil), "b", "d", "a", "c")
			q.Order = store.NewestFirst
			b.wantIDs(b.walk(q, nil), "c", "a", "d", "b")
		}
	}},
	{"More says whether there is at least one more record", func(b *bench) {
		b.open()
		b.must(store.Insert(record(glaze("a"), "")))
		b.must(store.Insert(record(glaze("b"), "")))
		for limit, more := range map[int]bool{1: true, 2: false, 3: false} {
			page, err := b.store.List(b.Context(), store.Query{Studio: studio, Kind: store.KindGlaze, Limit: limit})
			if err != nil || page.More != more || len(page.Records) != min(limit, 2) {
				b.Fatalf("limit %d: %d records, more %v, %v", limit, len(page.Records), page.More, err)
			}
		}
	}},
	{"a page ends where its records would be more bytes, but never before its first", func(b *bench) {
		b.open()
		body := strings.Repeat("x", 1000)
		for _, id := range []string{"a", "b", "c", "d", "e"} {
			b.must(store.Insert(record(glaze(id), body)))
		}
		b.must(store.Replace(record(glaze("c"), strings.Repeat(body, 10))))
		for _, order := range []store.Order{store.ByID, store.OldestFirst, store.NewestFirst} {
			for bytes, pages := range map[int]int{1: 5, 2500: 3, 12_500: 2, 20_000: 1, 0: 1} {
				n := 1
				q := store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 9, Bytes: bytes, Order: order}
				got := b.walk(q, func() { n++ })
				if len(got) != 5 || n != pages {
					b.Fatalf("%d bytes: %d records in %d pages, want 5 in %d", bytes, len(got), n, pages)
				}
			}
		}
		// The number of records counts as well.
		page, err := b.store.List(b.Context(), store.Query{Studio: studio, Kind: store.KindGlaze, Limit: 1, Bytes: 5000})
		if err != nil || len(page.Records) != 1 || !page.More {
			b.Fatalf("%d records, more %v, %v", len(page.Records), page.More, err)
		}
	}},
	{"only the records of the parent, of none, or of any", func(b *bench) {
		b.open()
		for _, k := range [][2]string{{"g2", "1"}, {"g1", "2"}, {"", "3"}, {"g1", "1"}} {
			b.must(store.Insert(record(store.Key{Studio: studio, Kind: store.KindLot, Parent: k[0], ID: k[1]}, "")))
		}
		for limit := 1; limit <= 5; limit++ {
			q := store.Query{Studio: studio, Kind: store.KindLot, Limit: limit}
			b.wantIDs(b.walk(q, nil), "3")
			q.Parent = "g1"
			b.wantIDs(b.walk(q, nil), "1", "2")
			q.Order = store.OldestFirst
			b.wantIDs(b.walk(q, nil), "2", "1")
			q.Parent, q.AnyParent, q.Order = "", true, store.ByID
			b.wantIDs(b.walk(q, nil), "3", "1", "2", "1")
			q.Order = store.NewestFirst
			b.wantIDs(b.walk(q, nil), "1", "3", "2", "1")
		}
	}},
	{"only records that have all of the labels", func(b *bench) {
		b.open()
		b.must(store.Insert(record(tile("1"), "", "glaze=a", "firing=1")))
		b.must(store.Insert(record(tile("2"), "", "glaze=a", "glaze=b", "firing=1")))
		b.must(store.Insert(record(tile("3"), "", "glaze=b", "firing=2")))
		b.must(store.Insert(record(glaze("g"), "", "glaze=a")))
		for _, order := range []store.Order{store.ByID, store.OldestFirst} {
			for limit := 1; limit <= 3; limit++ {
				list := func(labels ...string) []store.Record {
					return b.walk(store.Query{Studio: studio, Kind: store.KindTile, Labels: labels, Order: order, Limit: limit}, nil)
				}
				b.wantIDs(list("glaze=a"), "1", "2")
				b.wantIDs(list("firing=1", "glaze=b"), "2")
				b.wantIDs(list("glaze=a", "firing=2"))
				b.wantIDs(list("glaze=A"))
				b.wantIDs(list("glaze="))
			}
		}
		b.must(store.Remove(tile("1"), 0))
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindTile, Labels: []string{"glaze=a"}, Limit: 9}, nil), "2")
	}},
	{"another studio's records are never listed", func(b *bench) {
		b.open()
		b.must(store.Insert(studioRecord("t")))
		other := store.Key{Studio: "t", Kind: store.KindGlaze, ID: "theirs"}
		b.must(store.Insert(record(other, "", "x")))
		b.must(store.Insert(record(glaze("mine"), "", "x")))
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, AnyParent: true, Limit: 9}, nil), "mine")
		b.wantIDs(b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{"x"}, Limit: 9}, nil), "mine")
		b.absent(glaze("theirs"))
	}},
	{"a record that stays is met exactly once, whatever is written meanwhile", func(b *bench) {
		b.open()
		const n = 60
		for i := range n {
			b.must(store.Insert(record(glaze(fmt.Sprintf("%02d", i)), "", "x")))
		}
		for _, order := range []store.Order{store.ByID, store.OldestFirst, store.NewestFirst} {
			round := 0
			got := b.walk(store.Query{Studio: studio, Kind: store.KindGlaze, Labels: []string{"x"}, Order: order, Limit: 7}, func() {
				// Rows go and come before, at and behind the cursor; those with a two-digit
				// ID above 19 and a multiple of 10 are the ones that stay untouched or replaced.
				for _, i := range []int{round, round*7 + 6, n - 1 - round} {
					if i%10 != 0 {
						b.store.Write(b.Context(), write(store.Remove(glaze(fmt.Sprintf("%02d", i)), 0)))
					}
				}
				b.must(store.Insert(record(glaze(fmt.Sprintf("%02d-%d-%d", round*3, order, round)), "", "x")))
				b.must(store.Replace(record(glaze("30"), fmt.Sprint(round), "x")))
				round++
			})
			found := ids(got)
			for i := 0; i < n; i += 10 {
				id, times := fmt.Sprintf("%02d", i), 0
				for _, f := range found {
					if f == id {
						times++
					}
				}
				if times != 1 {
					b.Fatalf("order %d: %s met %d times in %q", order, id, times, found)
				}
			}
			if slices.Sort(found); len(slices.Compact(found)) != len(got) {
				b.Fatalf("order %d: a record was met twice", order)
			}
		}
	}},
	{"Scan meets every record of the kind in order of Sequence, whatever the parent", func(b *bench) {
		s := b.open()
		var want []string
		for i, parent := range []string{"z", "", "a"} {
			k := store.Key{Studio: studio, Kind: store.KindLot, Parent: parent, ID: fmt.Sprint(i)}
			b.must(store.Insert(record(k, "")))
			want = append(want, k.ID)
		}
		b.must(store.Insert(record(glaze("g"), "")))
		var got []store.Record
		if err := s.Scan(b.Context(), studio, store.KindLot, func(r store.Record) error {
			b.same(r, b.get(r.Key))
			got = append(got, r)
			return nil
		}); err != nil {
			b.Fatal(err)
		}
		b.wantIDs(got, want...)
	}},
	{"an error of each ends the scan and is returned", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("a"), "")))
		b.must(store.Insert(record(glaze("b"), "")))
		enough, calls := errors.New("enough"), 0
		err := s.Scan(b.Context(), studio, store.KindGlaze, func(store.Record) error { calls++; return enough })
		if !errors.Is(err, enough) || calls != 1 {
			b.Fatalf("%d calls, %v", calls, err)
		}
	}},
	{"Scan shows all as they were at one moment", func(b *bench) {
		s := b.open()
		for i := range 300 {
			b.must(store.Insert(record(tile(fmt.Sprintf("%03d", i)), "before")))
		}
		n := 0
		err := s.Scan(b.Context(), studio, store.KindTile, func(r store.Record) error {
			if n == 0 {
				b.must(store.Remove(tile("150"), 0))
				b.must(store.Replace(record(tile("299"), "after")))
				b.must(store.Insert(record(tile("new"), "after")))
			}
			n++
			if string(r.Body) != "before" {
				return fmt.Errorf("%s is of after the start", r.ID)
			}
			return nil
		})
		if err != nil || n != 300 {
			b.Fatalf("%d records, %v", n, err)
		}
	}},
	{"FindKey returns the key in whichever studio", func(b *bench) {
		s := b.open()
		k := store.Key{Studio: studio, Kind: store.KindKey, ID: "3f9a"}
		made := b.must(store.Insert(record(k, "hash")))
		b.must(store.Insert(record(glaze("glaze"), "")))
		operator := store.Key{Studio: store.System, Kind: store.KindKey, ID: "77aa"}
		b.must(store.Insert(record(operator, "hash")))
		got, err := s.FindKey(b.Context(), "3f9a")
		if err != nil {
			b.Fatal(err)
		}
		b.same(got, made)
		if got, err = s.FindKey(b.Context(), "77aa"); err != nil || got.Key != operator {
			b.Fatalf("%v, %v", got.Key, err)
		}
		for _, id := range []string{"3F9A", "3f9", "glaze"} {
			if _, err := s.FindKey(b.Context(), id); !errors.Is(err, store.ErrNotFound) {
				b.Fatalf("%s: %v", id, err)
			}
		}
		b.must(store.Remove(k, 0))
		if _, err := s.FindKey(b.Context(), "3f9a"); !errors.Is(err, store.ErrNotFound) {
			b.Fatalf("a removed key: %v", err)
		}
	}},
}
