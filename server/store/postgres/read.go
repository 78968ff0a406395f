package postgres

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// with runs f on a connection for reading.
func (s *Store) with(ctx context.Context, f func(*pgxpool.Conn) error) error {
	c, err := s.readers.Acquire(ctx)
	if err != nil {
		return err
	}
	defer c.Release()
	err = f(c)
	return lostUnless(ctx, c.Conn().IsClosed(), err)
}

// Get implements store.Reader.
func (s *Store) Get(ctx context.Context, k store.Key) (r store.Record, err error) {
	if err := k.Check(); err != nil {
		return r, err
	}
	err = s.read(ctx, func() error {
		var data []byte
		err := s.with(ctx, func(c *pgxpool.Conn) error {
			return c.QueryRow(ctx, "SELECT data FROM record WHERE studio = $1 AND kind = $2 AND parent = $3 AND id = $4",
				k.Studio, string(k.Kind), k.Parent, k.ID).Scan(&data)
		})
		if err != nil {
			return err
		}
		r, err = commit.Read(k, data)
		return err
	})
	return r, err
}

// List implements store.Reader.
func (s *Store) List(ctx context.Context, q store.Query) (page store.Page, err error) {
	if err := q.Check(); err != nil {
		return page, err
	}
	err = s.read(ctx, func() error {
		page, err = s.page(ctx, &q)
		if errors.Is(err, store.ErrDamaged) {
			page, err = s.pageWithDamage(ctx, &q)
		}
		return err
	})
	if err != nil {
		return store.Page{}, err
	}
	return page, nil
}

// page reads one column a row, and ends at a damaged record.
func (s *Store) page(ctx context.Context, q *store.Query) (page store.Page, err error) {
	text, args := listQuery(q, "")
	err = s.each(ctx, text, args, func(row [][]byte) error {
		if page.More || len(page.Records) == q.Limit || row[0] == nil {
			page.More = true
			return nil
		}
		r, err := commit.DecodeRecord(q.Studio, q.Kind, row[0])
		page.Records = append(page.Records, r)
		return err
	})
	if n := len(page.Records); n > 0 {
		page.Last = page.Records[n-1].Cursor()
	}
	return page, err
}

// pageWithDamage reads the columns too, which name a record that is damaged.
func (s *Store) pageWithDamage(ctx context.Context, q *store.Query) (page store.Page, err error) {
	// The sequence as text, since each has the raw values.
	text, args := listQuery(q, ", parent, id, sequence::text")
	err = s.each(ctx, text, args, func(row [][]byte) error {
		if page.More || len(page.Records)+len(page.Damaged) == q.Limit || row[0] == nil {
			page.More = true
			return nil
		}
		sequence, err := strconv.ParseInt(string(row[3]), 10, 64)
		key := store.Key{Studio: q.Studio, Kind: q.Kind, Parent: string(row[1]), ID: string(row[2])}
		commit.ReadRow(key, sequence, row[0], store.Request{}).PutOn(&page)
		return err
	})
	return page, err
}

var orders = [...]string{
	store.ByID:        "parent, id",
	store.OldestFirst: "sequence",
	store.NewestFirst: "sequence DESC",
}

// listQuery asks for the data of one row more than the page holds, which tells whether there is more, and for other columns after it.
func listQuery(q *store.Query, columns string) (string, []any) {
	var b strings.Builder
	var args []any
	add := func(text string, values ...any) {
		places := make([]any, len(values))
		for i, v := range values {
			args = append(args, v)
			places[i] = len(args)
		}
		fmt.Fprintf(&b, text, places...)
	}
	order := orders[q.Order]
	if q.Bytes > 0 {
		// Rows past the bound are sent without their data, which is then not even read where it lies apart from its row.
		add("SELECT CASE WHEN sum(octet_length(data)) OVER so_far <= $%d OR row_number() OVER so_far = 1 THEN data END"+columns+" FROM (", q.Bytes)
		b.WriteString("SELECT data, parent, id, sequence")
	} else {
		b.WriteString("SELECT data" + columns)
	}
	add(" FROM record WHERE studio = $%d AND kind = $%d", q.Studio, string(q.Kind))
	if !q.AnyParent {
		add(" AND parent = $%d", q.Parent)
	}
	for _, l := range q.Labels {
		add(" AND strpos(labels, $%d) > 0", commit.JoinLabels([]string{l}))
	}
	if a := q.After; a != nil {
		switch q.Order {
		case store.ByID:
			add(" AND (parent, id) > ($%d, $%d)", a.Parent, a.ID)
		case store.OldestFirst:
			add(" AND sequence > $%d", a.Sequence)
		case store.NewestFirst:
			add(" AND sequence < $%d", a.Sequence)
		}
	}
	add(" ORDER BY "+order+" LIMIT $%d", q.Limit+1)
	if q.Bytes > 0 {
		b.WriteString(") AS rows WINDOW so_far AS (ORDER BY " + order + " ROWS UNBOUNDED PRECEDING) ORDER BY " + order)
	}
	return b.String(), args
}

// Scan implements store.Reader.
func (s *Store) Scan(ctx context.Context, studio string, kind store.Kind, each func(store.Record) error) error {
	if err := (store.Key{Studio: studio, Kind: kind, ID: "any"}).Check(); err != nil {
		return err
	}
	given := false
	return s.read(ctx, func() error {
		left := 0
		err := s.each(ctx, "SELECT data FROM record WHERE studio = $1 AND kind = $2 ORDER BY sequence",
			[]any{studio, string(kind)}, func(row [][]byte) error {
				r, err := commit.DecodeRecord(studio, kind, row[0])
				if err != nil {
					left++
					return nil
				}
				given = true
				return each(r)
			})
		if err == nil && left > 0 {
			err = s.damaged(ctx, studio, kind, left)
		}
		if given && isLost(err) {
			// Not again from the start: the caller has seen some already.
			return s.translate(err)
		}
		return err
	})
}

// damaged names the records that a scan has left out, which are so many.
func (s *Store) damaged(ctx context.Context, studio string, kind store.Kind, left int) error {
	var all store.DamagedRecords
	err := s.each(ctx, "SELECT parent, id, data FROM record WHERE studio = $1 AND kind = $2 ORDER BY sequence",
		[]any{studio, string(kind)}, func(row [][]byte) error {
			all = commit.AppendDamaged(all, store.Key{Studio: studio, Kind: kind, Parent: string(row[0]), ID: string(row[1])}, row[2])
			return nil
		})
	return commit.Named(all, left, err)
}

// each calls f with the raw values of every row; they are good until it returns.
func (s *Store) each(ctx context.Context, text string, args []any, f func(row [][]byte) error) error {
	var refused error
	err := s.with(ctx, func(c *pgxpool.Conn) error {
		rows, err := c.Query(ctx, text, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			if refused = f(rows.RawValues()); refused != nil {
				return nil
			}
			// What has arrived already is read without a look at the context.
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		return rows.Err()
	})
	if refused != nil {
		return refused
	}
	return err
}

// FindKey implements store.Reader.
func (s *Store) FindKey(ctx context.Context, id string) (r store.Record, err error) {
	if err := (store.Key{Studio: "any", Kind: store.KindKey, ID: id}).Check(); err != nil {
		return r, err
	}
	err = s.read(ctx, func() error {
		var studio string
		var data []byte
		err := s.with(ctx, func(c *pgxpool.Conn) error {
			return c.QueryRow(ctx, "SELECT studio, data FROM record WHERE kind = 'key' AND id = $1", id).Scan(&studio, &data)
		})
		if err != nil {
			return err
		}
		r, err = commit.Read(store.Key{Studio: studio, Kind: store.KindKey, ID: id}, data)
		return err
	})
	return r, err
}

// Versions implements store.Reader.
func (s *Store) Versions(ctx context.Context, studio string) (versions map[store.Kind]int64, err error) {
	err = s.read(ctx, func() error {
		versions = map[store.Kind]int64{}
		return s.with(ctx, func(c *pgxpool.Conn) error {
			rows, err := c.Query(ctx, `SELECT '', sequence FROM studio WHERE studio = $1 AND live
				UNION ALL SELECT kind, version FROM version WHERE studio = $1`, studio)
			if err != nil {
				return err
			}
			var kind string
			var version int64
			if _, err := pgx.ForEachRow(rows, []any{&kind, &version}, func() error {
				versions[store.Kind(kind)] = version
				return nil
			}); err != nil {
				return err
			}
			if _, live := versions[""]; !live {
				return pgx.ErrNoRows
			}
			return nil
		})
	})
	if err != nil {
		return nil, err
	}
	return versions, nil
}

// Answered implements store.Reader.
func (s *Store) Answered(ctx context.Context, studio string, request store.Request) (a store.Answer, err error) {
	if err := request.Check(); err != nil {
		return a, err
	}
	err = s.read(ctx, func() error {
		return s.with(ctx, func(c *pgxpool.Conn) error {
			// In this order, since a copy is made when the record changes.
			saved, err := answered(ctx, c, studio, request)
			if errors.Is(err, pgx.ErrNoRows) {
				saved, err = copied(ctx, c, studio, request)
			}
			if err == nil {
				a, err = saved.Replay(request, s.now())
			}
			return err
		})
	})
	return a, err
}

// answered makes the answer from the record that the request's write has left.
func answered(ctx context.Context, c *pgxpool.Conn, studio string, request store.Request) (*commit.Saved, error) {
	key := store.Key{Studio: studio}
	var kind string
	var sequence int64
	var data, hash []byte
	if err := c.QueryRow(ctx, "SELECT kind, parent, id, sequence, data, hash FROM record WHERE studio = $1 AND request = $2",
		studio, request.ID).Scan(&kind, &key.Parent, &key.ID, &sequence, &data, &hash); err != nil {
		return nil, err
	}
	key.Kind = store.Kind(kind)
	return commit.ReadRow(key, sequence, data, store.Request{ID: request.ID, Hash: hash}).Saved(), nil
}

// copied reads the copy of the answer.
func copied(ctx context.Context, c *pgxpool.Conn, studio string, request store.Request) (*commit.Saved, error) {
	var hash, answer []byte
	var at time.Time
	if err := c.QueryRow(ctx, "SELECT hash, answer, time FROM request WHERE studio = $1 AND id = $2",
		studio, request.ID).Scan(&hash, &answer, &at); err != nil {
		return nil, err
	}
	return commit.ReadSaved(commit.RequestKey{Studio: studio, ID: request.ID}, hash, answer, at), nil
}
