package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/catchline/catchline/server/store"
)

// SQLSTATEs that mean something to us (PostgreSQL 15 documentation, appendix A).
const (
	serializationFailure = "40001"
	deadlockDetected     = "40P01"
	undefinedTable       = "42P01"
	diskFull             = "53100"
	readOnlyTransaction  = "25006"
	noSuchDatabase       = "3D000"
	dataCorrupted        = "XX001"
	indexCorrupted       = "XX002"

	classConnection = "08"
	classShutdown   = "57P" // admin shutdown, crash shutdown, cannot connect now, database dropped
	classResources  = "53"
	classLogin      = "28"
)

// server says where the database is, without any password.
type server struct{ where string }

func describe(config *pgx.ConnConfig) string {
	hosts := []string{fmt.Sprintf("%s:%d", config.Host, config.Port)}
	for _, f := range config.Fallbacks {
		if h := fmt.Sprintf("%s:%d", f.Host, f.Port); h != hosts[len(hosts)-1] { // twice: with TLS and without
			hosts = append(hosts, h)
		}
	}
	return "PostgreSQL at " + strings.Join(hosts, ",") + ", database " + config.Database
}

var mend = map[error]string{
	store.ErrUnavailable:    "check that the server runs, that this machine reaches it, and the user and password",
	store.ErrMissing:        "create the database, then run the migration",
	store.ErrCorrupt:        "stop writing, keep a copy of the server's data directory, and restore from a backup or a standby",
	store.ErrReadOnly:       "the server is a standby or set to read-only: promote it, or name the primary in the URL",
	store.ErrFull:           "free space on the server's disk; nothing that was acknowledged is lost, and writes go on as soon as there is room",
	store.ErrNeedsMigration: "make a backup, then run the migration",
	store.ErrTooNew:         "run the newer version of the program, or restore the backup that was made before its migration",
	store.ErrUncertain:      "repeat the write with the same request id",
}

func (s *server) fault(kind, cause error) error {
	return &store.Fault{Kind: kind, Where: s.where, Mend: mend[kind], Cause: cause}
}

// errLost is what is left of an error that ended a connection.
var errLost = errors.New("the connection was lost")

// translate turns an error of the driver into one of the store's.
func (s *server) translate(err error) error {
	var known *store.Fault
	var e *pgconn.PgError
	switch {
	case err == nil || errors.As(err, &known):
		return err
	case errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.Is(err, pgx.ErrNoRows):
		return store.ErrNotFound
	case errors.Is(err, errLost):
		return s.fault(store.ErrUnavailable, err)
	case !errors.As(err, &e):
		var connect *pgconn.ConnectError
		if errors.As(err, &connect) {
			return s.fault(store.ErrUnavailable, err)
		}
		return err
	}
	switch {
	case e.Code == diskFull:
		return s.fault(store.ErrFull, err)
	case e.Code == readOnlyTransaction:
		return s.fault(store.ErrReadOnly, err)
	case e.Code == noSuchDatabase:
		return s.fault(store.ErrMissing, err)
	case e.Code == dataCorrupted || e.Code == indexCorrupted:
		return s.fault(store.ErrCorrupt, err)
	case e.Code == undefinedTable:
		return s.fault(store.ErrNeedsMigration, err)
	case isConflict(err) || isOutage(e) || strings.HasPrefix(e.Code, classResources) || strings.HasPrefix(e.Code, classLogin):
		return s.fault(store.ErrUnavailable, err)
	}
	return err
}

// isConflict reports that the server has given up a transaction in favour of others, so that it may be
// tried again at once.
func isConflict(err error) bool {
	var e *pgconn.PgError
	return errors.As(err, &e) && (e.Code == serializationFailure || e.Code == deadlockDetected)
}

func isOutage(e *pgconn.PgError) bool {
	return strings.HasPrefix(e.Code, classConnection) || strings.HasPrefix(e.Code, classShutdown)
}

// isLost reports that the trouble is with reaching the server, so that another connection, perhaps to
// another host, may do better.
func isLost(err error) bool {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return isOutage(e) || e.Code == readOnlyTransaction
	}
	var connect *pgconn.ConnectError
	return errors.Is(err, errLost) || errors.As(err, &connect)
}
