// Package sqlite keeps the store in one file, for one server process. One goroutine writes, in groups
// that share a synced commit; reads go beside it on a pool of their own and see whole groups only.
package sqlite

import (
	"context"
	"database/sql"
	"os"
	"runtime"
	"sync"
	"time"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// Options are what a store can be opened with; the zero value is right for a server.
type Options struct {
	Now func() time.Time // time.Now if nil
	// Alone keeps any other store that is to be alone from the file, until this one is closed or its process ends. Backup, Check and
	// stores that need not be alone are not kept from it.
	Alone bool
}

// Store implements store.Store. See Open.
type Store struct {
	file
	now    func() time.Time
	schema int64

	readers *sql.DB
	reads   *readStatements
	writers *sql.DB
	writer  *writer
	queue   *commit.Queue
	hub     *commit.Hub
	held    *os.File // the lock; nil unless alone
	place   place

	mu     sync.RWMutex // held for reading by every read, so that Close waits for them
	closed bool
}

var _ store.Store = (*Store)(nil)

// Create makes a new database. An existing file, whatever is in it, is left alone and an error that
// matches fs.ErrExist.
func Create(ctx context.Context, path string) (err error) {
	f := file{path}
	// By our own hand, since SQLite would open what is there.
	made, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return &store.Fault{Kind: store.ErrUnavailable, Where: path, Cause: err, Mend: "the directory must exist and be writable, and the file must not exist yet"}
	}
	if err := made.Close(); err != nil {
		return f.fault(store.ErrUnavailable, err)
	}
	defer func() {
		if err != nil {
			for _, suffix := range []string{"", "-wal", "-shm"} {
				os.Remove(path + suffix)
			}
		}
	}()
	db, err := f.open(create, 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "PRAGMA application_id = 0x434c494e"); err != nil {
		return f.translate(err)
	}
	return f.migrate(ctx, db)
}

// Migrate brings the database to the schema of this program, or does nothing if it has that. It refuses
// what Open refuses, but for an older schema.
func Migrate(ctx context.Context, path string) error {
	f := file{path}
	if err := f.inspect(); err != nil {
		return err
	}
	db, err := f.open(readWrite, 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := schemaVersion(ctx, db); err != nil {
		if err == store.ErrNotOurs {
			return f.fault(store.ErrNotOurs, nil)
		}
		return f.translate(err)
	}
	return f.migrate(ctx, db)
}

func (f *file) migrate(ctx context.Context, db *sql.DB) error {
	m, err := newMigrator(db)
	if err != nil {
		return err
	}
	if got, err := m.GetDBVersion(ctx); err != nil {
		return f.translate(err)
	} else if got > latestSchema(m) {
		return f.fault(store.ErrTooNew, nil)
	}
	_, err = m.Up(ctx)
	return f.translate(err)
}

// Open opens an existing database. It never makes one, and never changes a schema: what cannot be used as
// it is, is a *store.Fault that says why and how to mend it.
func Open(ctx context.Context, path string, o Options) (s *Store, err error) {
	s = &Store{file: file{path}, now: o.Now, hub: commit.NewHub()}
	if s.now == nil {
		s.now = time.Now
	}
	if err := s.inspect(); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Close()
			s, err = nil, s.translate(err)
		}
	}()
	if o.Alone {
		if s.held, err = s.lock(); err != nil {
			return s, err
		}
	}
	if s.writers, err = s.open(readWrite, 1); err != nil {
		return s, err
	}
	m, err := newMigrator(s.writers)
	if err != nil {
		return s, err
	}
	s.schema = latestSchema(m)
	if err := s.checkSchema(ctx, s.writers, s.schema); err != nil {
		return s, err
	}
	if s.writer, err = newWriter(ctx, s.writers); err != nil {
		return s, err
	}
	if err := s.place.remember(path); err != nil {
		return s, s.fault(store.ErrMoved, err)
	}
	if s.readers, err = s.open(readOnly, max(4, 2*runtime.GOMAXPROCS(0))); err != nil {
		return s, err
	}
	if s.reads, err = prepareReads(ctx, s.readers); err != nil {
		return s, err
	}
	s.queue = commit.NewQueue(s.commit, s.probe)
	return s, nil
}

// Ready implements store.Store.
func (s *Store) Ready(ctx context.Context) error {
	return s.read(func() error {
		if err := s.checkSchema(ctx, s.readers, s.schema); err != nil {
			return err
		}
		if err := s.inPlace(); err != nil {
			return err
		}
		return s.queue.Probe(ctx)
	})
}

// Changes implements store.Watcher. It tells of the writes of this process.
func (s *Store) Changes(ctx context.Context) <-chan store.Change { return s.hub.Changes(ctx) }

// Write implements store.Writer.
func (s *Store) Write(ctx context.Context, w store.Write) (store.Answer, error) {
	if err := w.Check(); err != nil {
		return store.Answer{}, err
	}
	return s.queue.Write(ctx, &w)
}

// read runs f unless the store is closed, and keeps it from being closed meanwhile.
func (s *Store) read(f func() error) error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.closed {
		return store.ErrClosed
	}
	return s.translate(f())
}

// Close implements store.Store.
func (s *Store) Close() error {
	s.mu.Lock()
	if s.closed {
		s.mu.Unlock()
		return nil
	}
	s.closed = true
	s.mu.Unlock()

	s.hub.Close()
	if s.queue != nil {
		s.queue.Close()
	}
	var err error
	// The writer last: SQLite folds the log into the file when the last connection goes, which one
	// that may only read cannot do.
	if s.readers != nil {
		err = s.readers.Close()
	}
	if s.writer != nil {
		s.writer.close()
	}
	if s.writers != nil {
		if e := s.writers.Close(); err == nil {
			err = e
		}
	}
	if s.held != nil {
		s.held.Close()
	}
	return s.translate(err)
}
