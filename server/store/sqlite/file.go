package sqlite

import (
	"bytes"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"syscall"

	"modernc.org/sqlite"
	lib "modernc.org/sqlite/lib"

	"github.com/catchline/catchline/server/store"
)

// file is the path of a database, and what goes wrong with it.
type file struct{ path string }

// Modes of opening, in SQLite's words. None of those used by a running server makes a file.
const (
	readOnly  = "ro"
	readWrite = "rw"
	create    = "rwc"
)

// open returns a pool whose connections all have the same settings: pragmas given later by statement
// would reach one connection only.
func (f *file) open(mode string, connections int) (*sql.DB, error) {
	q := url.Values{"mode": {mode}}
	q.Add("_pragma", "busy_timeout(5000)")
	q.Add("_pragma", "foreign_keys(1)")
	if mode == readOnly {
		q.Add("_pragma", "query_only(1)")
	} else {
		// In WAL mode, which newWriter sets, only FULL syncs at each commit; NORMAL may lose the last ones with the power.
		q.Add("_pragma", "synchronous(FULL)")
		q.Add("_pragma", "journal_size_limit(67108864)") // the log shrinks to 64 MiB once it was folded in
	}
	dsn := url.URL{Scheme: "file", Opaque: (&url.URL{Path: f.path}).EscapedPath(), RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", dsn.String())
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db, nil
}

// inspect looks at the file before SQLite does, which takes an empty file for a new database.
func (f *file) inspect() error {
	if _, err := os.Stat(filepath.Dir(f.path)); errors.Is(err, fs.ErrNotExist) {
		return &store.Fault{Kind: store.ErrMissing, Where: f.path, Cause: err, Mend: "make the directory, or mount the disk that it is on, or name another path"}
	}
	in, err := os.Open(f.path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return f.fault(store.ErrMissing, nil)
	case errors.Is(err, fs.ErrPermission):
		return f.fault(store.ErrUnavailable, err)
	case err != nil:
		return f.fault(store.ErrUnavailable, err)
	}
	defer in.Close()
	head := make([]byte, 16)
	n, err := io.ReadFull(in, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) && !errors.Is(err, io.EOF) {
		return f.fault(store.ErrUnavailable, err)
	}
	if !bytes.Equal(head[:n], []byte("SQLite format 3\x00")) {
		return f.fault(store.ErrNotOurs, nil)
	}
	return nil
}

var mend = map[error]string{
	store.ErrMissing:        "if this is the first start, create the database; if not, the file was moved or the path is wrong: restore it from a backup rather than starting anew",
	store.ErrNotOurs:        "give the path of a database that this program made, or move the file away and create a new one",
	store.ErrCorrupt:        "stop the server, keep a copy of the file with its -wal and -shm, and restore the last backup",
	store.ErrReadOnly:       "give the server's user the right to write the file and its directory, and check that the disk is not mounted read-only",
	store.ErrFull:           "free space on the disk that holds the file; nothing that was acknowledged is lost, and writes go on as soon as there is room",
	store.ErrNeedsMigration: "make a backup, then run the migration",
	store.ErrTooNew:         "run the newer version of the program, or restore the backup that was made before its migration",
	store.ErrUnavailable:    "check the disk and that the server's user may read and write the file and its directory, and that no other process holds it",
	store.ErrMoved:          "put the file back under its name with its -wal beside it, or stop the server and restore the last backup; nothing is written meanwhile, and what can still be read can be exported until the server stops",
	store.ErrInUse:          "stop the other server, or give this one a database of its own",
	store.ErrUncertain:      "check the disk; repeat the write with the same request id",
}

func (f *file) fault(kind, cause error) error {
	return &store.Fault{Kind: kind, Where: f.path, Mend: mend[kind], Cause: cause}
}

// translate turns an error of the driver into one of the store's.
func (f *file) translate(err error) error {
	var known *store.Fault
	var e *sqlite.Error
	switch {
	case err == nil || errors.As(err, &known):
		return err
	case errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.Is(err, sql.ErrNoRows):
		return store.ErrNotFound
	case errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn):
		return f.fault(store.ErrUnavailable, err)
	case !errors.As(err, &e):
		return err
	}
	switch e.Code() & 0xff { // the low byte is the primary code
	case lib.SQLITE_FULL:
		return f.fault(store.ErrFull, err)
	case lib.SQLITE_READONLY:
		return f.fault(store.ErrReadOnly, err)
	case lib.SQLITE_CORRUPT:
		return f.fault(store.ErrCorrupt, err)
	case lib.SQLITE_NOTADB:
		return f.fault(store.ErrNotOurs, err)
	case lib.SQLITE_CANTOPEN:
		// SQLite says so too when it may open the file but not make its -wal and -shm beside it.
		if refusal := f.refusesFiles(); refusal != nil {
			return f.fault(store.ErrReadOnly, refusal)
		}
		return f.fault(store.ErrUnavailable, err)
	case lib.SQLITE_BUSY, lib.SQLITE_LOCKED, lib.SQLITE_IOERR, lib.SQLITE_PERM, lib.SQLITE_PROTOCOL:
		return f.fault(store.ErrUnavailable, err)
	}
	return err
}

// refusesFiles returns why no file may be made in the database's directory, or nil.
func (f *file) refusesFiles() error {
	probe, err := os.CreateTemp(filepath.Dir(f.path), ".probe-*")
	if err != nil {
		if errors.Is(err, syscall.EROFS) || errors.Is(err, fs.ErrPermission) {
			return err
		}
		return nil
	}
	probe.Close()
	os.Remove(probe.Name())
	return nil
}
