package commit

import (
	"context"
	"database/sql"

	"github.com/pressly/goose/v3"

	"github.com/catchline/catchline/server/store"
)

// ChecksumsVersion is the number of the migration that gives every stored record its checksum. It is in Go, since no
// engine's SQL can work it out, and so the same in all.
const ChecksumsVersion = 3

// ChecksumsMigration makes that migration, which rewrites every record in one transaction. The statements are written for PostgreSQL;
// placed turns their $1 into what the engine takes.
func ChecksumsMigration(placed func(statement string) string) *goose.Migration {
	up := func(ctx context.Context, tx *sql.Tx) error {
		for _, step := range []func(context.Context, *rewriting) (bool, error){rewriteRecords, rewriteCopies} {
			at := &rewriting{tx: tx, placed: placed}
			for more := true; more; {
				var err error
				if more, err = step(ctx, at); err != nil {
					return err
				}
			}
		}
		return nil
	}
	return goose.NewGoMigration(ChecksumsVersion, &goose.GoFunc{RunTx: up}, nil)
}

// rewriting is how far a table has been rewritten.
type rewriting struct {
	tx           *sql.Tx
	placed       func(string) string
	studio, kind string
	sequence     int64
	id           string
}

// rewritten is how many rows are read at a time.
const rewritten = 500

// rewrittenRow is a row of either table, with what its key is made of there.
type rewrittenRow struct {
	studio, kind, id string
	sequence         int64
	data             []byte
}

func rewriteRecords(ctx context.Context, at *rewriting) (more bool, err error) {
	rows, err := at.tx.QueryContext(ctx, at.placed(`SELECT studio, kind, sequence, data FROM record
		WHERE (studio, kind, sequence) > ($1, $2, $3) ORDER BY studio, kind, sequence LIMIT $4`), at.studio, at.kind, at.sequence, rewritten)
	if err != nil {
		return false, err
	}
	all, err := collected(rows, func(r *rewrittenRow) []any { return []any{&r.studio, &r.kind, &r.sequence, &r.data} })
	if err != nil {
		return false, err
	}
	for _, r := range all {
		at.studio, at.kind, at.sequence = r.studio, r.kind, r.sequence
		if _, err := at.tx.ExecContext(ctx, at.placed("UPDATE record SET data = $1 WHERE studio = $2 AND kind = $3 AND sequence = $4"),
			AddChecksum(r.studio, store.Kind(r.kind), r.data), r.studio, r.kind, r.sequence); err != nil {
			return false, err
		}
	}
	return len(all) == rewritten, nil
}

func rewriteCopies(ctx context.Context, at *rewriting) (more bool, err error) {
	rows, err := at.tx.QueryContext(ctx, at.placed(`SELECT studio, id, answer FROM request
		WHERE (studio, id) > ($1, $2) ORDER BY studio, id LIMIT $3`), at.studio, at.id, rewritten)
	if err != nil {
		return false, err
	}
	all, err := collected(rows, func(r *rewrittenRow) []any { return []any{&r.studio, &r.id, &r.data} })
	if err != nil {
		return false, err
	}
	for _, r := range all {
		at.studio, at.id = r.studio, r.id
		if _, err := at.tx.ExecContext(ctx, at.placed("UPDATE request SET answer = $1 WHERE studio = $2 AND id = $3"),
			AddChecksums(r.studio, r.data), r.studio, r.id); err != nil {
			return false, err
		}
	}
	return len(all) == rewritten, nil
}

// collected reads all rows, so that others can be written.
func collected(rows *sql.Rows, to func(*rewrittenRow) []any) (all []rewrittenRow, err error) {
	defer rows.Close()
	for rows.Next() {
		var r rewrittenRow
		if err := rows.Scan(to(&r)...); err != nil {
			return nil, err
		}
		all = append(all, r)
	}
	return all, rows.Err()
}
