package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// writer is the connection that writes, with its statements. Only the queue's goroutine uses it. Its
// calls carry no context: a group belongs to several callers, and none of them may end it for the others.
type writer struct {
	conn *sql.Conn

	begin, commit, rollback                     *sql.Stmt
	getStudio, getNumber, getRequest, getRecord *sql.Stmt

	wipeRecords, wipeLabels, wipeRequests, wipeVersions *sql.Stmt
	deleteRecord, insertRecord, updateRecord            *sql.Stmt
	deleteLabels, insertLabel                           *sql.Stmt
	putStudio, putVersion, putRequest, pruneRequests    *sql.Stmt

	buffer []byte
}

func newWriter(ctx context.Context, db *sql.DB) (*writer, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	w := &writer{conn: conn}
	for _, p := range []struct {
		to   **sql.Stmt
		text string
	}{
		// Immediate: takes the right to write before reading what the decision rests on.
		{&w.begin, "BEGIN IMMEDIATE"},
		{&w.commit, "COMMIT"},
		{&w.rollback, "ROLLBACK"},
		{&w.getStudio, "SELECT live, sequence FROM studio WHERE studio = ?"},
		{&w.getNumber, "SELECT number FROM version WHERE studio = ? AND kind = ?"},
		{&w.getRequest, "SELECT hash, answer, time FROM request WHERE studio = ? AND id = ?"},
		{&w.getRecord, "SELECT data FROM record WHERE studio = ? AND kind = ? AND parent = ? AND id = ?"},
		{&w.wipeRecords, "DELETE FROM record WHERE studio = ?"},
		{&w.wipeLabels, "DELETE FROM label WHERE studio = ?"},
		{&w.wipeRequests, "DELETE FROM request WHERE studio = ?"},
		{&w.wipeVersions, "UPDATE version SET version = ?2 WHERE studio = ?1"},
		{&w.deleteRecord, "DELETE FROM record WHERE studio = ? AND kind = ? AND sequence = ?"},
		{&w.insertRecord, "INSERT INTO record (studio, kind, sequence, parent, id, data) VALUES (?, ?, ?, ?, ?, ?)"},
		{&w.updateRecord, "UPDATE record SET data = ?4 WHERE studio = ?1 AND kind = ?2 AND sequence = ?3"},
		{&w.deleteLabels, "DELETE FROM label WHERE studio = ? AND kind = ? AND label = ? AND sequence = ?"},
		{&w.insertLabel, "INSERT INTO label (studio, kind, label, sequence) VALUES (?, ?, ?, ?)"},
		{&w.putStudio, `INSERT INTO studio (studio, live, sequence) VALUES (?, ?, ?)
			ON CONFLICT DO UPDATE SET live = excluded.live, sequence = excluded.sequence`},
		{&w.putVersion, `INSERT INTO version (studio, kind, version, number) VALUES (?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET version = excluded.version, number = excluded.number`},
		{&w.putRequest, `INSERT INTO request (studio, id, hash, answer, time) VALUES (?, ?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET hash = excluded.hash, answer = excluded.answer, time = excluded.time`},
		// The oldest come first by rowid, so this looks at no more rows than it may delete.
		{&w.pruneRequests, `DELETE FROM request WHERE time <= ?1
			AND rowid IN (SELECT rowid FROM request ORDER BY rowid LIMIT ?2)`},
	} {
		if *p.to, err = conn.PrepareContext(ctx, p.text); err != nil {
			conn.Close()
			return nil, err
		}
	}
	if err := w.probe(); err != nil {
		conn.Close()
		return nil, err
	}
	return w, nil
}

// probe finds out whether the file can be written; SQLite opens one that cannot all the same.
func (w *writer) probe() error {
	ctx := context.Background()
	if _, err := w.begin.ExecContext(ctx); err != nil {
		return err
	}
	_, err := w.putStudio.ExecContext(ctx, "probe", 0, 0)
	_, end := w.rollback.ExecContext(ctx)
	return errors.Join(err, end)
}

func (w *writer) close() { w.conn.Close() }

// commit is the queue's: it makes the jobs durable, or says to each why not.
func (s *Store) commit(jobs []*commit.Job) {
	g := commit.NewGroup(jobs)
	if err := s.transact(g); err != nil {
		for _, j := range jobs {
			j.Answer, j.Err = store.Answer{}, err
		}
		return
	}
	s.hub.Tell(g.Changes())
}

func (s *Store) transact(g *commit.Group) (err error) {
	ctx := context.Background()
	w := s.writer
	if _, err := w.begin.ExecContext(ctx); err != nil {
		return s.translate(err)
	}
	done := false
	defer func() {
		if !done {
			// SQLite has rolled back by itself after some faults; then this one fails, and that is fine.
			w.rollback.ExecContext(ctx)
		}
	}()
	if err := w.load(ctx, g); err != nil {
		return s.translate(err)
	}
	now := s.now()
	g.Apply(now)
	if len(g.Versions) == 0 {
		return nil // no write has succeeded: nothing to sync
	}
	if err := w.store(ctx, g, now); err != nil {
		return s.translate(err)
	}
	if _, err := w.commit.ExecContext(ctx); err != nil {
		err = s.translate(err)
		if errors.Is(err, store.ErrUnavailable) {
			// The log may have reached the disk although the sync failed.
			return s.fault(store.ErrUncertain, err)
		}
		return err
	}
	done = true
	return nil
}

func (w *writer) load(ctx context.Context, g *commit.Group) error {
	for name, studio := range g.Studios {
		err := w.getStudio.QueryRowContext(ctx, name).Scan(&studio.Live, &studio.Sequence)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
	}
	for c := range g.Numbers {
		var n int64
		err := w.getNumber.QueryRowContext(ctx, c.Studio, string(c.Kind)).Scan(&n)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		g.Numbers[c] = n
	}
	for k := range g.Requests {
		var saved commit.Saved
		var micros int64
		err := w.getRequest.QueryRowContext(ctx, k.Studio, k.ID).Scan(&saved.Hash, &saved.Answer, &micros)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		} else if err != nil {
			return err
		}
		saved.Time = time.UnixMicro(micros)
		g.Requests[k] = &saved
	}
	for k := range g.Entries {
		var data []byte
		err := w.getRecord.QueryRowContext(ctx, k.Studio, string(k.Kind), k.Parent, k.ID).Scan(&data)
		if errors.Is(err, sql.ErrNoRows) {
			continue
		} else if err != nil {
			return err
		}
		r, err := commit.DecodeRecord(k.Studio, k.Kind, data)
		if err != nil {
			return err
		}
		g.SetBefore(&r)
	}
	return nil
}

func (w *writer) store(ctx context.Context, g *commit.Group, now time.Time) error {
	if name := g.Wiped; name != "" {
		for _, wipe := range []*sql.Stmt{w.wipeRecords, w.wipeLabels, w.wipeRequests} {
			if _, err := wipe.ExecContext(ctx, name); err != nil {
				return err
			}
		}
		if _, err := w.wipeVersions.ExecContext(ctx, name, g.Studios[name].Sequence); err != nil {
			return err
		}
	}
	err := g.Touched(func(before, after *store.Record) error {
		if before != nil && after != nil && before.Sequence == after.Sequence {
			return w.update(ctx, before, after)
		}
		if before != nil {
			if err := w.delete(ctx, before); err != nil {
				return err
			}
		}
		if after != nil {
			return w.insert(ctx, after)
		}
		return nil
	})
	if err != nil {
		return err
	}
	for _, k := range g.Answers {
		saved := g.Requests[k]
		if _, err := w.putRequest.ExecContext(ctx, k.Studio, k.ID, saved.Hash, saved.Answer, saved.Time.UnixMicro()); err != nil {
			return err
		}
	}
	if n := len(g.Answers); n > 0 {
		// Twice as many as have come, so that it catches up.
		if _, err := w.pruneRequests.ExecContext(ctx, now.Add(-store.RequestLifetime).UnixMicro(), 2*n); err != nil {
			return err
		}
	}
	for name, studio := range g.Studios {
		if !studio.Changed {
			continue
		}
		if _, err := w.putStudio.ExecContext(ctx, name, studio.Live, studio.Sequence); err != nil {
			return err
		}
	}
	for c, version := range g.Versions {
		if _, err := w.putVersion.ExecContext(ctx, c.Studio, string(c.Kind), version, g.Numbers[c]); err != nil {
			return err
		}
	}
	return nil
}

func (w *writer) insert(ctx context.Context, r *store.Record) error {
	w.buffer = commit.AppendRecord(w.buffer[:0], r)
	if _, err := w.insertRecord.ExecContext(ctx, r.Studio, string(r.Kind), r.Sequence, r.Parent, r.ID, w.buffer); err != nil {
		return err
	}
	return w.labels(ctx, w.insertLabel, r)
}

func (w *writer) update(ctx context.Context, before, after *store.Record) error {
	if err := w.labels(ctx, w.deleteLabels, before); err != nil {
		return err
	}
	w.buffer = commit.AppendRecord(w.buffer[:0], after)
	if _, err := w.updateRecord.ExecContext(ctx, after.Studio, string(after.Kind), after.Sequence, w.buffer); err != nil {
		return err
	}
	return w.labels(ctx, w.insertLabel, after)
}

func (w *writer) delete(ctx context.Context, r *store.Record) error {
	if err := w.labels(ctx, w.deleteLabels, r); err != nil {
		return err
	}
	_, err := w.deleteRecord.ExecContext(ctx, r.Studio, string(r.Kind), r.Sequence)
	return err
}

func (w *writer) labels(ctx context.Context, statement *sql.Stmt, r *store.Record) error {
	for _, l := range r.Labels {
		if _, err := statement.ExecContext(ctx, r.Studio, string(r.Kind), l, r.Sequence); err != nil {
			return err
		}
	}
	return nil
}
