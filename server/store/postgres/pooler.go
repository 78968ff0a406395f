package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// ErrPooler says that a pooler stands where a session of one's own is needed.
var ErrPooler = errors.New("a pooler stands in between: notifications, migrations and locks need a URL of the database itself")

// throughPooler makes a connection one that a pooler may lead to another session of the database with each transaction: it leaves nothing
// behind there. What is remembered of a statement is its description, which is the same in every session; the statement itself is sent, without
// a name, whenever it runs.
func throughPooler(config *pgx.ConnConfig) {
	config.DefaultQueryExecMode = pgx.QueryExecModeCacheDescribe
}

// requireDirect connects and returns ErrPooler unless the connection leads to the database itself. A pooler gives each of its clients a
// process number of its own making, for cancelling; the database says its true one.
func requireDirect(ctx context.Context, config *pgx.ConnConfig) error {
	c, err := pgx.ConnectConfig(ctx, config.Copy())
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	var pid uint32
	if err := c.QueryRow(ctx, "SELECT pg_backend_pid()", pgx.QueryExecModeSimpleProtocol).Scan(&pid); err != nil {
		return err
	}
	if pid != c.PgConn().PID() {
		return fmt.Errorf("%s: %w", describe(config), ErrPooler)
	}
	return nil
}
