package postgres

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/catchline/catchline/server/store"
	"github.com/catchline/catchline/server/store/internal/commit"
)

// uncertain is an error that came after the commit had been sent.
type uncertain struct{ error }

func (u uncertain) Unwrap() error { return u.error }

// lane is one queue's side of the store. Only the queue's goroutine uses it.
type lane struct {
	*Store
	known map[string]commit.Studio // as this lane has left them
}

// maxKnown bounds the memory of a lane; beyond it a lane forgets and learns again.
const maxKnown = 10_000

// commit is the queue's: it makes the jobs durable, or says to each why not. While the database is away it
// tries again what is certain not to have been done, and what has a request to tell by.
func (l *lane) commit(jobs []*commit.Job) {
	give := time.Now().Add(l.patience)
	for wait := 20 * time.Millisecond; len(jobs) > 0; wait = min(2*wait, time.Second) {
		g := commit.NewGroup(jobs, true)
		err := errNotFresh
		if l.recall(g) {
			err = l.attempt(g, l.insertFresh)
		}
		if isNotFresh(err) {
			g = commit.NewGroup(jobs, false)
			err = l.attempt(g, l.transact)
		}
		l.learn(g, err)
		l.failed.Store(err != nil && !isConflict(err))
		if err == nil {
			changes := g.Changes()
			l.hub.Tell(changes)
			if l.notices != nil {
				l.notices.add(changes)
			}
			return
		}
		var doubt uncertain
		unsure := errors.As(err, &doubt)
		again := (unsure || isLost(err) || isConflict(err)) && time.Now().Before(give)
		var left []*commit.Job
		for _, j := range jobs {
			j.Answer = store.Answer{}
			switch {
			case unsure && (!again || j.Write.Request.ID == ""):
				j.Err = l.fault(store.ErrUncertain, err)
			case again && !j.Gone():
				left = append(left, j)
			default:
				j.Err = l.translate(err)
			}
		}
		if jobs = left; len(jobs) > 0 {
			time.Sleep(wait)
		}
	}
}

// recall fills in what the lane knows of the group's studios, and reports whether that is all that the group
// needs to know.
func (l *lane) recall(g *commit.Group) bool {
	if len(g.Numbers) > 0 {
		return false
	}
	for k, e := range g.Entries {
		if !e.Assumed || k.Kind == store.KindStudio {
			return false
		}
	}
	for _, asked := range g.Requests {
		if !asked.Assumed {
			return false
		}
	}
	for name, studio := range g.Studios {
		known, ok := l.known[name]
		if !ok {
			return false
		}
		*studio = known
	}
	return true
}

func (l *lane) learn(g *commit.Group, err error) {
	if len(l.known) > maxKnown {
		clear(l.known)
	}
	for name, studio := range g.Studios {
		delete(l.known, name)
		if err == nil && studio.Live {
			l.known[name] = commit.Studio{Live: true, Sequence: studio.Sequence}
		}
	}
}

// attempt calls do with a connection. Its context is its own. A caller must not end it for the others; and
// PostgreSQL, when asked to cancel a commit that waits for a standby, gives up the waiting and reports
// success.
func (l *lane) attempt(g *commit.Group, do func(context.Context, *pgx.Conn, *commit.Group) error) error {
	ctx, cancel := context.WithTimeout(context.Background(), min(attemptTimeout, l.patience))
	defer cancel()
	c, err := l.writers.Acquire(ctx)
	if err != nil {
		return lostUnless(context.Background(), false, err)
	}
	defer c.Release() // which closes it if it is not idle
	delete(c.Conn().PgConn().CustomData(), warningKey)
	return do(ctx, c.Conn(), g)
}

// transact does a group in one transaction: one round trip to lock and to read, one to write and to commit.
func (l *lane) transact(ctx context.Context, c *pgx.Conn, g *commit.Group) error {
	lost := func(err error) error {
		if err != nil {
			err = lostUnless(context.Background(), c.IsClosed(), err)
			if !c.IsClosed() {
				c.Exec(ctx, "ROLLBACK")
			}
		}
		return err
	}
	if err := load(ctx, c, g); err != nil {
		return lost(err)
	}
	g.Apply(l.now())
	if len(g.Versions) == 0 {
		_, err := c.Exec(ctx, "ROLLBACK") // no write has succeeded: nothing to make durable
		return lost(err)
	}
	committed, err := save(ctx, c, g)
	if err = lost(err); isLost(err) {
		return uncertain{err}
	}
	if err == nil && committed.String() != "COMMIT" {
		return fmt.Errorf("the commit was answered by %q", committed)
	}
	return doubted(c, err)
}

// doubted turns a success that the server has warned about into an uncertain outcome.
func doubted(c *pgx.Conn, err error) error {
	if warning := c.PgConn().CustomData()[warningKey]; err == nil && warning != nil {
		return uncertain{fmt.Errorf("the server warned at the commit: %v", warning)}
	}
	return err
}

const warningKey = "warning"

// rememberWarning keeps what the server says beside its answers: a commit that no longer waits for the
// standby that it should wait for is a success with a warning.
func rememberWarning(c *pgconn.PgConn, n *pgconn.Notice) {
	if n.SeverityUnlocalized == "WARNING" {
		c.CustomData()[warningKey] = n.Message
	}
}

// load begins the transaction, locks the group's studios, in order of name so that no two groups wait for
// each other, and reads what the group needs.
func load(ctx context.Context, c *pgx.Conn, g *commit.Group) error {
	var names []string
	for name := range g.Studios {
		names = append(names, name)
	}
	var b pgx.Batch
	b.Queue("BEGIN")
	b.Queue("SELECT studio, live, sequence FROM studio WHERE studio = ANY($1) ORDER BY studio FOR UPDATE", names).Query(func(rows pgx.Rows) error {
		var name string
		var studio commit.Studio
		_, err := pgx.ForEachRow(rows, []any{&name, &studio.Live, &studio.Sequence}, func() error {
			*g.Studios[name] = studio
			return nil
		})
		return err
	})
	if len(g.Numbers) > 0 {
		var k columns
		for n := range g.Numbers {
			k.add(n.Studio, string(n.Kind))
		}
		b.Queue("SELECT studio, kind, number FROM version JOIN unnest($1::text[], $2::text[]) AS k (studio, kind) USING (studio, kind)",
			k.args()...).Query(func(rows pgx.Rows) error {
			var studio, kind string
			var number int64
			_, err := pgx.ForEachRow(rows, []any{&studio, &kind, &number}, func() error {
				g.Numbers[commit.Collection{Studio: studio, Kind: store.Kind(kind)}] = number
				return nil
			})
			return err
		})
	}
	if len(g.Requests) > 0 {
		var k columns
		for r := range g.Requests {
			k.add(r.Studio, r.ID)
		}
		b.Queue("SELECT studio, id, hash, answer, time FROM request JOIN unnest($1::text[], $2::text[]) AS k (studio, id) USING (studio, id)",
			k.args()...).Query(func(rows pgx.Rows) error {
			var key commit.RequestKey
			var hash, answer []byte
			var at time.Time
			_, err := pgx.ForEachRow(rows, []any{&key.Studio, &key.ID, &hash, &answer, &at}, func() error {
				g.Requests[key].Saved = commit.ReadSaved(key, hash, answer, at)
				return nil
			})
			return err
		})
		b.Queue(`SELECT studio, kind, parent, id, sequence, data, request, hash FROM record
			JOIN unnest($1::text[], $2::text[]) AS k (studio, request) USING (studio, request)`, k.args()...).Query(eachRow(func(r *commit.Row) {
			g.Requests[commit.RequestKey{Studio: r.Studio, ID: r.Request.ID}].Saved = r.Saved()
		}))
	}
	if len(g.Entries) > 0 {
		var k columns
		for e := range g.Entries {
			k.add(e.Studio, string(e.Kind), e.Parent, e.ID)
		}
		b.Queue(`SELECT studio, kind, parent, id, sequence, data, coalesce(request, ''), hash FROM record
			JOIN unnest($1::text[], $2::text[], $3::text[], $4::text[]) AS k (studio, kind, parent, id) USING (studio, kind, parent, id)`,
			k.args()...).Query(eachRow(g.SetBefore))
	}
	return c.SendBatch(ctx, &b).Close()
}

// eachRow calls f with each record of a result, whose columns are the key, the sequence, the data, the request and its hash.
func eachRow(f func(*commit.Row)) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		var key store.Key
		var kind, request string
		var sequence int64
		var data, hash []byte
		_, err := pgx.ForEachRow(rows, []any{&key.Studio, &kind, &key.Parent, &key.ID, &sequence, &data, &request, &hash}, func() error {
			key.Kind = store.Kind(kind)
			f(commit.ReadRow(key, sequence, data, store.Request{ID: request, Hash: hash}))
			return nil
		})
		return err
	}
}

// save writes the group's outcome and commits.
func save(ctx context.Context, c *pgx.Conn, g *commit.Group) (committed pgconn.CommandTag, err error) {
	var b pgx.Batch
	if name := g.Wiped; name != "" {
		b.Queue("DELETE FROM record WHERE studio = $1", name)
		b.Queue("DELETE FROM request WHERE studio = $1", name)
		b.Queue("UPDATE version SET version = $2 WHERE studio = $1", name, g.Studios[name].Sequence)
	}
	if len(g.Outdated) > 0 {
		var k columns
		for _, r := range g.Outdated {
			k.add(r.Studio, r.ID)
		}
		b.Queue(`UPDATE record r SET request = NULL, hash = NULL FROM unnest($1::text[], $2::text[]) AS k (studio, id)
			WHERE (r.studio, r.request) = (k.studio, k.id)`, k.args()...)
		b.Queue(`DELETE FROM request r USING unnest($1::text[], $2::text[]) AS k (studio, id)
			WHERE (r.studio, r.id) = (k.studio, k.id)`, k.args()...)
	}
	saveRecords(&b, g)
	saveCopies(&b, g)
	var studios columns
	var live []bool
	var sequences []int64
	for name, studio := range g.Studios {
		if studio.Changed {
			studios.add(name)
			live = append(live, studio.Live)
			sequences = append(sequences, studio.Sequence)
		}
	}
	b.Queue(`INSERT INTO studio (studio, live, sequence) SELECT * FROM unnest($1::text[], $2::boolean[], $3::bigint[])
		ON CONFLICT (studio) DO UPDATE SET live = excluded.live, sequence = excluded.sequence`, studios.args(live, sequences)...)
	var collections columns
	var versions, numbers []int64
	for k, version := range g.Versions {
		collections.add(k.Studio, string(k.Kind))
		versions = append(versions, version)
		numbers = append(numbers, g.Numbers[k])
	}
	b.Queue(`INSERT INTO version (studio, kind, version, number) SELECT * FROM unnest($1::text[], $2::text[], $3::bigint[], $4::bigint[])
		ON CONFLICT (studio, kind) DO UPDATE SET version = excluded.version, number = excluded.number`, collections.args(versions, numbers)...)
	b.Queue("COMMIT").Exec(func(tag pgconn.CommandTag) error {
		committed = tag
		return nil
	})
	err = c.SendBatch(ctx, &b).Close()
	return committed, err
}

func saveRecords(b *pgx.Batch, g *commit.Group) {
	var gone columns
	var changed, made recordRows
	g.Touched(func(before, after *commit.Row) error {
		switch {
		case before != nil && after != nil && before.Sequence == after.Sequence:
			changed.add(after)
			return nil
		case before != nil:
			gone.add(before.Studio, string(before.Kind), before.Parent, before.ID)
		}
		if after != nil {
			made.add(after)
		}
		return nil
	})
	if len(gone) > 0 {
		b.Queue(`DELETE FROM record r USING unnest($1::text[], $2::text[], $3::text[], $4::text[]) AS k (studio, kind, parent, id)
			WHERE (r.studio, r.kind, r.parent, r.id) = (k.studio, k.kind, k.parent, k.id)`, gone.args()...)
	}
	if len(changed.keys) > 0 {
		b.Queue(`UPDATE record r SET labels = k.labels, data = k.data, request = k.request, hash = k.hash
			FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::bigint[], $7::bytea[], $8::text[], $9::bytea[])
				AS k (studio, kind, parent, id, labels, sequence, data, request, hash)
			WHERE (r.studio, r.kind, r.parent, r.id) = (k.studio, k.kind, k.parent, k.id)`, changed.args()...)
	}
	if len(made.keys) > 0 {
		b.Queue(`INSERT INTO record (studio, kind, parent, id, labels, sequence, data, request, hash)
			SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::text[], $5::text[], $6::bigint[], $7::bytea[], $8::text[], $9::bytea[])`,
			made.args()...)
	}
}

// recordRows are rows of the table record, as arrays to unnest.
type recordRows struct {
	keys         columns // and the labels
	sequences    []int64
	data, hashes [][]byte
	requests     []*string // nil where there is none
}

func (a *recordRows) add(r *commit.Row) {
	a.keys.add(r.Studio, string(r.Kind), r.Parent, r.ID, commit.JoinLabels(r.Labels))
	a.sequences = append(a.sequences, r.Sequence)
	a.data = append(a.data, commit.AppendRecord(nil, &r.Record))
	var request *string
	if r.Request.ID != "" {
		request = &r.Request.ID
	}
	a.requests = append(a.requests, request)
	a.hashes = append(a.hashes, r.Request.Hash)
}

func (a *recordRows) args() []any { return a.keys.args(a.sequences, a.data, a.requests, a.hashes) }

func saveCopies(b *pgx.Batch, g *commit.Group) {
	if len(g.Copies) == 0 {
		return
	}
	var keys columns
	var hashes, answers [][]byte
	var times []time.Time
	for _, k := range g.Copies {
		saved := g.Requests[k].Saved
		keys.add(k.Studio, k.ID)
		hashes = append(hashes, saved.Hash)
		answers = append(answers, commit.AppendAnswer(nil, saved.Records))
		times = append(times, saved.Time)
	}
	b.Queue(`INSERT INTO request (studio, id, hash, answer, time)
		SELECT * FROM unnest($1::text[], $2::text[], $3::bytea[], $4::bytea[], $5::timestamptz[])`, keys.args(hashes, answers, times)...)
}

// columns are the text columns of rows, as arrays to unnest.
type columns [][]string

func (c *columns) add(row ...string) {
	if *c == nil {
		*c = make(columns, len(row))
	}
	for i, v := range row {
		(*c)[i] = append((*c)[i], v)
	}
}

// args are the columns, then others of the same length.
func (c columns) args(others ...any) []any {
	var a []any
	for _, column := range c {
		a = append(a, column)
	}
	return append(a, others...)
}
