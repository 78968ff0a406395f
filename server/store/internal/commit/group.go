// Package commit decides what writes do to the records, once for all engines, and gathers the writes
// that arrive together into groups that share one durable transaction.
//
// An engine takes a group through four steps within one transaction: read what the group needs, holding
// whatever keeps other writers of these studios out; let Apply decide; store the outcome; commit.
// A write that fails is decided in memory and so leaves nothing to undo in the database.
package commit

import (
	"bytes"
	"context"
	"slices"
	"strconv"
	"time"

	"github.com/catchline/catchline/server/store"
)

// Job is a write on its way, and its result.
type Job struct {
	Write  *store.Write
	Answer store.Answer
	Err    error

	ctx  context.Context
	done chan struct{}
}

// Studio is the state of a studio. A studio that was deleted keeps its row, so that its sequence goes on.
type Studio struct {
	Live     bool
	Sequence int64
	Changed  bool
}

// RequestKey names a saved answer.
type RequestKey struct{ Studio, ID string }

// Row is a record as it is stored: with the request of the write that has left it so, if that had one and did
// nothing else. The row is then what that request is answered from, and no copy of it is kept.
type Row struct {
	store.Record
	Request store.Request
	Damaged *store.Damaged // the record cannot be read; then there is only its key and its sequence
}

// Saved is the answer to an earlier write: made from the row that it has left, or a copy of it, for a write that
// did several things or has left nothing, and for a row that has been changed or removed since.
type Saved struct {
	Hash    []byte
	Records []store.Record
	Time    time.Time
	Damaged *store.Damaged // they cannot be read
}

// Asked is a request, and the answer that it has got before; nil if none.
type Asked struct {
	Saved   *Saved
	Assumed bool // that no row answers it is a hope: the engine need look only among the copies
}

// Entry is a record before and after the group; nil where there is none.
type Entry struct {
	Before, After *Row
	Assumed       bool // that there is none before is a hope: the engine need not look
}

// Collection is all records of a kind in a studio.
type Collection struct {
	Studio string
	Kind   store.Kind
}

// Version is the latest write to a collection, and the last number given in it.
type Version struct{ Version, Number int64 }

// Group is a number of writes that share a transaction. The engine fills the maps, whose keys are there
// already, then calls Apply, then stores the outcome.
type Group struct {
	Jobs []*Job

	Studios  map[string]*Studio
	Requests map[RequestKey]*Asked
	Entries  map[store.Key]*Entry
	Numbers  map[Collection]int64 // last number given, of numbered kinds only

	// The outcome, besides Studios that have Changed and Entries whose sides differ.
	Wiped string // a studio whose records and answers are to be deleted first, and whose versions
	// are all to be set to its sequence
	Versions map[Collection]int64
	Outdated []RequestKey // those whose old answers, too old to count, are to be deleted next
	Copies   []RequestKey // those of which the answer is to be kept as a copy

	// Fresh is the hope that no record to insert exists, and that no record answers the request of a
	// write that may leave one to answer it, so that an engine whose unique indexes would tell need not
	// look first. If they do, it starts over without the hope.
	Fresh bool

	touched []store.Key // Entries in the order of the writes
}

// NewGroup lists what the jobs need to know. In a fresh group it is assumed of records to insert, and of
// requests that are to be answered by a row, that there are none.
func NewGroup(jobs []*Job, fresh bool) *Group {
	g := &Group{
		Jobs:     jobs,
		Fresh:    fresh,
		Studios:  map[string]*Studio{},
		Requests: map[RequestKey]*Asked{},
		Entries:  map[store.Key]*Entry{},
		Numbers:  map[Collection]int64{},
		Versions: map[Collection]int64{},
	}
	for _, j := range jobs {
		studio := j.Write.Ops[0].Record.Studio
		g.needStudio(studio)
		if id := j.Write.Request.ID; id != "" {
			key := RequestKey{studio, id}
			if g.Requests[key] == nil {
				g.Requests[key] = &Asked{Assumed: true}
			}
			if !fresh || !answeredByRow(j.Write) {
				g.Requests[key].Assumed = false
			}
		}
		for i := range j.Write.Ops {
			op := &j.Write.Ops[i]
			key := op.Record.Key
			if key.Kind.Numbered() {
				g.Numbers[Collection{studio, key.Kind}] = 0
				if op.Action == store.ActionInsert {
					continue // its key is not known yet, and cannot be taken
				}
			}
			if key.Kind == store.KindStudio {
				g.needStudio(key.ID)
			}
			if g.Entries[key] == nil {
				g.Entries[key] = &Entry{Assumed: true}
			}
			if !fresh || op.Action != store.ActionInsert {
				g.Entries[key].Assumed = false
			}
		}
	}
	return g
}

func (g *Group) needStudio(name string) {
	if g.Studios[name] == nil {
		g.Studios[name] = &Studio{}
	}
}

// answeredByRow reports whether the write leaves one row, from which its answer can be made again.
func answeredByRow(w *store.Write) bool {
	return len(w.Ops) == 1 && w.Ops[0].Action != store.ActionRemove
}

// SetBefore gives a record that the engine has found.
func (g *Group) SetBefore(r *Row) {
	e := g.Entries[r.Key]
	e.Before, e.After = r, r
	// What is known counts more than what is assumed of its request.
	if asked := g.Requests[RequestKey{r.Studio, r.Request.ID}]; asked != nil {
		asked.Saved = r.Saved()
	}
}

// Apply decides every job in turn, each upon what those before it have left.
func (g *Group) Apply(now time.Time) {
	now = now.UTC().Truncate(time.Microsecond)
	for _, j := range g.Jobs {
		j.Answer, j.Err = g.apply(j.Write, now)
	}
}

func (g *Group) apply(w *store.Write, now time.Time) (store.Answer, error) {
	name := w.Ops[0].Record.Studio
	studio := g.Studios[name]
	if !studio.Live {
		return store.Answer{}, store.ErrNotFound
	}
	request := RequestKey{name, w.Request.ID}
	asked := g.Requests[request]
	if asked != nil && asked.Saved != nil {
		answer, err := asked.Saved.Replay(w.Request, now)
		if err != store.ErrNotFound {
			return answer, err
		}
	}

	sequence, touched, copies := studio.Sequence, len(g.touched), len(g.Copies)
	var undo []func()
	records := make([]store.Record, 0, len(w.Ops))
	for i := range w.Ops {
		r, back, err := g.step(w, i, studio, now)
		if err != nil {
			for _, u := range slices.Backward(undo) {
				u()
			}
			studio.Sequence, g.touched, g.Copies = sequence, g.touched[:touched], g.Copies[:copies]
			return store.Answer{}, err
		}
		undo = append(undo, back)
		records = append(records, r)
	}
	studio.Changed = true
	for i := range w.Ops {
		// Every op took one place in the sequence.
		g.Versions[Collection{name, w.Ops[i].Record.Kind}] = sequence + int64(i) + 1
	}
	if asked != nil {
		if asked.Saved != nil {
			g.Outdated = append(g.Outdated, request)
		}
		asked.Saved = &Saved{Hash: w.Request.Hash, Records: records, Time: now}
		if !answeredByRow(w) {
			g.Copies = append(g.Copies, request)
		}
	}
	return store.Answer{Records: records}, nil
}

// step does one op of a write and says how to undo it, but for the studio's sequence.
func (g *Group) step(w *store.Write, i int, studio *Studio, now time.Time) (store.Record, func(), error) {
	op := &w.Ops[i]
	r := Row{Record: op.Record}
	if answeredByRow(w) {
		r.Request = w.Request
	}
	if op.Action == store.ActionInsert && r.Kind.Numbered() {
		c := Collection{r.Studio, r.Kind}
		g.Numbers[c]++
		r.ID = strconv.FormatInt(g.Numbers[c], 10)
		e := &Entry{}
		g.Entries[r.Key] = e
		g.put(e, &r, studio, now)
		return r.Record, func() { g.Numbers[c]--; delete(g.Entries, r.Key) }, nil
	}

	e := g.Entries[r.Key]
	old := e.After
	undo := func() { e.After = old }
	switch op.Action {
	case store.ActionInsert:
		if old != nil {
			return r.Record, nil, store.ErrAlreadyExists
		}
		if r.Kind == store.KindStudio {
			made := g.Studios[r.ID]
			was := *made
			made.Live, made.Changed = true, true
			undo = func() { e.After, *made = old, was }
		}
		g.put(e, &r, studio, now)
		return r.Record, undo, nil
	case store.ActionReplace:
		if err := checkRevision(old, r.Revision); err != nil {
			return r.Record, nil, err
		}
		if old.Damaged != nil {
			return r.Record, nil, old.Damaged
		}
		g.copyAnswer(old, now)
		g.put(e, &r, studio, now)
		return r.Record, undo, nil
	default:
		if err := checkRevision(old, r.Revision); err != nil {
			return r.Record, nil, err
		}
		if r.Kind == store.KindStudio {
			gone := g.Studios[r.ID]
			// One more place, so that what was cached of the studio is older than what may come
			// after it under the same name.
			gone.Sequence++
			gone.Live, gone.Changed = false, true
			g.Wiped = r.ID
		}
		g.copyAnswer(old, now)
		studio.Sequence++
		e.After = nil
		g.touched = append(g.touched, r.Key)
		return store.Record{Key: r.Key}, undo, nil
	}
}

// copyAnswer keeps what a row that is about to change or to go has been the answer to.
func (g *Group) copyAnswer(r *Row, now time.Time) {
	saved := r.Saved()
	if saved == nil || saved.Damaged != nil || saved.outdated(now) {
		return
	}
	key := RequestKey{r.Studio, r.Request.ID}
	if g.Requests[key] == nil {
		g.Requests[key] = &Asked{}
	}
	g.Requests[key].Saved = saved
	g.Copies = append(g.Copies, key)
}

func checkRevision(old *Row, revision int64) error {
	if old == nil {
		return store.ErrNotFound
	}
	if revision != 0 && old.Damaged != nil {
		return old.Damaged // nobody knows any more which is its latest
	}
	if revision != 0 && revision != old.Revision {
		return store.ErrConflict
	}
	return nil
}

// put completes the record with all that the store sets, and makes it the entry's latest.
func (g *Group) put(e *Entry, r *Row, studio *Studio, now time.Time) {
	studio.Sequence++
	r.Revision = studio.Sequence
	r.UpdateTime = now
	if e.After == nil {
		r.Sequence, r.CreateTime = studio.Sequence, now
	} else {
		r.Sequence, r.CreateTime = e.After.Sequence, e.After.CreateTime
	}
	r.Labels = withoutDoubles(r.Labels)
	stored := *r
	e.After = &stored
	g.touched = append(g.touched, r.Key)
}

func withoutDoubles(labels []string) []string {
	for i := range labels {
		if slices.Contains(labels[:i], labels[i]) {
			var kept []string
			for _, l := range labels {
				if !slices.Contains(kept, l) {
					kept = append(kept, l)
				}
			}
			return kept
		}
	}
	return labels
}

// Vain reports whether the hope of a fresh group may have misled: a write that failed could be a repetition
// of one that succeeded.
func (g *Group) Vain() bool {
	return g.Fresh && slices.ContainsFunc(g.Jobs, func(j *Job) bool {
		return j.Err != nil && j.Write.Request.ID != ""
	})
}

// Saved is the answer that the row stands for; nil if it is none.
func (r *Row) Saved() *Saved {
	if r.Request.ID == "" {
		return nil
	}
	return &Saved{Hash: r.Request.Hash, Records: []store.Record{r.Record}, Time: r.UpdateTime, Damaged: r.Damaged}
}

// outdated reports that the answer is too old to count.
func (s *Saved) outdated(now time.Time) bool { return now.Sub(s.Time) >= store.RequestLifetime }

// Replay answers the request from what was saved: ErrNotFound if that is too old to count.
func (s *Saved) Replay(request store.Request, now time.Time) (store.Answer, error) {
	if s.Damaged != nil {
		return store.Answer{}, s.Damaged
	}
	if s.outdated(now) {
		return store.Answer{}, store.ErrNotFound
	}
	if !bytes.Equal(s.Hash, request.Hash) {
		return store.Answer{}, store.ErrRequestReused
	}
	answer := store.Answer{Records: slices.Clone(s.Records), Replayed: true}
	for i := range answer.Records {
		// Each caller's own, also of those that a group answers alike.
		r := &answer.Records[i]
		r.Labels, r.Body = slices.Clone(r.Labels), bytes.Clone(r.Body)
	}
	return answer, nil
}

// Touched calls f once for each record that the group changes, in the order of the writes.
func (g *Group) Touched(f func(before, after *Row) error) error {
	seen := make(map[store.Key]bool, len(g.touched))
	for _, k := range g.touched {
		if seen[k] {
			continue
		}
		seen[k] = true
		e := g.Entries[k]
		if e.Before == e.After {
			continue
		}
		if err := f(e.Before, e.After); err != nil {
			return err
		}
	}
	return nil
}

// Changes lists what to tell watchers.
func (g *Group) Changes() []store.Change {
	var changes []store.Change
	for c := range g.Versions {
		changes = append(changes, store.Change{Studio: c.Studio, Kind: c.Kind})
	}
	if g.Wiped != "" {
		changes = append(changes, store.Change{Studio: g.Wiped})
	}
	return changes
}
