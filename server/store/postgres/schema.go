package postgres

import (
	"context"
	"embed"
	"errors"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

//go:embed migrations/*.sql
var migrations embed.FS

// Migrate brings the database to the schema of this program, or does nothing if it has that. Of several
// servers that try at once one does it, under an advisory lock, and the others wait. A newer schema is
// store.ErrTooNew. The URL has to be that of the database itself, without a pooler in between, or it is ErrPooler.
func Migrate(ctx context.Context, url string) error {
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return err
	}
	at := server{describe(config)}
	if err := requireDirect(ctx, config); err != nil {
		return at.translate(err)
	}
	db := stdlib.OpenDB(*config)
	defer db.Close()
	// Asks every second, for five minutes.
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
	if err != nil {
		return err
	}
	dir, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	checksums := commit.ChecksumsMigration(func(s string) string { return s })
	m, err := goose.NewProvider(goose.DialectPostgres, db, dir,
		goose.WithGoMigrations(checksums), goose.WithSessionLocker(locker), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	current, err := storedSchema(ctx, func(dest *int64, query string) error { return db.QueryRowContext(ctx, query).Scan(dest) })
	if err != nil && !errors.Is(err, store.ErrNeedsMigration) {
		return at.translate(err)
	}
	if current > latestSchema() {
		return at.fault(store.ErrTooNew, nil)
	}
	_, err = m.Up(ctx)
	return at.translate(err)
}

// latestSchema is the number of the last migration.
func latestSchema() int64 {
	entries, err := migrations.ReadDir("migrations")
	if err != nil {
		panic("postgres: the embedded migrations cannot be read: " + err.Error())
	}
	n, err := goose.NumericComponent(entries[len(entries)-1].Name())
	if err != nil {
		panic("postgres: a migration has no number: " + err.Error())
	}
	return max(n, commit.ChecksumsVersion)
}

// storedSchema returns the number of the last migration that the database has seen.
func storedSchema(_ context.Context, query func(dest *int64, query string) error) (version int64, err error) {
	err = query(&version, "SELECT coalesce(max(version_id), 0) FROM goose_db_version WHERE is_applied")
	var e *pgconn.PgError
	if errors.As(err, &e) && e.Code == undefinedTable {
		return 0, store.ErrNeedsMigration
	}
	return version, err
}

// checkSchema compares the schema that was found with the one that this program was built for.
func (s *server) checkSchema(got int64, err error) error {
	switch want := latestSchema(); {
	case errors.Is(err, store.ErrNeedsMigration), err == nil && got < want:
		return s.fault(store.ErrNeedsMigration, nil)
	case err != nil:
		return err
	case got > want:
		return s.fault(store.ErrTooNew, nil)
	}
	return nil
}

func (s *Store) ask(ctx context.Context) (version int64, err error) {
	return storedSchema(ctx, func(dest *int64, query string) error { return s.readers.QueryRow(ctx, query).Scan(dest) })
}
