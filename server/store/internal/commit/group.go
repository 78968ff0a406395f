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

// Saved is the answer to an earlier write.
type Saved struct {
	Hash   []byte
	Answer []byte
	Time   time.Time
}

// Entry is a record before and after the group; nil where there is none.
type Entry struct {
	Before, After *store.Record
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
	Requests map[RequestKey]*Saved // nil values: no such request
	Entries  map[store.Key]*Entry
	Numbers  map[Collection]int64 // last number given, of numbered kinds only

	// The outcome, besides Studios that have Changed and Entries whose sides differ.
	Wiped string // a studio whose records and answers are to be deleted first, and whose versions
	// are all to be set to its sequence
	Versions map[Collection]int64
	Answers  []RequestKey // the Requests that are new

	// Fresh is the hope that no record to insert and no request exists, so that an engine whose
	// unique indexes would tell need not look first. If they do, it starts over without the hope.
	Fresh bool

	touched []store.Key // Entries in the order of the writes
}

// NewGroup lists what the jobs need to know. A fresh group does not ask for the records to insert nor for
// the requests.
func NewGroup(jobs []*Job, fresh bool) *Group {
	g := &Group{
		Jobs:     jobs,
		Fresh:    fresh,
		Studios:  map[string]*Studio{},
		Requests: map[RequestKey]*Saved{},
		Entries:  map[store.Key]*Entry{},
		Numbers:  map[Collection]int64{},
		Versions: map[Collection]int64{},
	}
	for _, j := range jobs {
		studio := j.Write.Ops[0].Record.Studio
		g.needStudio(studio)
		if id := j.Write.Request.ID; id != "" && !fresh {
			g.Requests[RequestKey{studio, id}] = nil
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

// SetBefore gives a record that the engine has found.
func (g *Group) SetBefore(r *store.Record) {
	e := g.Entries[r.Key]
	e.Before, e.After = r, r
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
	if saved := g.Requests[request]; saved != nil {
		answer, err := saved.Replay(name, w.Request, now)
		if err != store.ErrNotFound {
			return answer, err
		}
	}

	sequence, touched := studio.Sequence, len(g.touched)
	var undo []func()
	records := make([]store.Record, 0, len(w.Ops))
	for i := range w.Ops {
		r, back, err := g.step(&w.Ops[i], studio, now)
		if err != nil {
			for _, u := range slices.Backward(undo) {
				u()
			}
			studio.Sequence, g.touched = sequence, g.touched[:touched]
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
	if w.Request.ID != "" {
		g.Requests[request] = &Saved{Hash: w.Request.Hash, Answer: AppendAnswer(nil, records), Time: now}
		g.Answers = append(g.Answers, request)
	}
	return store.Answer{Records: records}, nil
}

// step does one op and says how to undo it, but for the studio's sequence.
func (g *Group) step(op *store.Op, studio *Studio, now time.Time) (store.Record, func(), error) {
	r := op.Record
	if op.Action == store.ActionInsert && r.Kind.Numbered() {
		c := Collection{r.Studio, r.Kind}
		g.Numbers[c]++
		r.ID = strconv.FormatInt(g.Numbers[c], 10)
		e := &Entry{}
		g.Entries[r.Key] = e
		g.put(e, &r, studio, now)
		return r, func() { g.Numbers[c]--; delete(g.Entries, r.Key) }, nil
	}

	e := g.Entries[r.Key]
	old := e.After
	undo := func() { e.After = old }
	switch op.Action {
	case store.ActionInsert:
		if old != nil {
			return r, nil, store.ErrAlreadyExists
		}
		if r.Kind == store.KindStudio {
			made := g.Studios[r.ID]
			was := *made
			made.Live, made.Changed = true, true
			undo = func() { e.After, *made = old, was }
		}
		g.put(e, &r, studio, now)
		return r, undo, nil
	case store.ActionReplace:
		if err := checkRevision(old, r.Revision); err != nil {
			return r, nil, err
		}
		g.put(e, &r, studio, now)
		return r, undo, nil
	default:
		if err := checkRevision(old, r.Revision); err != nil {
			return r, nil, err
		}
		if r.Kind == store.KindStudio {
			gone := g.Studios[r.ID]
			// One more place, so that what was cached of the studio is older than what may come
			// after it under the same name.
			gone.Sequence++
			gone.Live, gone.Changed = false, true
			g.Wiped = r.ID
		}
		studio.Sequence++
		e.After = nil
		g.touched = append(g.touched, r.Key)
		return store.Record{Key: r.Key}, undo, nil
	}
}

func checkRevision(old *store.Record, revision int64) error {
	if old == nil {
		return store.ErrNotFound
	}
	if revision != 0 && revision != old.Revision {
		return store.ErrConflict
	}
	return nil
}

// put completes the record with all that the store sets, and makes it the entry's latest.
func (g *Group) put(e *Entry, r *store.Record, studio *Studio, now time.Time) {
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

// Replay answers the request from what was saved: ErrNotFound if that is too old to count.
func (s *Saved) Replay(studio string, request store.Request, now time.Time) (store.Answer, error) {
	if now.Sub(s.Time) >= store.RequestLifetime {
		return store.Answer{}, store.ErrNotFound
	}
	if !bytes.Equal(s.Hash, request.Hash) {
		return store.Answer{}, store.ErrRequestReused
	}
	records, err := DecodeAnswer(studio, s.Answer)
	return store.Answer{Records: records, Replayed: true}, err
}

// Touched calls f once for each record that the group changes, in the order of the writes.
func (g *Group) Touched(f func(before, after *store.Record) error) error {
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
