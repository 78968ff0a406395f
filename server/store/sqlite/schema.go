package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"io/fs"
	"strings"

	"github.com/pressly/goose/v3"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

//go:embed migrations/*.sql
var migrations embed.FS

// applicationID marks the files of this program in SQLite's header ("CLIN").
const applicationID = 0x434c494e

func newMigrator(db *sql.DB) (*goose.Provider, error) {
	dir, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return nil, err
	}
	checksums := commit.ChecksumsMigration(func(s string) string { return strings.ReplaceAll(s, "$", "?") })
	return goose.NewProvider(goose.DialectSQLite3, db, dir, goose.WithGoMigrations(checksums), goose.WithDisableGlobalRegistry(true))
}

// latestSchema is the number of the last migration.
func latestSchema(m *goose.Provider) int64 {
	sources := m.ListSources()
	return sources[len(sources)-1].Version
}

// rower is a *sql.DB or a *sql.Conn.
type rower interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// schemaVersion returns the number of the last migration that the database has seen, or store.ErrNotOurs.
func schemaVersion(ctx context.Context, db rower) (int64, error) {
	var id int64
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return 0, err
	}
	if id != applicationID {
		return 0, store.ErrNotOurs
	}
	var tables, version int64
	err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema WHERE name = 'goose_db_version'").Scan(&tables)
	if err != nil || tables == 0 {
		return 0, err // a creation that was cut short, as good as the oldest schema
	}
	err = db.QueryRowContext(ctx, "SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied").Scan(&version)
	return version, err
}

// checkSchema compares the database's schema with the one that this program was built for.
func (f *file) checkSchema(ctx context.Context, db rower, want int64) error {
	got, err := schemaVersion(ctx, db)
	switch {
	case errors.Is(err, store.ErrNotOurs):
		return f.fault(store.ErrNotOurs, nil)
	case err != nil:
		return f.translate(err)
	case got < want:
		return f.fault(store.ErrNeedsMigration, nil)
	case got > want:
		return f.fault(store.ErrTooNew, nil)
	}
	return nil
}
