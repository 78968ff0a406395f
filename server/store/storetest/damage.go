package storetest

import (
	"errors"
	"fmt"
	"slices"
	"sync"

	"github.com/catchline/catchline/server/store"
)

// flip flips a bit in the middle of what is stored, where the body is, so that it still looks like a record.
func (b *bench) flip(k store.Key) {
	b.Helper()
	b.db.Damage(b.T, k, func(stored []byte) {
		stored[len(stored)/2] ^= 0x10
	})
}

// damaged expects the error of exactly these damaged records.
func (b *bench) damaged(err error, want ...store.Key) {
	b.Helper()
	var all store.DamagedRecords
	if one := (*store.Damaged)(nil); !errors.As(err, &all) && errors.As(err, &one) {
		all = store.DamagedRecords{one}
	}
	var got []store.Key
	for _, d := range all {
		got = append(got, d.Key)
	}
	if !errors.Is(err, store.ErrDamaged) || !slices.Equal(got, want) {
		b.Fatalf("got the error %v, which names %v; want %v", err, got, want)
	}
}

// someTiles inserts the tiles 0 to 4 and damages 1 and 3.
func (b *bench) someTiles() store.Store {
	b.Helper()
	s := b.open()
	for i := range 5 {
		b.must(store.Insert(record(tile(fmt.Sprint(i)), "a body of some length, so that its middle is text", "x")))
	}
	b.flip(tile("1"))
	b.flip(tile("3"))
	return s
}

var damage = []test{
	{"a damaged record is a Damaged that names it, and the others are read", func(b *bench) {
		s := b.someTiles()
		for _, id := range []string{"1", "3"} {
			_, err := s.Get(b.Context(), tile(id))
			b.damaged(err, tile(id))
		}
		for _, id := range []string{"0", "2", "4"} {
			b.get(tile(id))
		}
	}},
	{"damaged records have their places in the order of a list like others", func(b *bench) {
		s := b.someTiles()
		for order, want := range map[store.Order]string{
			store.ByID: "[0 1! 2 3! 4]", store.OldestFirst: "[0 1! 2 3! 4]", store.NewestFirst: "[4 3! 2 1! 0]",
		} {
			for limit := 1; limit <= 12; limit++ {
				var got []string
				q := store.Query{Studio: studio, Kind: store.KindTile, Labels: []string{"x"}, Order: order, Limit: limit}
				if limit > 6 {
					q.Bytes = 50 * (limit - 6) // the stored form of a tile takes 80 bytes or so
				}
				for more := true; more; {
					page, err := s.List(b.Context(), q)
					if err != nil {
						b.Fatal(err)
					}
					if n := len(page.Records) + len(page.Damaged); n > limit {
						b.Fatalf("a page of %d, limit %d", n, limit)
					}
					var on []string
					on = append(on, ids(page.Records)...)
					for _, d := range page.Damaged {
						if d.Key != tile(d.Key.ID) {
							b.Fatalf("the list names %v", d.Key)
						}
						on = append(on, d.Key.ID+"!")
					}
					slices.Sort(on)
					if order == store.NewestFirst {
						slices.Reverse(on)
					}
					got = append(got, on...)
					q.After, more = page.Last, page.More
				}
				if g := fmt.Sprint(got); g != want {
					b.Errorf("order %d, limit %d: got %s, want %s", order, limit, g, want)
				}
			}
		}
	}},
	{"a scan leaves damaged records out, and names them after all others", func(b *bench) {
		s := b.someTiles()
		var got []store.Record
		err := s.Scan(b.Context(), studio, store.KindTile, func(r store.Record) error { got = append(got, r); return nil })
		b.damaged(err, tile("1"), tile("3"))
		b.wantIDs(got, "0", "2", "4")
		enough := errors.New("enough")
		if err := s.Scan(b.Context(), studio, store.KindTile, func(store.Record) error { return enough }); !errors.Is(err, enough) {
			b.Fatalf("got the error %v", err)
		}
	}},
	{"a damaged record cannot be replaced, and removed only without a revision", func(b *bench) {
		s := b.open()
		made := b.must(store.Insert(record(glaze("a"), "a body of some length, so that its middle is text")))
		b.flip(glaze("a"))
		replaced := record(glaze("a"), "new")
		for _, revision := range []int64{0, made.Revision} {
			replaced.Revision = revision
			_, err := s.Write(b.Context(), write(store.Replace(replaced)))
			b.damaged(err, glaze("a"))
		}
		_, err := s.Write(b.Context(), write(store.Remove(glaze("a"), made.Revision)))
		b.damaged(err, glaze("a"))
		b.fails(store.ErrAlreadyExists, store.Insert(record(glaze("a"), "new")))
		again := b.must(store.Remove(glaze("a"), 0), store.Insert(record(glaze("a"), "new")))
		if again.Key != glaze("a") {
			b.Fatalf("got %+v", again)
		}
		if got := b.get(glaze("a")); string(got.Body) != "new" || got.Sequence <= made.Revision {
			b.Fatalf("got %+v", got)
		}
	}},
	{"a damaged record keeps no other write from being done", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("a"), "a body of some length, so that its middle is text")))
		b.flip(glaze("a"))
		var wg sync.WaitGroup
		for i := range 32 {
			wg.Go(func() {
				_, err := s.Write(b.Context(), write(store.Replace(record(glaze("a"), ""))))
				if !errors.Is(err, store.ErrDamaged) {
					b.Errorf("got the error %v", err)
				}
			})
			wg.Go(func() {
				if _, err := s.Write(b.Context(), write(store.Insert(record(tile(fmt.Sprint(i)), "")))); err != nil {
					b.Error(err)
				}
			})
		}
		wg.Wait()
	}},
	{"a request whose answer is damaged is answered by a Damaged, not done again", func(b *bench) {
		s := b.open()
		w := write(store.Insert(record(glaze("a"), "a body of some length, so that its middle is text")))
		w.Request = request("r", "h")
		if _, err := s.Write(b.Context(), w); err != nil {
			b.Fatal(err)
		}
		b.flip(glaze("a"))
		_, err := s.Write(b.Context(), w)
		b.damaged(err, glaze("a"))
		_, err = s.Answered(b.Context(), studio, w.Request)
		b.damaged(err, glaze("a"))
	}},
	{"a damaged key is found as a Damaged", func(b *bench) {
		s := b.open()
		key := store.Key{Studio: studio, Kind: store.KindKey, ID: "3f9a"}
		b.must(store.Insert(record(key, "a body of some length, so that its middle is text")))
		b.flip(key)
		_, err := s.FindKey(b.Context(), "3f9a")
		b.damaged(err, key)
	}},
	{"a record that stands where another one should is damaged", func(b *bench) {
		s := b.open()
		b.must(store.Insert(record(glaze("a"), "1")), store.Insert(record(glaze("b"), "2")))
		var other []byte
		b.db.Damage(b.T, glaze("a"), func(stored []byte) { other = slices.Clone(stored) })
		b.db.Damage(b.T, glaze("b"), func(stored []byte) { copy(stored, other) })
		_, err := s.Get(b.Context(), glaze("b"))
		b.damaged(err, glaze("b"))
		b.damaged(b.db.Check(b.T), glaze("b"))
	}},
	{"a check names every damaged record, and nothing while all are whole", func(b *bench) {
		b.open()
		other := store.Key{Studio: "other", Kind: store.KindLot, Parent: "g", ID: "1"}
		b.must(store.Insert(studioRecord("other")))
		b.must(store.Insert(record(other, "a body of some length, so that its middle is text", "x", "y")))
		b.must(store.Insert(record(tile("1"), "a body of some length, so that its middle is text", "x", "y")))
		b.must(store.Insert(record(tile("2"), "", "x", "y")))
		if err := b.db.Check(b.T); err != nil {
			b.Fatal(err)
		}
		b.flip(tile("1"))
		b.damaged(b.db.Check(b.T), tile("1"))
		b.flip(other)
		err := b.db.Check(b.T)
		for _, key := range []store.Key{other, tile("1")} {
			if all := (store.DamagedRecords)(nil); !errors.As(err, &all) || len(all) != 2 ||
				!slices.ContainsFunc(all, func(d *store.Damaged) bool { return d.Key == key }) {
				b.Errorf("got the error %v", err)
			}
		}
	}},
}
