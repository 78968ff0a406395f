package postgres

import (
	"context"
	"errors"
	"maps"
	"slices"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/catchline/catchline/server/store/internal/commit"
)

// freshStatement inserts records, in the hope that nobody has written to their studios since this lane has, and that their requests are
// new. If the sequence of a studio has gone on, or it is no longer live, fewer rows are updated than were expected, the division fails,
// and with it everything; the same if there is a copy of an answer to one of the requests. A record that answers one is refused by
// the index.
//
// The studios come in order of name, and are looked up and locked in that order, so that no two groups wait for each other.
//
// The rows are unnested among what is selected, where each goes on at once; a function after FROM would write them all down first, which
// takes a fifth of the whole statement.
const freshStatement = `
WITH went AS (
	UPDATE studio s SET sequence = e.after
	FROM (SELECT unnest($1::text[]) AS studio, unnest($2::bigint[]) AS before, unnest($3::bigint[]) AS after) e
	WHERE s.studio = e.studio AND s.live AND s.sequence = e.before RETURNING 1
), versioned AS (
	INSERT INTO version (studio, kind, version, number) SELECT unnest($4::text[]), unnest($5::text[]), unnest($6::bigint[]), 0
	ON CONFLICT (studio, kind) DO UPDATE SET version = excluded.version
), recorded AS (
	INSERT INTO record (studio, kind, parent, id, labels, sequence, data, request, hash)
	SELECT unnest($7::text[]), unnest($8::text[]), unnest($9::text[]), unnest($10::text[]), unnest($11::text[]), unnest($12::bigint[]),
		unnest($13::bytea[]), unnest($14::text[]), unnest($15::bytea[])
)
SELECT 1 / (count(*) = cardinality($1))::int FROM went
WHERE NOT EXISTS (SELECT FROM (SELECT unnest($7::text[]) AS studio, unnest($14::text[]) AS id) k JOIN request USING (studio, id))`

const (
	divisionByZero  = "22012"
	uniqueViolation = "23505"
)

var errNotFresh = errors.New("the group is not fresh")

// isNotFresh reports that insertFresh has hoped in vain, and has done nothing.
func isNotFresh(err error) bool {
	var e *pgconn.PgError
	return err == errNotFresh || errors.As(err, &e) && (e.Code == divisionByZero || e.Code == uniqueViolation)
}

// insertFresh does a group that only inserts, by one statement, which is its own transaction.
func (l *lane) insertFresh(ctx context.Context, c *pgx.Conn, g *commit.Group) error {
	before := make(map[string]int64, len(g.Studios))
	for name, studio := range g.Studios {
		before[name] = studio.Sequence
	}
	g.Apply(l.now())
	if g.Vain() || len(g.Versions) == 0 {
		return errNotFresh
	}
	var studios []string
	var from, to []int64
	for _, name := range slices.Sorted(maps.Keys(g.Studios)) {
		if studio := g.Studios[name]; studio.Changed {
			studios, from, to = append(studios, name), append(from, before[name]), append(to, studio.Sequence)
		}
	}
	var collections columns
	var versions []int64
	for k, version := range g.Versions {
		collections.add(k.Studio, string(k.Kind))
		versions = append(versions, version)
	}
	var records recordRows
	g.Touched(func(_, r *commit.Row) error {
		records.add(r)
		return nil
	})
	args := []any{studios, from, to}
	args = append(args, collections.args(versions)...)
	args = append(args, records.args()...)
	var one int
	err := c.QueryRow(ctx, freshStatement, args...).Scan(&one)
	unsent := pgconn.SafeToRetry(err)
	if err = lostUnless(context.Background(), c.IsClosed(), err); isLost(err) && !unsent {
		return uncertain{err}
	}
	return doubted(c, err)
}
