package postgres

import (
	"context"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// freshStatement inserts records and answers, in the hope that nobody has written to their studios since this
// lane has. The studios are locked in order of name. If the sequence of one has gone on, or a studio is no
// longer live, fewer rows are updated than were expected, the division fails, and with it everything.
//
// The rows are unnested among what is selected, where each goes on at once; a function after FROM would write them all down first, which
// takes a fifth of the whole statement.
const freshStatement = `
WITH expected AS (
	SELECT * FROM unnest($1::text[], $2::bigint[], $3::bigint[]) AS e (studio, before, after)
), locked AS MATERIALIZED (
	SELECT studio FROM studio WHERE studio = ANY($1) ORDER BY studio FOR UPDATE
), went AS (
	UPDATE studio s SET sequence = e.after FROM expected e JOIN locked USING (studio)
	WHERE s.studio = e.studio AND s.live AND s.sequence = e.before RETURNING 1
), versioned AS (
	INSERT INTO version (studio, kind, version, number) SELECT unnest($4::text[]), unnest($5::text[]), unnest($6::bigint[]), 0
	ON CONFLICT (studio, kind) DO UPDATE SET version = excluded.version
), recorded AS (
	INSERT INTO record (studio, kind, parent, id, labels, sequence, data)
	SELECT unnest($7::text[]), unnest($8::text[]), unnest($9::text[]), unnest($10::text[]), unnest($11::text[]), unnest($12::bigint[]), unnest($13::bytea[])
), answered AS (
	INSERT INTO request (studio, id, hash, answer, time)
	SELECT unnest($14::text[]), unnest($15::text[]), unnest($16::bytea[]), unnest($17::bytea[]), unnest($18::timestamptz[])
)
SELECT 1 / (count(*) = cardinality($1))::int FROM went`

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
	for name, studio := range g.Studios {
		if studio.Changed {
			studios, from, to = append(studios, name), append(from, before[name]), append(to, studio.Sequence)
		}
	}
	var collections, records, requests columns
	var versions, sequences []int64
	for k, version := range g.Versions {
		collections.add(k.Studio, string(k.Kind))
		versions = append(versions, version)
	}
	var data, hashes, answers [][]byte
	g.Touched(func(_, r *store.Record) error {
		records.add(r.Studio, string(r.Kind), r.Parent, r.ID, commit.JoinLabels(r.Labels))
		sequences = append(sequences, r.Sequence)
		data = append(data, commit.AppendRecord(nil, r))
		return nil
	})
	var times []time.Time
	for _, k := range g.Answers {
		saved := g.Requests[k]
		requests.add(k.Studio, k.ID)
		hashes, answers, times = append(hashes, saved.Hash), append(answers, saved.Answer), append(times, saved.Time)
	}
	if requests == nil {
		requests = make(columns, 2) // no rows
	}
	args := []any{studios, from, to}
	args = append(args, collections.args(versions)...)
	args = append(args, records.args(sequences, data)...)
	args = append(args, requests.args(hashes, answers, times)...)
	var one int
	err := c.QueryRow(ctx, freshStatement, args...).Scan(&one)
	unsent := pgconn.SafeToRetry(err)
	if err = lostUnless(context.Background(), c.IsClosed(), err); isLost(err) && !unsent {
		return uncertain{err}
	}
	return doubted(c, err)
}
