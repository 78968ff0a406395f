package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// Backup writes the database as it is at one moment to a new file, while it is in use, by this process or
// another. The new file appears complete and synced, or not at all; one that exists is left alone and is
// an error that matches fs.ErrExist. A database of an older schema is copied as it is: that is the backup before its migration. Nobody
// but the owner can read the copy, whatever the umask. Single records that are damaged are copied like the others: then the file is
// there, and the error is store.DamagedRecords.
func Backup(ctx context.Context, path, to string) (err error) {
	f := file{path}
	if err := f.inspect(); err != nil {
		return err
	}
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		if err == nil {
			err = fs.ErrExist
		}
		return &store.Fault{Kind: store.ErrUnavailable, Where: to, Cause: err, Mend: "name a file that does not exist yet, in a directory that does"}
	}
	db, err := f.open(readWrite, 1)
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := schemaVersion(ctx, db); errors.Is(err, store.ErrNotOurs) {
		return f.fault(store.ErrNotOurs, nil)
	} else if err != nil {
		return f.translate(err)
	}
	part := to + ".part"
	os.Remove(part) // of a backup that was cut short
	defer os.Remove(part)
	// SQLite fills an empty file that is there, and keeps its mode.
	if err := makePrivate(part); err != nil {
		return (&file{to}).fault(store.ErrUnavailable, err)
	}
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		return (&file{to}).translate(err)
	}
	var damaged store.DamagedRecords
	if err := Check(ctx, part); err != nil && !errors.As(err, &damaged) && !errors.Is(err, store.ErrNeedsMigration) {
		return err
	}
	// SQLite does not sync a copy that it makes.
	if err := syncFile(part); err != nil {
		return (&file{to}).fault(store.ErrUnavailable, err)
	}
	// A link, since it fails where a renaming would overwrite.
	if err := os.Link(part, to); err != nil {
		return (&file{to}).fault(store.ErrUnavailable, err)
	}
	if err := syncFile(filepath.Dir(to)); err != nil {
		return (&file{to}).fault(store.ErrUnavailable, err)
	}
	if damaged != nil {
		return damaged
	}
	return nil
}

func makePrivate(path string) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	return f.Close()
}

func syncFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}

// Check reads the whole database, also beside a running server, and reports the first fault: that it is not one, is damaged, is of a
// newer or an older schema than this program's. Where only single records are damaged the error is store.DamagedRecords, and names
// them all. Run it on a backup before it is relied upon, and after it was
// put in place of the database. To restore is to stop the server, to move the old file and those with its
// name and -wal and -shm away, to copy the backup to the old name, and to start the server.
func Check(ctx context.Context, path string) error {
	f := file{path}
	if err := f.inspect(); err != nil {
		return err
	}
	db, err := f.open(readOnly, 1)
	if err != nil {
		return err
	}
	defer db.Close()
	var verdict string
	if err := db.QueryRowContext(ctx, "PRAGMA integrity_check(1)").Scan(&verdict); err != nil {
		return f.translate(err)
	}
	if verdict != "ok" {
		return f.fault(store.ErrCorrupt, errors.New(verdict))
	}
	m, err := newMigrator(db)
	if err != nil {
		return err
	}
	if err := f.checkSchema(ctx, db, latestSchema(m)); err != nil {
		return err
	}
	return f.translate(checkRecords(ctx, db))
}

// checkRecords reads every record, and every copy of an answer.
func checkRecords(ctx context.Context, db *sql.DB) error {
	var found commit.Checked
	var key store.Key
	var sequence int64
	var labels string
	var data sql.RawBytes
	err := eachRow(ctx, db, "SELECT studio, kind, parent, id, sequence, labels, data FROM record ORDER BY studio, kind, sequence", func() {
		found.Record(key, sequence, labels, data)
	}, &key.Studio, &key.Kind, &key.Parent, &key.ID, &sequence, &labels, &data)
	if err != nil {
		return err
	}
	var of commit.RequestKey
	if err := eachRow(ctx, db, "SELECT studio, id, answer FROM request", func() { found.Copy(of, data) }, &of.Studio, &of.ID, &data); err != nil {
		return err
	}
	return found.Err()
}

// eachRow reads all rows of a query into the variables, and calls each after every one.
func eachRow(ctx context.Context, db *sql.DB, query string, each func(), to ...any) error {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
		each()
	}
	return rows.Err()
}
