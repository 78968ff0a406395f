package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"time"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// writer is the connection that writes, with its statements. Only the queue's goroutine uses it. Its
// calls carry no context: a group belongs to several callers, and none of them may end it for the others.
type writer struct {
	conn *sql.Conn

	begin, commit, rollback                             *statement
	getStudio, getNumber, getRecord, getAnswer, getCopy *statement
	wipeRecords, wipeCopies, wipeVersions               *statement
	deleteRecord, updateRecord, putStudio, putVersion   *statement
	sameStudio                                          *statement
	forgetRequest, deleteCopy, pruneCopies              *statement
	records, copies                                     *bulk

	statements []interface{ close() }

	failed bool      // whether the last group was failed by the storage
	pruned time.Time // when answers too old to count were last looked for
}

func newWriter(ctx context.Context, db *sql.DB) (*writer, error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return nil, err
	}
	w := &writer{conn: conn}
	// The file remembers this, so it holds for the other connections too. It is set here, and not when
	// any file is opened, since it would alter one that turns out not to be ours; a backup has lost it.
	if _, err := conn.ExecContext(ctx, "PRAGMA journal_mode = WAL"); err != nil {
		conn.Close()
		return nil, err
	}
	if err := conn.Raw(func(c any) error { return w.prepare(c.(driver.Conn)) }); err != nil {
		w.close()
		return nil, err
	}
	if err := w.probe(); err != nil {
		w.close()
		return nil, err
	}
	return w, nil
}

func (w *writer) prepare(conn driver.Conn) (err error) {
	for _, p := range []struct {
		to   **statement
		text string
	}{
		// Immediate: takes the right to write before reading what the decision rests on.
		{&w.begin, "BEGIN IMMEDIATE"},
		{&w.commit, "COMMIT"},
		{&w.rollback, "ROLLBACK"},
		{&w.getStudio, "SELECT live, sequence FROM studio WHERE studio = ?"},
		{&w.getNumber, "SELECT number FROM version WHERE studio = ? AND kind = ?"},
		{&w.getRecord, "SELECT sequence, data, request, hash FROM record WHERE studio = ? AND kind = ? AND parent = ? AND id = ?"},
		{&w.getAnswer, selectAnswer},
		{&w.getCopy, selectCopy},
		{&w.wipeRecords, "DELETE FROM record WHERE studio = ?"},
		{&w.wipeCopies, "DELETE FROM request WHERE studio = ?"},
		{&w.wipeVersions, "UPDATE version SET version = ?2 WHERE studio = ?1"},
		{&w.deleteRecord, "DELETE FROM record WHERE studio = ? AND kind = ? AND sequence = ?"},
		{&w.updateRecord, "UPDATE record SET labels = ?4, data = ?5, request = ?6, hash = ?7 WHERE studio = ?1 AND kind = ?2 AND sequence = ?3"},
		{&w.sameStudio, "UPDATE studio SET sequence = sequence WHERE studio = '_'"},
		{&w.putStudio, `INSERT INTO studio (studio, live, sequence) VALUES (?, ?, ?)
			ON CONFLICT DO UPDATE SET live = excluded.live, sequence = excluded.sequence`},
		{&w.putVersion, `INSERT INTO version (studio, kind, version, number) VALUES (?, ?, ?, ?)
			ON CONFLICT DO UPDATE SET version = excluded.version, number = excluded.number`},
		{&w.forgetRequest, "UPDATE record SET request = NULL, hash = NULL WHERE studio = ? AND request = ?"},
		{&w.deleteCopy, "DELETE FROM request WHERE studio = ? AND id = ?"},
		// Those that were copied first come first by rowid, so this looks at no more rows than it may delete.
		{&w.pruneCopies, `DELETE FROM request WHERE time <= ?
			AND rowid IN (SELECT rowid FROM request ORDER BY rowid LIMIT 10000)`},
	} {
		if *p.to, err = prepare(conn, p.text); err != nil {
			return err
		}
		w.statements = append(w.statements, *p.to)
	}
	if w.records, err = prepareBulk(conn, "INSERT INTO record (studio, kind, sequence, parent, id, labels, data, request, hash)", 9); err != nil {
		return err
	}
	w.statements = append(w.statements, w.records)
	if w.copies, err = prepareBulk(conn, "INSERT INTO request (studio, id, hash, answer, time)", 5); err != nil {
		return err
	}
	w.statements = append(w.statements, w.copies)
	return nil
}

// probe finds out whether the file can be written; SQLite opens one that cannot all the same.
func (w *writer) probe() error {
	if err := w.begin.run(); err != nil {
		return err
	}
	return errors.Join(w.putStudio.run("probe", int64(0), int64(0)), w.rollback.run())
}

// close closes the statements too, without which SQLite would keep the file open.
func (w *writer) close() {
	for _, st := range w.statements {
		st.close()
	}
	w.conn.Close()
}

// commit is the queue's: it makes the jobs durable, or says to each why not.
func (s *Store) commit(jobs []*commit.Job) {
	g := commit.NewGroup(jobs, true)
	err := s.transact(g)
	if err == errVain || isDuplicate(err) {
		g = commit.NewGroup(jobs, false)
		err = s.transact(g)
	}
	s.writer.failed = err != nil
	if err != nil {
		for _, j := range jobs {
			j.Answer, j.Err = store.Answer{}, s.translate(err)
		}
		return
	}
	s.hub.Tell(g.Changes())
}

var errVain = errors.New("the group is not fresh")

// probe asks whether the next write will succeed: by one that is taken back, or, after one that the storage has failed, by one that changes
// nothing and is made durable.
func (s *Store) probe() error {
	w := s.writer
	if err := s.inPlace(); err != nil {
		return err
	}
	if !w.failed {
		return w.probe()
	}
	err := w.begin.run()
	if err == nil {
		if err = w.sameStudio.run(); err == nil {
			err = w.commit.run()
		}
		if err != nil {
			w.rollback.run()
		}
	}
	w.failed = err != nil
	return err
}

// isDuplicate reports whether a unique index has refused a row: the hope of a fresh group was vain.
func isDuplicate(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == lib.SQLITE_CONSTRAINT
}

func (s *Store) transact(g *commit.Group) error {
	w := s.writer
	if err := s.inPlace(); err != nil {
		return err
	}
	if err := w.begin.run(); err != nil {
		return err
	}
	err := w.load(g)
	if err == nil {
		now := s.now()
		g.Apply(now)
		if g.Vain() {
			w.rollback.run()
			return errVain
		}
		if len(g.Versions) == 0 {
			return w.rollback.run() // no write has succeeded: nothing to sync
		}
		err = w.store(g, now)
	}
	if err != nil {
		// SQLite has rolled back by itself after some faults; then this fails, and that is fine.
		w.rollback.run()
		return err
	}
	if err := w.commit.run(); err != nil {
		w.rollback.run()
		if err = s.translate(err); errors.Is(err, store.ErrUnavailable) {
			// The log may have reached the disk although the sync failed.
			return s.fault(store.ErrUncertain, err)
		}
		return err
	}
	if err := s.inPlace(); err != nil {
		// It happened meanwhile, so nobody knows into which file the write went.
		return s.fault(store.ErrUncertain, err)
	}
	return nil
}

func (w *writer) load(g *commit.Group) error {
	var row [4]driver.Value
	for name, studio := range g.Studios {
		found, err := w.getStudio.row(row[:2], name)
		if err != nil {
			return err
		}
		if found {
			studio.Live, studio.Sequence = row[0].(int64) != 0, row[1].(int64)
		}
	}
	for c := range g.Numbers {
		found, err := w.getNumber.row(row[:1], c.Studio, string(c.Kind))
		if err != nil {
			return err
		}
		if found {
			g.Numbers[c] = row[0].(int64)
		}
	}
	for k, asked := range g.Requests {
		var err error
		if asked.Saved, err = w.copied(k); err == nil && asked.Saved == nil && !asked.Assumed {
			asked.Saved, err = w.answered(k)
		}
		if err != nil {
			return err
		}
	}
	for k, e := range g.Entries {
		if e.Assumed {
			continue
		}
		found, err := w.getRecord.row(row[:], k.Studio, string(k.Kind), k.Parent, k.ID)
		if err != nil {
			return err
		}
		if found {
			id, _ := row[2].(string)
			hash, _ := row[3].([]byte)
			g.SetBefore(commit.ReadRow(k, row[0].(int64), row[1].([]byte), store.Request{ID: id, Hash: hash}))
		}
	}
	return nil
}

// answered finds the row that answers a request; nil if there is none.
func (w *writer) answered(k commit.RequestKey) (*commit.Saved, error) {
	var row [6]driver.Value
	found, err := w.getAnswer.row(row[:], k.Studio, k.ID)
	if err != nil || !found {
		return nil, err
	}
	key := store.Key{Studio: k.Studio, Kind: store.Kind(row[0].(string)), Parent: row[1].(string), ID: row[2].(string)}
	return commit.ReadRow(key, row[3].(int64), row[4].([]byte), store.Request{ID: k.ID, Hash: row[5].([]byte)}).Saved(), nil
}

// copied finds the copy of the answer to a request; nil if there is none.
func (w *writer) copied(k commit.RequestKey) (*commit.Saved, error) {
	var row [3]driver.Value
	found, err := w.getCopy.row(row[:], k.Studio, k.ID)
	if err != nil || !found {
		return nil, err
	}
	return commit.ReadSaved(k, row[0].([]byte), row[1].([]byte), time.UnixMicro(row[2].(int64))), nil
}

func (w *writer) store(g *commit.Group, now time.Time) error {
	if name := g.Wiped; name != "" {
		for _, wipe := range []*statement{w.wipeRecords, w.wipeCopies} {
			if err := wipe.run(name); err != nil {
				return err
			}
		}
		if err := w.wipeVersions.run(name, g.Studios[name].Sequence); err != nil {
			return err
		}
	}
	for _, k := range g.Outdated {
		if err := errors.Join(w.forgetRequest.run(k.Studio, k.ID), w.deleteCopy.run(k.Studio, k.ID)); err != nil {
			return err
		}
	}
	if err := w.storeRecords(g); err != nil {
		return err
	}
	if err := w.storeCopies(g, now); err != nil {
		return err
	}
	for name, studio := range g.Studios {
		if !studio.Changed {
			continue
		}
		if err := w.putStudio.run(name, integer(studio.Live), studio.Sequence); err != nil {
			return err
		}
	}
	for c, version := range g.Versions {
		if err := w.putVersion.run(c.Studio, string(c.Kind), version, g.Numbers[c]); err != nil {
			return err
		}
	}
	return nil
}

func integer(b bool) int64 {
	if b {
		return 1
	}
	return 0
}

func (w *writer) storeRecords(g *commit.Group) error {
	err := g.Touched(func(before, after *commit.Row) error {
		if before != nil && after != nil && before.Sequence == after.Sequence {
			request, hash := bound(after.Request)
			return w.updateRecord.run(after.Studio, string(after.Kind), after.Sequence, commit.JoinLabels(after.Labels), commit.AppendRecord(nil, &after.Record), request, hash)
		}
		if before != nil {
			if err := w.deleteRecord.run(before.Studio, string(before.Kind), before.Sequence); err != nil {
				return err
			}
		}
		if after != nil {
			request, hash := bound(after.Request)
			w.records.add(after.Studio, string(after.Kind), after.Sequence, after.Parent, after.ID, commit.JoinLabels(after.Labels), commit.AppendRecord(nil, &after.Record), request, hash)
		}
		return nil
	})
	// Whatever comes, so that nothing waits for the next group.
	return errors.Join(err, w.records.flush())
}

// bound is a request as values of its two columns.
func bound(r store.Request) (id, hash driver.Value) {
	if r.ID == "" {
		return nil, nil
	}
	return r.ID, r.Hash
}

func (w *writer) storeCopies(g *commit.Group, now time.Time) error {
	for _, k := range g.Copies {
		saved := g.Requests[k].Saved
		w.copies.add(k.Studio, k.ID, saved.Hash, commit.AppendAnswer(nil, saved.Records), saved.Time.UnixMicro())
	}
	if err := w.copies.flush(); err != nil {
		return err
	}
	if now.Sub(w.pruned).Abs() < time.Minute {
		return nil
	}
	w.pruned = now
	return w.pruneCopies.run(now.Add(-store.RequestLifetime).UnixMicro())
}
