package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// Check reads every record of a database, also beside running servers, and names those that are damaged in an error that is
// store.DamagedRecords. One of another schema is refused.
func Check(ctx context.Context, url string) error {
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return err
	}
	at := server{describe(config)}
	c, err := pgx.ConnectConfig(ctx, config)
	if err != nil {
		return at.translate(err)
	}
	defer c.Close(context.WithoutCancel(ctx))
	if err := at.checkSchema(storedSchema(ctx, func(dest *int64, query string) error { return c.QueryRow(ctx, query).Scan(dest) })); err != nil {
		return at.translate(err)
	}
	return at.translate(checkRecords(ctx, c))
}

// checkRecords reads every record, and every copy of an answer, as they are at one moment each.
func checkRecords(ctx context.Context, c *pgx.Conn) error {
	var found commit.Checked
	var key store.Key
	var kind, labels string
	var sequence int64
	var data []byte
	rows, err := c.Query(ctx, "SELECT studio, kind, parent, id, sequence, labels, data FROM record")
	if err != nil {
		return err
	}
	if _, err := pgx.ForEachRow(rows, []any{&key.Studio, &kind, &key.Parent, &key.ID, &sequence, &labels, &data}, func() error {
		key.Kind = store.Kind(kind)
		found.Record(key, sequence, labels, data)
		return nil
	}); err != nil {
		return err
	}
	var of commit.RequestKey
	if rows, err = c.Query(ctx, "SELECT studio, id, answer FROM request"); err != nil {
		return err
	}
	if _, err := pgx.ForEachRow(rows, []any{&of.Studio, &of.ID, &data}, func() error {
		found.Copy(of, data)
		return nil
	}); err != nil {
		return err
	}
	return found.Err()
}
