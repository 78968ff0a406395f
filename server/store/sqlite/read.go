package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"strings"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// What a request is answered from: a record, or a copy of the answer.
const (
	selectAnswer = "SELECT kind, parent, id, sequence, data, hash FROM record WHERE studio = ? AND request = ?"
	selectCopy   = "SELECT hash, answer, time FROM request WHERE studio = ? AND id = ?"
)

// readStatements are those of fixed text, but for Scan's; lists are put together in listQuery.
type readStatements struct {
	get, findKey, versions, answered, copied *sql.Stmt
}

func prepareReads(ctx context.Context, db *sql.DB) (*readStatements, error) {
	var r readStatements
	for _, p := range []struct {
		to   **sql.Stmt
		text string
	}{
		{&r.get, "SELECT data FROM record WHERE studio = ? AND kind = ? AND parent = ? AND id = ?"},
		{&r.findKey, "SELECT studio, data FROM record WHERE kind || '' = 'key' AND id = ?"},
		{&r.versions, `SELECT '', sequence FROM studio WHERE studio = ?1 AND live
			UNION ALL SELECT kind, version FROM version WHERE studio = ?1`},
		{&r.answered, selectAnswer},
		{&r.copied, selectCopy},
	} {
		var err error
		if *p.to, err = db.PrepareContext(ctx, p.text); err != nil {
			return nil, err
		}
	}
	return &r, nil
}

// Get implements store.Reader.
func (s *Store) Get(ctx context.Context, k store.Key) (r store.Record, err error) {
	if err := k.Check(); err != nil {
		return r, err
	}
	err = s.read(func() error {
		var data []byte
		if err := s.reads.get.QueryRowContext(ctx, k.Studio, string(k.Kind), k.Parent, k.ID).Scan(&data); err != nil {
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
	err = s.read(func() error {
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
	var data sql.RawBytes
	page.More, err = s.rows(ctx, q, &data, "data", func() error {
		r, err := commit.DecodeRecord(q.Studio, q.Kind, data)
		page.Records = append(page.Records, r)
		return err
	}, &data)
	if n := len(page.Records); n > 0 {
		page.Last = page.Records[n-1].Cursor()
	}
	return page, err
}

// pageWithDamage reads the columns too, which take longer, and name a record that is damaged.
func (s *Store) pageWithDamage(ctx context.Context, q *store.Query) (page store.Page, err error) {
	key := store.Key{Studio: q.Studio, Kind: q.Kind}
	var sequence int64
	var data sql.RawBytes
	page.More, err = s.rows(ctx, q, &data, "parent, id, sequence, data", func() error {
		commit.ReadRow(key, sequence, data, store.Request{}).PutOn(&page)
		return nil
	}, &key.Parent, &key.ID, &sequence, &data)
	return page, err
}

// rows reads the rows of a page into the variables, among them the data, calls each after every row, and reports whether there are more.
func (s *Store) rows(ctx context.Context, q *store.Query, data *sql.RawBytes, columns string, each func() error, to ...any) (more bool, err error) {
	text, args := listQuery(q, columns)
	rows, err := s.readers.QueryContext(ctx, text, args...)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	bytes := 0
	for n := 0; rows.Next(); n++ {
		if n == q.Limit {
			more = true
			break
		}
		if err := rows.Scan(to...); err != nil {
			return false, err
		}
		if bytes += len(*data); q.Bytes > 0 && bytes > q.Bytes && n > 0 {
			more = true
			break
		}
		if err := each(); err != nil {
			return false, err
		}
	}
	return more, rows.Err()
}

// listQuery asks for one row more than the page holds, which tells whether there is more.
func listQuery(q *store.Query, columns string) (string, []any) {
	var b strings.Builder
	args := []any{q.Studio, string(q.Kind)}
	b.WriteString("SELECT " + columns + " FROM record WHERE studio = ? AND kind = ?")
	if !q.AnyParent {
		b.WriteString(" AND parent = ?")
		args = append(args, q.Parent)
	}
	for _, l := range q.Labels {
		b.WriteString(" AND instr(labels, ?)")
		args = append(args, commit.JoinLabels([]string{l}))
	}
	if a := q.After; a != nil {
		switch q.Order {
		case store.ByID:
			b.WriteString(" AND (parent, id) > (?, ?)")
			args = append(args, a.Parent, a.ID)
		case store.OldestFirst:
			b.WriteString(" AND sequence > ?")
			args = append(args, a.Sequence)
		case store.NewestFirst:
			b.WriteString(" AND sequence < ?")
			args = append(args, a.Sequence)
		}
	}
	b.WriteString([...]string{
		store.ByID:        " ORDER BY parent, id",
		store.OldestFirst: " ORDER BY sequence",
		store.NewestFirst: " ORDER BY sequence DESC",
	}[q.Order])
	b.WriteString(" LIMIT ?")
	return b.String(), append(args, q.Limit+1)
}

// Scan implements store.Reader.
func (s *Store) Scan(ctx context.Context, studio string, kind store.Kind, each func(store.Record) error) error {
	if err := (store.Key{Studio: studio, Kind: kind, ID: "any"}).Check(); err != nil {
		return err
	}
	return s.read(func() error {
		conn, err := s.readers.Conn(ctx)
		if err != nil {
			return err
		}
		defer conn.Close()
		left := 0
		err = conn.Raw(func(c any) error {
			st, err := prepare(c.(driver.Conn), "SELECT data FROM record WHERE studio = ? AND kind = ? ORDER BY sequence")
			if err != nil {
				return err
			}
			defer st.close()
			return st.each(func(v driver.Value) error {
				if err := ctx.Err(); err != nil {
					return err
				}
				data, _ := v.([]byte)
				r, err := commit.DecodeRecord(studio, kind, data)
				if err != nil {
					left++
					return nil
				}
				return each(r)
			}, studio, string(kind))
		})
		if err != nil || left == 0 {
			return err
		}
		return s.damaged(ctx, conn, studio, kind, left)
	})
}

// damaged names the records that a scan has left out, which are so many.
func (s *Store) damaged(ctx context.Context, conn *sql.Conn, studio string, kind store.Kind, left int) error {
	rows, err := conn.QueryContext(ctx, "SELECT parent, id, data FROM record WHERE studio = ? AND kind = ? ORDER BY sequence", studio, string(kind))
	if err != nil {
		return err
	}
	defer rows.Close()
	key := store.Key{Studio: studio, Kind: kind}
	var data sql.RawBytes
	var all store.DamagedRecords
	for rows.Next() {
		if err := rows.Scan(&key.Parent, &key.ID, &data); err != nil {
			return err
		}
		all = commit.AppendDamaged(all, key, data)
	}
	return commit.Named(all, left, rows.Err())
}

// FindKey implements store.Reader.
func (s *Store) FindKey(ctx context.Context, id string) (r store.Record, err error) {
	if err := (store.Key{Studio: "any", Kind: store.KindKey, ID: id}).Check(); err != nil {
		return r, err
	}
	err = s.read(func() error {
		var studio string
		var data []byte
		if err := s.reads.findKey.QueryRowContext(ctx, id).Scan(&studio, &data); err != nil {
			return err
		}
		r, err = commit.Read(store.Key{Studio: studio, Kind: store.KindKey, ID: id}, data)
		return err
	})
	return r, err
}

// Versions implements store.Reader.
func (s *Store) Versions(ctx context.Context, studio string) (versions map[store.Kind]int64, err error) {
	err = s.read(func() error {
		rows, err := s.reads.versions.QueryContext(ctx, studio)
		if err != nil {
			return err
		}
		defer rows.Close()
		versions = map[store.Kind]int64{}
		for rows.Next() {
			var kind string
			var version int64
			if err := rows.Scan(&kind, &version); err != nil {
				return err
			}
			versions[store.Kind(kind)] = version
		}
		if err := rows.Err(); err != nil {
			return err
		}
		if _, live := versions[""]; !live {
			return store.ErrNotFound
		}
		return nil
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
	err = s.read(func() error {
		// In this order, since a copy is made when the record changes.
		saved, err := s.answered(ctx, studio, request)
		if errors.Is(err, sql.ErrNoRows) {
			saved, err = s.copied(ctx, studio, request)
		}
		if err == nil {
			a, err = saved.Replay(request, s.now())
		}
		return err
	})
	return a, err
}

func (s *Store) answered(ctx context.Context, studio string, request store.Request) (*commit.Saved, error) {
	key := store.Key{Studio: studio}
	var sequence int64
	var data, hash []byte
	row := s.reads.answered.QueryRowContext(ctx, studio, request.ID)
	if err := row.Scan(&key.Kind, &key.Parent, &key.ID, &sequence, &data, &hash); err != nil {
		return nil, err
	}
	return commit.ReadRow(key, sequence, data, store.Request{ID: request.ID, Hash: hash}).Saved(), nil
}

func (s *Store) copied(ctx context.Context, studio string, request store.Request) (*commit.Saved, error) {
	var hash, answer []byte
	var micros int64
	if err := s.reads.copied.QueryRowContext(ctx, studio, request.ID).Scan(&hash, &answer, &micros); err != nil {
		return nil, err
	}
	return commit.ReadSaved(commit.RequestKey{Studio: studio, ID: request.ID}, hash, answer, time.UnixMicro(micros)), nil
}
