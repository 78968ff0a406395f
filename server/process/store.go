package process

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/catchline/catchline/server/config"
	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/postgres"
	"github.com/catchline/catchline/server/store/sqlite"
)

// openStore opens the database, or makes it where that is asked for and there is none.
// alone keeps a second server from a SQLite file.
func openStore(ctx context.Context, c *config.Config, alone bool) (store.Store, error) {
	if c.Store.PostgreSQL() {
		s, err := postgres.Open(ctx, string(c.Store), postgres.Options{Direct: string(c.StoreDirect)})
		if err != nil {
			return nil, mendBy(c, err)
		}
		return s, nil
	}
	path := string(c.Store)
	s, err := sqlite.Open(ctx, path, sqlite.Options{Alone: alone})
	if errors.Is(err, store.ErrMissing) && c.Create {
		if err := sqlite.Create(ctx, path); err != nil {
			return nil, err
		}
		s, err = sqlite.Open(ctx, path, sqlite.Options{Alone: alone})
	}
	if err != nil {
		return nil, mendBy(c, err)
	}
	return s, nil
}

// mendBy says by which command or flag a database is made usable.
func mendBy(c *config.Config, err error) error {
	switch {
	case errors.Is(err, postgres.ErrPooler):
		return fmt.Errorf("%w (--store-direct gives it)", err)
	case errors.Is(err, store.ErrMissing):
		return fmt.Errorf("%w (--create makes it)", err)
	case errors.Is(err, store.ErrNeedsMigration) && c.Store.PostgreSQL():
		return fmt.Errorf("%w (pg_dump, then catchline-server migrate)", err)
	case errors.Is(err, store.ErrNeedsMigration):
		return fmt.Errorf("%w (catchline-server backup, then catchline-server migrate)", err)
	}
	return err
}

// Migrate brings the database to this program's schema, and makes it where that is asked for and there is none.
func Migrate(ctx context.Context, c config.Config, out io.Writer) error {
	var err error
	if c.Store.PostgreSQL() {
		err = postgres.Migrate(ctx, string(cmp.Or(c.StoreDirect, c.Store)))
	} else {
		err = sqlite.Migrate(ctx, string(c.Store))
		if errors.Is(err, store.ErrMissing) && c.Create {
			err = sqlite.Create(ctx, string(c.Store))
		}
	}
	if err != nil {
		return mendBy(&c, err)
	}
	fmt.Fprintf(out, "%s has the schema of this program\n", c.Store)
	return nil
}

// errNotSQLite says with what PostgreSQL does a command's work.
func errNotSQLite(c config.Config, program string) error {
	return fmt.Errorf("%s is PostgreSQL, which has programs of its own for this: %s", c.Store, program)
}

// Backup copies the database to a new file, also while a server runs on it.
func Backup(ctx context.Context, c config.Config, to string, out io.Writer) error {
	if c.Store.PostgreSQL() {
		return errNotSQLite(c, "pg_dump --format=custom --file="+to+" URL")
	}
	err := sqlite.Backup(ctx, string(c.Store), to)
	var damaged store.DamagedRecords
	switch {
	case errors.As(err, &damaged):
		return fmt.Errorf("%s is a copy of %s, but not all of it is whole, so keep earlier backups: %w", to, c.Store, damagedRecords(damaged))
	case err != nil:
		return err
	}
	fmt.Fprintf(out, "%s is a whole copy of %s\n", to, c.Store)
	return nil
}

// damagedRecords says what is damaged, for whoever runs the server.
func damagedRecords(all store.DamagedRecords) error {
	if len(all) == 1 {
		return fmt.Errorf("1 record is damaged: %w", all)
	}
	return fmt.Errorf("%d records are damaged: %w", len(all), all)
}

// Check reads every record of the database, also while servers run on it, and names those that are damaged.
func Check(ctx context.Context, c config.Config, out io.Writer) error {
	var err error
	if c.Store.PostgreSQL() {
		err = postgres.Check(ctx, string(cmp.Or(c.StoreDirect, c.Store)))
	} else {
		err = sqlite.Check(ctx, string(c.Store))
	}
	var damaged store.DamagedRecords
	switch {
	case errors.As(err, &damaged):
		return fmt.Errorf("%s: %w", c.Store, damagedRecords(damaged))
	case err != nil:
		return mendBy(&c, err)
	}
	fmt.Fprintf(out, "%s is whole: every record is what was written\n", c.Store)
	return nil
}

// Restore checks a backup and, unless only that is asked for, puts it in the place of the database, which must be gone: an
// existing one is never overwritten.
func Restore(ctx context.Context, c config.Config, from string, onlyCheck bool, out io.Writer) error {
	if c.Store.PostgreSQL() {
		return errNotSQLite(c, "pg_restore --no-owner --dbname=URL "+from+", into an empty database")
	}
	// A backup of an older schema, or one with damaged records in it, is better than nothing.
	err := sqlite.Check(ctx, from)
	var damaged store.DamagedRecords
	switch {
	case errors.As(err, &damaged) && onlyCheck:
		return fmt.Errorf("%s: %w", from, damagedRecords(damaged))
	case damaged == nil && err != nil && (onlyCheck || !errors.Is(err, store.ErrNeedsMigration)):
		return err
	case onlyCheck:
		fmt.Fprintf(out, "%s is whole and has the schema of this program\n", from)
		return nil
	}
	to := string(c.Store)
	for _, suffix := range []string{"", "-wal", "-shm"} {
		if _, err := os.Lstat(to + suffix); !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is there: stop the server and move it away, with the files of that name and -wal and -shm; nothing is overwritten", to+suffix)
		}
	}
	if err := copyFile(from, to); err != nil {
		return fmt.Errorf("the backup cannot be copied: %w", err)
	}
	if damaged != nil {
		return fmt.Errorf("%s is restored from %s, but an earlier backup may hold more: %w", to, from, damagedRecords(damaged))
	}
	fmt.Fprintf(out, "%s is restored from %s\n", to, from)
	return nil
}

// copyFile copies a file so that the copy appears whole and synced or not at all.
func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	part, err := os.CreateTemp(filepath.Dir(to), ".restore-*")
	if err != nil {
		return err
	}
	defer os.Remove(part.Name())
	_, err = io.Copy(part, in)
	if err = errors.Join(err, part.Sync(), part.Close()); err != nil {
		return err
	}
	// A link fails where a renaming would overwrite.
	if err := os.Link(part.Name(), to); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(to))
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
